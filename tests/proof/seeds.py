"""Faults to be put into the text of a copy of the rules, one small edit each, of every class.

Each seed says which check must find it and at which entry; its line is then looked up in the edited
text itself, not taken from the loader.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

from tests.proof.invariants import harsher
from tests.proof.texts import NEW, Texts
from triage.check.reachable import offers, templates_of
from triage.engine.vocabulary import UNKNOWN
from triage.knowledge.rules import BY_ROOM, FAMILIES, Family

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


Making = Callable[[], Mapping[str, str]]
# What makes the new texts, the file and the entry to be named, and a word of its line or none.
Sown = tuple[Making, str, str] | tuple[Making, str, str, str]
SEEDS: dict[str, Callable[[Texts], Iterator[Seed]]] = {}


def seed(kind: str, check: str) -> Callable[[Callable[[Texts], Iterator[Sown]]], None]:
    """Register what makes the seeds of one class, and the check that must find them."""

    def register(make: Callable[[Texts], Iterator[Sown]]) -> None:
        SEEDS[kind] = lambda texts: (Seed(kind, check, *sown) for sown in make(texts))

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


def _when(*conditions: str) -> str:
    return "".join(["  when:\n", *(f"    - {condition}\n" for condition in conditions)])


# -- rules that never fire, or say nothing --------------------------------------------------------


@seed("never firing", "never-fires")
def never_firing(texts: Texts) -> Iterator[Sown]:
    """Yield signs and rules that ask one question for two answers at once."""
    for kind, entry, file, block in _conditions(texts, Family.ORDER):
        question, answers = texts.question(block)
        both = (f"specimen: {{{question}: {answer}}}" for answer in answers[:2])
        yield partial(texts.edited, kind, entry, "  when:\n", _when(*both)), file, entry


@seed("unreachable", "never-fires")
def unreachable(texts: Texts) -> Iterator[Sown]:
    """Yield rules that wait for a state of the specimen which no sign shows any more."""
    for condition in texts.knowledge.conditions:
        said = f"- state: {{condition: {condition}}}"
        block = texts.block("condition", condition)
        silent = re.sub(r"^  signs:\n(?:    .*\n)*", "", block, flags=re.MULTILINE)
        kept = texts.text("conditions.yaml").replace(block, silent)
        for rule, file, block in _rules(texts, Family.GATE, Family.FORBID):
            if said in block.split("  then:")[0] and "absent" not in block:
                both = {"conditions.yaml": kept, file: texts.text(file)}
                yield partial(dict[str, str], both), file, rule


@seed("concludes nothing", "concludes-nothing")
def concludes_nothing(texts: Texts) -> Iterator[Sown]:
    """Yield interlocks on a technique at a stage at which no method uses it."""
    used = {(m.technique, m.stage) for m in texts.knowledge.methods.values()}
    for technique in texts.knowledge.techniques:
        for stage in sorted({stage for _, stage in used}):
            if (technique, stage) not in used:
                name = f"forbid{NEW}-{technique}-{stage}"
                method = f"method: {{id: $m, technique: {technique}, stage: {stage}}}"
                when = f"specimen: {{taxon: $t}}\n    - {method}"
                made = partial(texts.with_rule, Family.FORBID, name, when, "{forbid: {method: $m}}")
                yield made, "forbid.yaml", name


@seed("asks what it does not read", "ask-is-not-read")
def asks_unread(texts: Texts) -> Iterator[Sown]:
    """Yield rules that name another question than the one they read."""
    for rule, file, block in _rules(texts, Family.GATE, Family.FORBID):
        asked = re.search(r"^  ask: (\S+)$", block, re.MULTILINE)
        if asked:
            other, _ = texts.question(block)
            made = partial(texts.edited, "rule", rule, asked.group(), f"  ask: {other}")
            yield made, file, rule


# -- rules that say what is said ------------------------------------------------------------------


@seed("duplicate", "duplicate")
def duplicate(texts: Texts) -> Iterator[Sown]:
    """Yield copies of a rule under another id."""
    for rule, file, _ in _rules(texts):
        yield partial(texts.copied, "rule", rule), file, rule + NEW


@seed("subsumed", "subsumed")
def subsumed(texts: Texts) -> Iterator[Sown]:
    """Yield copies of an interlock that ask for one thing more."""
    for rule, file, block in _rules(texts, Family.FORBID):
        question, answers = texts.question(block)
        more = _when(f"specimen: {{{question}: {answers[0]}}}")
        yield partial(_narrowed_copy, texts, rule, file, more), file, rule + NEW


def _narrowed_copy(texts: Texts, rule: str, file: str, more: str) -> dict[str, str]:
    before, copy = texts.copied("rule", rule)[file].rsplit("  when:\n", maxsplit=1)
    return {file: before + more + copy}


@seed("needless condition", "needless-condition")
def needless_condition(texts: Texts) -> Iterator[Sown]:
    """Yield signs and rules that ask for any answer at all."""
    for kind, entry, file, block in _conditions(texts):
        question, answers = texts.question(block)
        every = ", ".join([*answers, UNKNOWN])
        any_answer = _when(f"specimen: {{{question}: {{one_of: [{every}]}}}}")
        yield partial(texts.edited, kind, entry, "  when:\n", any_answer), file, entry


# -- contradictions and dead ends -----------------------------------------------------------------


@seed("contradiction", "offered-and-always-forbidden")
def contradiction(texts: Texts) -> Iterator[Sown]:
    """Yield interlocks on every case for a method that one ladder offers."""
    for method in texts.knowledge.methods:
        offering = [
            rule.id
            for rule in texts.knowledge.rules[Family.OFFER]
            if any(method in said["offer"]["method"] for said in rule.conclusions())
        ]
        if len(offering) == 1:
            name, then = f"forbid{NEW}-{method}", f"{{forbid: {{method: [{method}]}}}}"
            made = partial(texts.with_rule, Family.FORBID, name, "specimen: {taxon: $t}", then)
            yield made, texts.file("rule", offering[0]), offering[0], method


@seed("dead end", LOAD)
def dead_end(texts: Texts) -> Iterator[Sown]:
    """Yield deposits that do not say why they are left where nothing may be done."""
    for deposit in texts.knowledge.deposits:
        file = texts.file("deposit", deposit)
        silent = re.sub(r"^leave_it: .*\n(?:  .*\n)*", "", texts.text(file), flags=re.MULTILINE)
        yield partial(dict[str, str], {file: silent}), file, deposit, "id"


@seed("condition without work", "condition-without-work")
def idle_condition(texts: Texts) -> Iterator[Sown]:
    """Yield states of the specimen that no rule concludes and nothing is offered for."""
    for condition in texts.knowledge.conditions:
        yield partial(_idle_condition, texts, condition), "conditions.yaml", condition + NEW


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


def _reversed(texts: Texts, first: str, then: str, more: str = "") -> Sown:
    name = f"order{NEW}-{first}-{then}"
    before = f"{{before: {{earlier: [{first}], later: [{then}]{more}}}}}"
    made = partial(texts.with_rule, Family.ORDER, name, "specimen: {findings: some}", before)
    return made, "order.yaml", name


@seed("circular order", "circular-order")
def circular(texts: Texts) -> Iterator[Sown]:
    """Yield order rules across the case that turn another one round."""
    for earlier, later in _orders(texts, across=True):
        yield _reversed(texts, later, earlier, ", across: true")


@seed("ladder turned round", "ladder-turned-round")
def turned(texts: Texts) -> Iterator[Sown]:
    """Yield order rules that put a harsher rung of a ladder before a milder one."""
    for methods in offers(texts.consultant).values():
        for milder in methods:
            for rougher in methods:
                if harsher(texts.knowledge, rougher, milder):
                    yield _reversed(texts, rougher, milder)


@seed("circle outside ladders", "circle-outside-ladders")
def latent_circle(texts: Texts) -> Iterator[Sown]:
    """Yield order rules that turn another one round for methods of different ladders."""
    ladders = [frozenset(methods) for methods in offers(texts.consultant).values()]
    for earlier, later in _orders(texts, across=False):
        if not any({earlier, later} <= ladder for ladder in ladders):
            yield _reversed(texts, later, earlier)


# -- entries that nothing uses --------------------------------------------------------------------


def _copies(*kinds: str) -> Callable[[Texts], Iterator[Sown]]:
    """Return what copies each entry of some kinds under another id, which nothing names."""

    def make(texts: Texts) -> Iterator[Sown]:
        for kind in kinds:
            for entry in filter(partial(texts.block, kind), texts.knowledge.table(kind)):
                yield partial(texts.copied, kind, entry), texts.file(kind, entry), entry + NEW

    return make


seed("method never offered", "never-offered")(_copies("method"))


@seed("deposit without signs", "nothing-speaks-for-it")
def unspoken(texts: Texts) -> Iterator[Sown]:
    """Yield deposits against which every sign speaks."""
    for deposit in texts.knowledge.deposits:
        file = texts.file("deposit", deposit)
        weight = r"^(  [a-z0-9-]+: |    weight: )(?=[0-9])"
        against = re.sub(weight, r"\1-", texts.text(file), flags=re.MULTILINE)
        yield partial(dict[str, str], {file: against}), file, deposit


seed("unused question", "question-unused")(_copies("question"))
seed("unused entry", "unused-entry")(_copies("equipment", "technique", "stop"))


@seed("answer that nothing reads", "answer-unread")
def unread_answer(texts: Texts) -> Iterator[Sown]:
    """Yield a new answer to a question that rules read only by naming other answers."""
    files = [f"{family}.yaml" for family in FAMILIES if family not in BY_ROOM]
    rooms = _rooms(texts)
    # A rule that names what is open reads any answer: one more would not be like none at all.
    wider = r"(\{not|\{at_|\{above|\{below|\{one_of: \[[^]]*\bunknown\b)?"
    for question in texts.knowledge.questions:
        word = re.compile(rf"(?<![\w-]){re.escape(question)}: *{wider}")
        if any(word.search(texts.text(file)) for file in files):
            continue
        read = [m.group(1) for m in word.finditer(rooms)]
        line = re.search(r"^    - \{id: .*\n", texts.block("question", question), re.MULTILINE)
        if line and read and not any(read):
            new = line.group() + f"    - {{id: any{NEW}, text: something else}}\n"
            made = partial(texts.edited, "question", question, line.group(), new)
            yield made, "questions.yaml", question


@seed("sign without a question", LOAD)
def sign_without_question(texts: Texts) -> Iterator[Sown]:
    """Yield rules that read a sign whose question is gone; the loader names the line itself.

    Questions that a rule also asks by name are left out: there that line is named first.
    """
    files = [f"{family}.yaml" for family in FAMILIES if family not in BY_ROOM]
    asked = "".join(map(texts.text, files)) + _rooms(texts)
    for question in texts.knowledge.questions:
        if f"ask: {question}" in asked:
            continue
        if re.search(rf"\{{[^}}]*(?<![\w-]){re.escape(question)}:", texts.text(SIGNS)):
            yield partial(_without_question, texts, question), SIGNS, question, question


def _without_question(texts: Texts, question: str) -> dict[str, str]:
    gone = texts.text("questions.yaml").replace(texts.block("question", question), "")
    return {"questions.yaml": gone, SIGNS: texts.text(SIGNS)}


@seed("idle interlock", "idle-interlock")
def idle_interlock(texts: Texts) -> Iterator[Sown]:
    """Yield interlocks on a method that nothing offers."""
    for method in texts.knowledge.methods:
        name = f"forbid{NEW}-{method}"
        yield partial(_idle_interlock, texts, method, name), "forbid.yaml", name


def _idle_interlock(texts: Texts, method: str, name: str) -> dict[str, str]:
    then = f"{{forbid: {{method: [{method}{NEW}]}}}}"
    return {
        **texts.copied("method", method),
        **texts.with_rule(Family.FORBID, name, "specimen: {hydration: dry}", then),
    }
