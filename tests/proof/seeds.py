"""Faults to be put into the text of a copy of the rules, one small edit each, of every class.

Each seed says which check must find it and at which entry; its line is then looked up in the edited
text itself, not taken from the loader.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path

from tests.proof.invariants import harsher
from triage.check.reachable import offers, templates_of
from triage.engine.consult import Consultant
from triage.engine.vocabulary import UNKNOWN
from triage.knowledge.rules import BY_ROOM, FAMILIES, Family

NEW = "-seeded"
SIGNS = "signs.yaml"
LOAD = "load"


@dataclass(frozen=True, slots=True)
class Seed:
    """One fault: its class, what makes the new text of each file, and the entry to be named.

    ``check`` is the verifier's check that must find it; ``load`` stands for the loader, which then
    names the line of the field ``field`` instead of the entry. Any other check that is given a
    ``field`` names the line in which this word stands.
    """

    kind: str
    check: str
    make: Callable[[], Mapping[str, str]]
    file: str
    entry: str
    field: str = ""

    def is_at(self, texts: Mapping[str, str], file: str, line: int) -> bool:
        """Return whether a place in the changed texts is the one that must be named."""
        if file != self.file:
            return False
        lines = texts[file].splitlines()
        if self.check == LOAD:
            return re.search(rf"\b{re.escape(self.field)}:", lines[line - 1]) is not None
        if self.field:
            return self.field in lines[line - 1]
        named = (f"- id: {self.entry}", f"id: {self.entry}")
        return lines[line - 1] in named or lines[line - 1].startswith(f"- {{id: {self.entry},")


class Texts:
    """The text of the rules folder, and where each entry of a list stands in it."""

    def __init__(self, consultant: Consultant, folder: Path, rng: random.Random) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.folder = folder
        self.rng = rng
        self._texts: dict[str, str] = {}
        self._blocks: dict[tuple[str, str], str] = {}

    def text(self, file: str) -> str:
        """Return the text of a file, named from the rules folder."""
        if file not in self._texts:
            self._texts[file] = (self.folder / file).read_text(encoding="utf-8")
        return self._texts[file]

    def file(self, kind: str, entry: str) -> str:
        """Return the file that an entry stands in, named from the rules folder."""
        return self.knowledge.where(kind, entry).file.split("/", maxsplit=1)[1]

    def block(self, kind: str, entry: str) -> str:
        """Return the text of one entry, comments after it left out."""
        if (kind, entry) not in self._blocks:
            self._blocks[kind, entry] = self._block(kind, entry)
        return self._blocks[kind, entry]

    def _block(self, kind: str, entry: str) -> str:
        text = self.text(self.file(kind, entry))
        start = re.search(rf"^- (?:\{{)?id: {re.escape(entry)}\b(?!-)", text, re.MULTILINE)
        if start is None:
            return ""
        after = re.search(r"^(?:- |#)", text[start.end() :], re.MULTILINE)
        end = start.end() + after.start() if after else len(text)
        return text[start.start() : end].rstrip("\n") + "\n"

    def edited(self, kind: str, entry: str, old: str, new: str) -> dict[str, str]:
        """Return the file of an entry with the first ``old`` inside the entry changed."""
        file, block = self.file(kind, entry), self.block(kind, entry)
        return {file: self.text(file).replace(block, block.replace(old, new, 1), 1)}

    def copied(self, kind: str, entry: str) -> dict[str, str]:
        """Return the file of an entry with a copy of it, under a new id, at its end."""
        file = self.file(kind, entry)
        copy = self.block(kind, entry).replace(f"id: {entry}", f"id: {entry}{NEW}", 1)
        return {file: self.text(file).rstrip("\n") + "\n\n" + copy}

    def with_rule(self, family: Family, name: str, when: str, then: str) -> dict[str, str]:
        """Return the file of a family with a new rule at its end."""
        rule = (
            f"- id: {name}\n  when:\n    - {when}\n  then: {then}\n  because: Put in on purpose.\n"
            "  source: judgement\n  cases:\n    - {given: {}, expect: fires}\n"
            "    - {given: {}, expect: silent}\n"
        )
        file = f"{family}.yaml"
        return {file: self.text(file).rstrip("\n") + "\n\n" + rule}

    @cached_property
    def rule_ids(self) -> dict[Family, list[str]]:
        """Return the rules of each family."""
        return {f: [r.id for r in self.knowledge.rules[f]] for f in FAMILIES}

    def question(self, block: str) -> tuple[str, list[str]]:
        """Return a question about the specimen that a rule does not read, and its answers."""
        questions = [
            q
            for q in self.knowledge.questions.values()
            if q.about == "specimen" and q.id not in block and len(q.answers) > 1
        ]
        chosen = self.rng.choice(questions)
        return chosen.id, [answer.id for answer in chosen.answers]


Make = Callable[[Texts], Iterator[Seed]]
SEEDS: dict[str, Make] = {}


def seed(kind: str) -> Callable[[Make], Make]:
    """Register what makes the seeds of one class."""

    def register(make: Make) -> Make:
        SEEDS[kind] = make
        return make

    return register


def _rules(texts: Texts, *families: Family) -> Iterator[tuple[str, str, str]]:
    """Yield (rule, file, text) of the rules of some families that have a file of their own."""
    for family in families or FAMILIES:
        for rule in () if family in BY_ROOM else texts.rule_ids[family]:
            yield rule, f"{family}.yaml", texts.block("rule", rule)


def _conditions(texts: Texts, *families: Family) -> Iterator[tuple[str, str, str, str]]:
    """Yield (kind, entry, file, text) of the shared signs and of rules: all that has a ``when``."""
    for sign in texts.knowledge.signs:
        yield "sign", sign, SIGNS, texts.block("sign", sign)
    for rule, file, block in _rules(texts, *families):
        yield "rule", rule, file, block


def _rooms(texts: Texts) -> str:
    """Return all texts in which signs and ladders are written."""
    folder = texts.folder / "deposits"
    files = [SIGNS, "conditions.yaml", "fragility.yaml"]
    files += [f"deposits/{path.name}" for path in sorted(folder.glob("*.yaml"))]
    return "".join(map(texts.text, files))


def _when(condition: str) -> str:
    return f"  when:\n    - {condition}\n"


# -- rules that never fire, or say nothing --------------------------------------------------------


@seed("never firing")
def never_firing(texts: Texts) -> Iterator[Seed]:
    """Yield signs and rules that ask one question for two answers at once."""
    for kind, entry, file, block in _conditions(texts, Family.ORDER):
        question, answers = texts.question(block)
        both = (
            f"specimen: {{{question}: {answers[0]}}}\n    - specimen: {{{question}: {answers[1]}}}"
        )
        made = partial(texts.edited, kind, entry, "  when:\n", _when(both))
        yield Seed("never firing", "never-fires", made, file, entry)


@seed("unreachable")
def unreachable(texts: Texts) -> Iterator[Seed]:
    """Yield rules that wait for a state of the specimen which no sign shows any more."""
    for condition in texts.knowledge.conditions:
        said = f"- state: {{condition: {condition}}}"
        block = texts.block("condition", condition)
        silent = re.sub(r"^  signs:\n(?:    .*\n)*", "", block, flags=re.MULTILINE)
        kept = texts.text("conditions.yaml").replace(block, silent)
        for rule, file, block in _rules(texts, Family.GATE, Family.FORBID):
            if said in block.split("  then:")[0] and "absent" not in block:
                both = {"conditions.yaml": kept, file: texts.text(file)}
                made = partial(dict[str, str], both)
                yield Seed("unreachable", "never-fires", made, file, rule)


@seed("concludes nothing")
def concludes_nothing(texts: Texts) -> Iterator[Seed]:
    """Yield interlocks on a technique at a stage at which no method uses it."""
    used = {(m.technique, m.stage) for m in texts.knowledge.methods.values()}
    for technique in texts.knowledge.techniques:
        for stage in sorted({stage for _, stage in used}):
            if (technique, stage) not in used:
                name = f"forbid{NEW}-{technique}-{stage}"
                method = f"method: {{id: $m, technique: {technique}, stage: {stage}}}"
                when = f"specimen: {{taxon: $t}}\n    - {method}"
                made = partial(texts.with_rule, Family.FORBID, name, when, "{forbid: {method: $m}}")
                yield Seed("concludes nothing", "concludes-nothing", made, "forbid.yaml", name)


@seed("asks what it does not read")
def asks_unread(texts: Texts) -> Iterator[Seed]:
    """Yield rules that name another question than the one they read."""
    for rule, file, block in _rules(texts, Family.GATE, Family.FORBID):
        asked = re.search(r"^  ask: (\S+)$", block, re.MULTILINE)
        if asked:
            other, _ = texts.question(block)
            made = partial(texts.edited, "rule", rule, asked.group(), f"  ask: {other}")
            yield Seed("asks what it does not read", "ask-is-not-read", made, file, rule)


# -- rules that say what is said ------------------------------------------------------------------


@seed("duplicate")
def duplicate(texts: Texts) -> Iterator[Seed]:
    """Yield copies of a rule under another id."""
    for rule, file, _ in _rules(texts):
        yield Seed("duplicate", "duplicate", partial(texts.copied, "rule", rule), file, rule + NEW)


@seed("subsumed")
def subsumed(texts: Texts) -> Iterator[Seed]:
    """Yield copies of an interlock that ask for one thing more."""
    for rule, file, block in _rules(texts, Family.FORBID):
        question, answers = texts.question(block)
        more = _when(f"specimen: {{{question}: {answers[0]}}}")
        made = partial(_narrowed_copy, texts, rule, file, more)
        yield Seed("subsumed", "subsumed", made, file, rule + NEW)


def _narrowed_copy(texts: Texts, rule: str, file: str, more: str) -> dict[str, str]:
    before, copy = texts.copied("rule", rule)[file].rsplit("  when:\n", maxsplit=1)
    return {file: before + more + copy}


@seed("needless condition")
def needless_condition(texts: Texts) -> Iterator[Seed]:
    """Yield signs and rules that ask for any answer at all."""
    for kind, entry, file, block in _conditions(texts):
        question, answers = texts.question(block)
        every = ", ".join([*answers, UNKNOWN])
        any_answer = _when(f"specimen: {{{question}: {{one_of: [{every}]}}}}")
        made = partial(texts.edited, kind, entry, "  when:\n", any_answer)
        yield Seed("needless condition", "needless-condition", made, file, entry)


# -- contradictions and dead ends -----------------------------------------------------------------


@seed("contradiction")
def contradiction(texts: Texts) -> Iterator[Seed]:
    """Yield interlocks on every case for a method that one ladder offers."""
    for method in texts.knowledge.methods:
        offering = [
            rule.id
            for rule in texts.knowledge.rules[Family.OFFER]
            if any(method in said["offer"]["method"] for said in rule.conclusions())
        ]
        if len(offering) == 1:
            made = partial(
                texts.with_rule,
                Family.FORBID,
                f"forbid{NEW}-{method}",
                "specimen: {taxon: $t}",
                f"{{forbid: {{method: [{method}]}}}}",
            )
            check = "offered-and-always-forbidden"
            file = texts.file("rule", offering[0])
            yield Seed("contradiction", check, made, file, offering[0], method)


@seed("dead end")
def dead_end(texts: Texts) -> Iterator[Seed]:
    """Yield deposits that do not say why they are left where nothing may be done."""
    for deposit in texts.knowledge.deposits:
        file = texts.file("deposit", deposit)
        silent = re.sub(r"^leave_it: .*\n(?:  .*\n)*", "", texts.text(file), flags=re.MULTILINE)
        made = partial(dict[str, str], {file: silent})
        yield Seed("dead end", LOAD, made, file, deposit, "id")


@seed("condition without work")
def idle_condition(texts: Texts) -> Iterator[Seed]:
    """Yield states of the specimen that no rule concludes and nothing is offered for."""
    for condition in texts.knowledge.conditions:
        made = partial(_idle_condition, texts, condition)
        yield Seed(
            "condition without work",
            "condition-without-work",
            made,
            "conditions.yaml",
            condition + NEW,
        )


def _idle_condition(texts: Texts, condition: str) -> dict[str, str]:
    """Return the conditions with a copy of one that has neither signs nor a ladder."""
    (file,) = copied = texts.copied("condition", condition)
    kept, copy = copied[file].split(f"- id: {condition}{NEW}\n")
    bare = re.sub(r"^  (?:signs|ladder):\n(?:    .*\n)*", "", copy, flags=re.MULTILINE)
    return {file: f"{kept}- id: {condition}{NEW}\n{bare}"}


# -- order ----------------------------------------------------------------------------------------


def _orders(texts: Texts, *, across: bool) -> Iterator[tuple[str, str]]:
    """Yield (earlier, later) of the order rules, across the case or in one ladder."""
    for _, template in templates_of(texts.consultant, "before"):
        fields = dict(template.constants)
        if bool(fields.get("across")) == across:
            for earlier in fields["earlier"]:
                for later in fields["later"]:
                    yield earlier, later


def _reversed(texts: Texts, kind: str, check: str, first: str, then: str, more: str) -> Seed:
    name = f"order{NEW}-{first}-{then}"
    before = f"{{before: {{earlier: [{first}], later: [{then}]{more}}}}}"
    made = partial(texts.with_rule, Family.ORDER, name, "specimen: {findings: some}", before)
    return Seed(kind, check, made, "order.yaml", name)


@seed("circular order")
def circular(texts: Texts) -> Iterator[Seed]:
    """Yield order rules across the case that turn another one round."""
    for earlier, later in _orders(texts, across=True):
        yield _reversed(texts, "circular order", "circular-order", later, earlier, ", across: true")


@seed("ladder turned round")
def turned(texts: Texts) -> Iterator[Seed]:
    """Yield order rules that put a harsher rung of a ladder before a milder one."""
    for methods in offers(texts.consultant).values():
        for milder in methods:
            for rougher in methods:
                if harsher(texts.knowledge, rougher, milder):
                    yield _reversed(
                        texts, "ladder turned round", "ladder-turned-round", rougher, milder, ""
                    )


@seed("circle outside ladders")
def latent_circle(texts: Texts) -> Iterator[Seed]:
    """Yield order rules that turn another one round for methods of different ladders."""
    ladders = [frozenset(methods) for methods in offers(texts.consultant).values()]
    for earlier, later in _orders(texts, across=False):
        if not any({earlier, later} <= ladder for ladder in ladders):
            yield _reversed(
                texts, "circle outside ladders", "circle-outside-ladders", later, earlier, ""
            )


# -- entries that nothing uses --------------------------------------------------------------------


def _copies(texts: Texts, entry_kind: str, kind: str, check: str) -> Iterator[Seed]:
    for entry in texts.knowledge.table(entry_kind):
        if texts.block(entry_kind, entry):
            made = partial(texts.copied, entry_kind, entry)
            yield Seed(kind, check, made, texts.file(entry_kind, entry), entry + NEW)


@seed("method never offered")
def never_offered(texts: Texts) -> Iterator[Seed]:
    """Yield methods that no rule offers."""
    yield from _copies(texts, "method", "method never offered", "never-offered")


@seed("deposit without signs")
def unspoken(texts: Texts) -> Iterator[Seed]:
    """Yield deposits against which every sign speaks."""
    for deposit in texts.knowledge.deposits:
        file = texts.file("deposit", deposit)
        weight = r"^(  [a-z0-9-]+: |    weight: )(?=[0-9])"
        against = re.sub(weight, r"\1-", texts.text(file), flags=re.MULTILINE)
        made = partial(dict[str, str], {file: against})
        yield Seed("deposit without signs", "nothing-speaks-for-it", made, file, deposit)


@seed("unused question")
def unused_question(texts: Texts) -> Iterator[Seed]:
    """Yield questions whose answers no rule reads."""
    yield from _copies(texts, "question", "unused question", "question-unused")


@seed("unused entry")
def unused_entry(texts: Texts) -> Iterator[Seed]:
    """Yield equipment, techniques and stop signs that no method uses."""
    for kind in ("equipment", "technique", "stop"):
        yield from _copies(texts, kind, "unused entry", "unused-entry")


@seed("answer that nothing reads")
def unread_answer(texts: Texts) -> Iterator[Seed]:
    """Yield a new answer to a question that rules read only by naming other answers."""
    files = [f"{family}.yaml" for family in FAMILIES if family not in BY_ROOM]
    rooms = _rooms(texts)
    for question in texts.knowledge.questions.values():
        word = re.compile(
            rf"(?<![\w-]){re.escape(question.id)}: *(\{{not|\{{at_|\{{above|\{{below)?"
        )
        if any(word.search(texts.text(file)) for file in files):
            continue
        read = [m.group(1) for m in word.finditer(rooms)]
        if read and not any(read):
            line = re.search(
                r"^    - \{id: .*\n", texts.block("question", question.id), re.MULTILINE
            )
            if line:
                new = line.group() + f"    - {{id: any{NEW}, text: something else}}\n"
                made = partial(texts.edited, "question", question.id, line.group(), new)
                yield Seed(
                    "answer that nothing reads",
                    "answer-unread",
                    made,
                    "questions.yaml",
                    question.id,
                )


@seed("sign without a question")
def sign_without_question(texts: Texts) -> Iterator[Seed]:
    """Yield rules that read a sign whose question is gone; the loader names the line itself.

    Questions that a rule also asks by name are left out: there that line is named first.
    """
    files = [f"{family}.yaml" for family in FAMILIES if family not in BY_ROOM]
    asked = "".join(map(texts.text, files)) + _rooms(texts)
    for question in texts.knowledge.questions:
        if f"ask: {question}" in asked:
            continue
        if re.search(rf"\{{[^}}]*(?<![\w-]){re.escape(question)}:", texts.text(SIGNS)):
            made = partial(_without_question, texts, question)
            yield Seed("sign without a question", LOAD, made, SIGNS, question, question)


def _without_question(texts: Texts, question: str) -> dict[str, str]:
    gone = texts.text("questions.yaml").replace(texts.block("question", question), "")
    return {"questions.yaml": gone, SIGNS: texts.text(SIGNS)}


@seed("idle interlock")
def idle_interlock(texts: Texts) -> Iterator[Seed]:
    """Yield interlocks on a method that nothing offers."""
    for method in texts.knowledge.methods:
        name = f"forbid{NEW}-{method}"
        made = partial(_idle_interlock, texts, method, name)
        yield Seed("idle interlock", "idle-interlock", made, "forbid.yaml", name)


def _idle_interlock(texts: Texts, method: str, name: str) -> dict[str, str]:
    then = f"{{forbid: {{method: [{method}{NEW}]}}}}"
    return {
        **texts.copied("method", method),
        **texts.with_rule(Family.FORBID, name, "specimen: {hydration: dry}", then),
    }
