"""Print a script that completes commands, options and fixed choices in a shell."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator
from dataclasses import dataclass

from triage.commands.common import Arguments, Subparsers, command

SHELLS = ("bash", "zsh", "fish")
PROGRAM = "triage"
OPTIONS = {
    "--help": "show the commands",
    "--version": "show the version",
    "--demo": "open the interface on a copy of the demo cases",
    "--plain": "numbered lines in place of the interface",
}


@dataclass(frozen=True)
class Word:
    """What may stand after ``path``: an option, a command or a choice, with its help."""

    path: tuple[str, ...]
    word: str
    text: str
    after: str = ""


def add_commands(subparsers: Subparsers) -> None:
    """Add the command of this module."""
    completion = command(
        subparsers,
        "completion",
        "print a script that completes words in your shell",
        "completion bash > ~/.local/share/bash-completion/completions/triage",
    )
    completion.add_argument("shell", choices=SHELLS, help="your shell")
    # All commands are known only when all groups have been added: they are read when it runs.
    completion.set_defaults(run=run_completion, every=subparsers)


def run_completion(arguments: Arguments) -> int:
    """Print the script for one shell, made from the parser itself."""
    writers = {"bash": bash_script, "zsh": zsh_script, "fish": fish_script}
    print(writers[arguments.shell](tuple(all_words(arguments.every))), end="")
    return 0


def all_words(every: Subparsers) -> Iterator[Word]:
    """Yield the options without a command, then every command with its words."""
    for option, text in OPTIONS.items():
        yield Word((), option, text)
    yield from _command_words(every, ())


def _command_words(every: Subparsers, path: tuple[str, ...]) -> Iterator[Word]:
    helps = {choice.dest: choice.help or "" for choice in every._choices_actions}  # noqa: SLF001  (the same)
    for name, inner in every.choices.items():
        yield Word(path, name, helps.get(name, ""))
        yield from words_of(inner, (*path, name))


def words_of(parser: argparse.ArgumentParser, path: tuple[str, ...]) -> Iterator[Word]:
    """Yield every word that a parser takes, and those of its commands, in its own order."""
    for action in parser._actions:  # noqa: SLF001  (argparse has no public list of its actions)
        text = "" if action.help in (None, argparse.SUPPRESS) else str(action.help)
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001  (the same)
            yield from _command_words(action, path)
            continue
        for option in action.option_strings:
            if option.startswith("--"):
                yield Word(path, option, text)
        for choice in action.choices or ():
            for after in action.option_strings or ("",):
                yield Word(path, str(choice), text, after)


def _groups(words: tuple[Word, ...]) -> dict[str, list[str]]:
    """Return ``path`` or ``path --option`` -> the words that may come next."""
    found: dict[str, list[str]] = {}
    for word in words:
        key = " ".join([*word.path, *([word.after] if word.after else [])])
        known = found.setdefault(key, [])
        if word.word not in known:
            known.append(word.word)
    return found


def _paths(words: tuple[Word, ...]) -> list[str]:
    return sorted({" ".join(word.path) for word in words if word.path})


def bash_script(words: tuple[Word, ...]) -> str:
    """Return the script for bash: a table of words by what was typed, files as the fallback."""
    rows = [f'    "{key}") echo "{" ".join(names)}" ;;' for key, names in _groups(words).items()]
    paths = [f'      "{path}") path="$next" ;;' for path in _paths(words)]
    return "\n".join(
        [
            f"# bash completion of {PROGRAM}, made by: {PROGRAM} completion bash",
            f"_{PROGRAM}_words() {{",
            '  case "$1" in',
            *rows,
            "  esac",
            "}",
            f"_{PROGRAM}() {{",
            '  local current="${COMP_WORDS[COMP_CWORD]}" before="${COMP_WORDS[COMP_CWORD-1]}"',
            '  local path="" next="" word',
            '  for word in "${COMP_WORDS[@]:1:COMP_CWORD-1}"; do',
            '    next="${path:+$path }$word"',
            '    case "$next" in',
            *paths,
            "    esac",
            "  done",
            f'  local known="$(_{PROGRAM}_words "${{path:+$path }}$before")"',
            '  if [ -z "$known" ] || [ "$before" = "${path##* }" ]; then',
            f'    known="$(_{PROGRAM}_words "$path")"',
            "  fi",
            '  COMPREPLY=( $(compgen -W "$known" -- "$current") )',
            '  if [ ${#COMPREPLY[@]} -eq 0 ]; then COMPREPLY=( $(compgen -f -- "$current") ); fi',
            "}",
            f"complete -o filenames -F _{PROGRAM} {PROGRAM}",
            "",
        ]
    )


def zsh_script(words: tuple[Word, ...]) -> str:
    """Return the script for zsh: that for bash, read by zsh's own layer for such scripts."""
    head = [
        f"#compdef {PROGRAM}",
        f"# zsh completion of {PROGRAM}, made by: {PROGRAM} completion zsh",
        "autoload -Uz compinit bashcompinit",
        "(( $+functions[compdef] )) || compinit",
        "bashcompinit",
    ]
    return "\n".join(head) + "\n" + bash_script(words)


def _fish_text(text: str) -> str:
    plain = re.sub(r"\s+", " ", text).replace("\\", "\\\\").replace("'", "\\'")
    return f"'{plain}'"


def fish_script(words: tuple[Word, ...]) -> str:
    """Return the script for fish: one line for each word, with its help."""
    lines = [f"# fish completion of {PROGRAM}, made by: {PROGRAM} completion fish"]
    groups = _groups(words)
    for word in words:
        if word.after:
            continue
        here = groups[" ".join(word.path)]
        done = " ".join(name for name in here if not name.startswith("--"))
        when = [f"__fish_seen_subcommand_from {step}" for step in word.path]
        when += [f"not __fish_seen_subcommand_from {done}"] if done else []
        line = f"complete -c {PROGRAM} -n '{'; and '.join(when)}'"
        if word.word.startswith("--"):
            choices = groups.get(" ".join([*word.path, word.word]), [])
            line += f" -l {word.word[2:]}" + (f" -x -a '{' '.join(choices)}'" if choices else "")
        else:
            line += f" -f -a {word.word}"
        lines.append(f"{line} -d {_fish_text(word.text)}" if word.text else line)
    return "\n".join(lines) + "\n"
