"""Print every name the tool gives to a thing: commands, options, screens, keys, colours, columns.

Run it where triage is installed, to read the whole face of the tool at one sitting::

    python tests/tui/list_labels.py
"""

import argparse
import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from textual.binding import Binding
from textual.screen import Screen

import triage.tui.screens
from triage.cli import build_parser
from triage.tui.app import TriageApp


def screens() -> list[type[Screen[Any]]]:
    """Return every screen class of the interface, by name."""
    found: dict[str, type[Screen[Any]]] = {}
    for info in pkgutil.iter_modules(triage.tui.screens.__path__):
        module = importlib.import_module(f"triage.tui.screens.{info.name}")
        found |= {
            name: value
            for name, value in inspect.getmembers(module, inspect.isclass)
            if issubclass(value, Screen) and value.__module__ == module.__name__
        }
    return [found[name] for name in sorted(found)]


def own_keys(screen: type[Any]) -> Iterator[tuple[str, str, str]]:
    """Yield key, action and label of a class of ours, those of our base classes included."""
    for base in reversed(screen.__mro__):
        if not base.__module__.startswith("triage."):
            continue
        for given in base.__dict__.get("BINDINGS", ()):
            binding = given if isinstance(given, Binding) else Binding(*given)
            for key in binding.key.split(","):
                yield key, binding.action, binding.description


def commands() -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Yield every command with its parser, those below another as two words."""
    yield from _below("", build_parser())


def _below(path: str, parser: argparse.ArgumentParser) -> Iterator[tuple[str, Any]]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, sub in action.choices.items():
                yield f"{path}{name}", sub
                yield from _below(f"{path}{name} ", sub)


def colours() -> list[str]:
    """Return the colours the style sheet uses, all of them the theme's by meaning."""
    sheet = Path(inspect.getfile(TriageApp)).with_name("app.tcss").read_text(encoding="utf-8")
    return sorted(set(re.findall(r"\$[a-z-]+", sheet)))


def main() -> None:
    print("Commands and options")
    for name, parser in commands():
        print(f"  {name}: {parser.description}")
        for action in parser._actions:
            words = ", ".join(action.option_strings) or action.metavar or action.dest
            print(f"      {words}: {action.help or ''}")
    print("\nScreens and keys")
    for screen in (TriageApp, *screens()):
        first = (inspect.getdoc(screen) or "").splitlines()[0]
        print(f"  {screen.__name__}: {first}")
        for key, action, label in own_keys(screen):
            print(f"      {key}: {label} ({action})")
    print("\nColours, by meaning:", " ".join(colours()))


if __name__ == "__main__":
    main()
