"""What a case of the casebook and the table of acts hold, read strictly: a wrong key is a fault."""

from functools import cache
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from triage.errors import TriageError
from triage.yamltext import parse_yaml, read_text

HERE = Path(__file__).parent
NOT_YET = HERE / "not_yet.txt"
Strength = Literal["document", "two-documents", "common-practice"]


class Strict(BaseModel):  # frozen, and no key that is not known
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Source(Strict):  # where an account stands; ``read`` is what the case rests on
    title: str = Field(min_length=1)
    section: str = ""
    read: str = Field(min_length=1)
    address: str = ""


class Act(Strict):  # an act of the trade or a group; where it matters, with one of these agents
    act: str
    agent: tuple[str, ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _from_words(cls, given: Any) -> Any:
        if not isinstance(given, dict):
            return {"act": given}
        agent = given.get("agent", ())
        return {**given, "agent": (agent,) if isinstance(agent, str) else tuple(agent)}

    def __str__(self) -> str:
        return f"{self.act} ({', '.join(self.agent)})" if self.agent else self.act


class Tried(Act):  # an act that was done already, with its outcome in the account's words
    outcome: str
    finding: str | None = None
    passes: int = Field(1, ge=1, le=9)


class Seen(Strict):  # one finding as the person would enter it
    id: str
    zone: str
    signs: dict[str, str]


class Room(Strict):  # the bench; what is left out is the usual one at home, with a window
    control: Literal["none", "window", "extraction", "hood", "outdoors", "unknown"] | None = None
    circumstances: list[str] = []
    equipment: list[str] = []
    note: str = ""


class Given(Strict):  # what the person would have answered; what is left out counts as unanswered
    taxon: str
    answers: dict[str, str]
    findings: list[Seen]
    bench: Room = Room()
    history: list[str | dict[str, Any]] = []


class Say(Strict):  # what must stand where the step is read: any of the words shows it
    meaning: str
    words: list[str] = Field(min_length=1)


class Reading(Strict):  # how a finding must be read, or what it must not be taken for
    deposit: str | None = Field(None, alias="is")
    at_least: Literal["suspected", "likely", "settled"] = "suspected"
    denied: str | None = Field(None, alias="not")


class Expect(Strict):  # what must hold
    next: list[Act] = Field(min_length=1)
    then: list[list[Act]] = []
    never: list[Act] = []
    may: list[Act] = []
    say: list[Say] = []
    ask_first: list[str] = []
    readings: dict[str, Reading] = {}


class Account(Strict):  # one case of the casebook; ``id`` is the name of its file
    id: str
    theme: str
    title: str
    strength: Strength
    sources: list[Source] = Field(min_length=1)
    seen: str
    aim: str
    arrival: str
    given: Given
    unsayable: list[str] = []
    truth: dict[str, str] = {}
    records: list[Tried] = []
    expect: Expect
    disagreement: str = ""


class ActEntry(Strict):  # how a step is known to be an act; acts.yaml says what each key means
    words: str
    acts: list[str] = []
    methods: list[str] = Field([], alias="is")
    marks: list[str] = []
    from_c: int | None = None
    on: list[str] = []
    again: bool = False
    notices: list[str] = []
    rests: bool = False
    about: str | None = None


class Acts(Strict):  # the table of acts
    acts: dict[str, ActEntry]
    outcomes: dict[str, list[str]]
    later: list[str]
    asked: dict[str, list[str]]
    truths: dict[str, list[str]]

    def question_of(self, words: str) -> str:
        """Return the question that an account's words name, the words themselves if none."""
        return next((question for question, told in self.asked.items() if words in told), words)

    def deposit_of(self, truth: str) -> str:
        """Return the deposit that an account's words name, the words themselves if none."""
        named = (deposit for deposit, words in self.truths.items() if truth in words)
        return next(named, truth)


@cache
def table() -> Acts:
    """Return the table of acts."""
    return Acts.model_validate(parse_yaml(read_text(HERE / "acts.yaml", ""), "").data)


@cache
def casebook() -> tuple[tuple[Account, ...], tuple[str, ...]]:
    """Return every case that can be read, and one line for each fault of the others."""
    accounts, faults = [], []
    for path in sorted((HERE / "cases").iterdir()):
        try:
            content = parse_yaml(read_text(path, path.name), path.name).data
            accounts.append(Account.model_validate(content))
        except ValidationError as fault:
            faults += [f"{path.name} {each['loc']}: {each['msg']}" for each in fault.errors()]
        except TriageError as fault:
            faults.append(f"{path.name}: {fault}")
        else:
            if path.name != f"{accounts[-1].id}.yaml":
                faults.append(f"{path.name} id: it must be the name of the file")
    return tuple(accounts), tuple(faults)


def not_yet() -> tuple[str, ...]:
    """Return the ids of the cases that do not hold yet."""
    return tuple(NOT_YET.read_text(encoding="utf-8").split()) if NOT_YET.is_file() else ()
