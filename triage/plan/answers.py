"""What a calculator works with, and what it returns: a sentence, figures with their sources."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from triage.case.profile import Bench
from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError, did_you_mean
from triage.exposure.day import DayLedger
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.tables import Dose
from triage.plan.ladder import agent_bars
from triage.plan.liquids import never_mix
from triage.units import short


@dataclass(frozen=True)
class Means:
    """What a calculator works with: the knowledge, the bench and the air of its day."""

    knowledge: Knowledge
    bench: Bench
    day: DayLedger = field(default_factory=DayLedger)

    def temp_c(self, given: float | None) -> float:
        """Return the temperature asked about, else that of the bench's room [C]."""
        return self.bench.room.temp_c if given is None else given

    def agent(self, word: str) -> Agent:
        """Return an agent by id, or by its exact name.

        Raises
        ------
        TriageError: no such agent; the mend names the nearest one.
        """
        agents = self.knowledge.agents
        named = (agent for agent in agents.values() if agent.name.lower() == word.lower())
        found = agents.get(word) or next(named, None)
        if found is None:
            raise TriageError(f'unknown agent "{word}"', mend=did_you_mean(word, agents))
        return found

    def to_read_first(self, agent: Agent) -> tuple[str, ...]:
        """Return why an agent is not used here or on this bench, and that it is not in stock."""
        knowledge, bench = self.knowledge, self.bench
        found = [f"WARNING: {why}" for _, why in agent_bars(agent, bench, knowledge)]
        used = {each for name in knowledge.methods for each in agent_ids(knowledge, name)}
        if agent.id not in used:
            found.append(f"WARNING: no method here uses {agent.name}. {agent.note}".rstrip())
        if found:
            found += [line.text for line in never_mix(knowledge, agent)]
        if bench.stock and not bench.has_stock(agent.id):
            found.append(f"{agent.name} is not in stock.")
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of an answer; ``value`` is None where nothing is known or nothing limits it."""

    name: str
    value: float | None
    unit: str = ""
    note: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer of a calculator; ``first`` is to be read before it."""

    sentence: str
    figures: Sequence[Figure]
    cautions: Sequence[str] = ()
    assumptions: Sequence[str] = ()
    sources: Sequence[str] = ()
    first: tuple[str, ...] = ()


def answered(knowledge: Knowledge, answer: Answer) -> Answer:
    """Return an answer with its figures shortened and the titles of all sources behind it."""
    figures = tuple(replace(each, value=short(each.value)) for each in answer.figures)
    sources = (*answer.sources, *(each.source for each in figures))
    return replace(answer, figures=figures, sources=titled(knowledge, sources))


def titled(knowledge: Knowledge, ids: Iterable[str]) -> tuple[str, ...]:
    """Return "id: title" of each source once, in the order they are named."""
    found = dict.fromkeys(each for each in ids if each)
    return tuple(
        f"{each}: {knowledge.sources[each].title}" for each in found if each in knowledge.sources
    )


def dose(knowledge: Knowledge, dose_id: str) -> Dose:
    """Return a figure of the doses file; a missing one is a fault of the rules folder."""
    found = knowledge.doses.get(dose_id)
    if found is None:
        raise TriageError(
            f'the rules folder has no dose "{dose_id}"', mend="use the rules that came with it"
        )
    return found


def dose_note(entry: Dose) -> str:
    """Return how far a figure of the doses file can be trusted."""
    return "a suggestion without a document" if entry.suggestion else entry.because
