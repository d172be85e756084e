"""What a calculator returns: one sentence, figures with their sources, assumptions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.knowledge.tables import Dose


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of an answer; ``value`` is None where nothing is known or nothing limits it."""

    name: str
    value: float | None
    unit: str
    note: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer of a calculator.

    Parameters
    ----------
    sentence    the answer in plain words
    figures     the numbers behind it
    cautions    what to mind when acting on it
    assumptions what the numbers rest on
    sources     "id: title" of every source that was used
    first       what is to be read before the answer
    """

    sentence: str
    figures: tuple[Figure, ...]
    cautions: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    first: tuple[str, ...] = ()


def short(number: float) -> float:
    """Return a figure with four significant digits: more would pretend to know."""
    return float(f"{number:.4g}")


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
