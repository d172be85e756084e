"""The user's bench: room, controls, stock, gloves, supports, and what is refused."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from triage.case.entry import Record
from triage.case.reading import record_from
from triage.errors import TriageError, Where
from triage.yamltext import parse_yaml, read_text

Control = Literal["none", "window", "extraction", "hood", "outdoors", "unknown"]
BENCH_FILE = "bench.yaml"
MOST_PROTECTIVE = "most-protective"


class RoomProfile(Record):
    """The room in which the work is done; a missing figure is unknown.

    ``ledger`` is a folder that all who work in the room can write: there they tell each other what
    they used. A path that is not whole counts from the folder of the bench file.
    """

    name: str = ""
    ledger: str = ""
    others: Literal["none", "some", "unknown"] = "unknown"
    volume_m3: Annotated[float, Field(gt=0.5, le=100_000)] | None = None
    air_changes_per_h: Annotated[float, Field(ge=0, le=200)] | None = None
    face_m: Annotated[float, Field(ge=0.1, le=2)] | None = None
    control: Control = "unknown"
    temp_c: Annotated[float, Field(ge=-10, le=45)] = 20.0
    altitude_m: Annotated[float, Field(ge=-400, le=5000)] = 0.0
    ignition_sources: bool = True
    place: Literal["home", "lab"] = "home"


class Stock(Record):
    """One bottle; ``strength`` in percent of the agent's own basis, None if it is not known."""

    FREE: ClassVar[frozenset[str]] = frozenset({"label"})

    agent: str
    strength: Annotated[float, Field(gt=0, le=100)] | None = None
    ml: Annotated[float, Field(ge=0)] | None = None
    label: str = ""


class Refused(Record):
    """An agent that is not available, not legal or not acceptable to this user."""

    FREE: ClassVar[frozenset[str]] = frozenset({"because"})

    agent: str
    because: str = "refused by the user"


class SetUp(Record):
    """A camera set-up of the user's own; figures not given are asked for on the command line."""

    FREE: ClassVar[frozenset[str]] = frozenset({"name"})

    name: str
    magnification: Annotated[float, Field(gt=0)] | None = None
    na: Annotated[float, Field(gt=0, le=1)] | None = None
    f_number: Annotated[float, Field(gt=0)] | None = None
    pitch_um: Annotated[float, Field(gt=0)] | None = None
    sensor_mm: Annotated[float, Field(gt=0)] | None = None
    picture_mm: Annotated[float, Field(gt=0)] | None = None
    distance_mm: Annotated[float, Field(gt=0)] | None = None


class Photos(Record):
    """Where the camera's pictures come in; a path that is not whole counts from the bench file.

    The newest picture in the folder ``watch`` is offered as before or after.
    """

    FREE: ClassVar[frozenset[str]] = frozenset({"watch"})

    watch: str = ""


class Bench(Record):
    """The whole bench file; a bench that says nothing is judged as the least favourable one."""

    FREE: ClassVar[frozenset[str]] = frozenset({"format", "name", "invented"})
    ELSEWHERE: ClassVar[Mapping[str, str]] = dict.fromkeys(RoomProfile.model_fields, "under room")

    format: Literal[1] = 1
    name: str = "unnamed bench"
    invented: bool = False
    room: RoomProfile = RoomProfile()
    judge_by: str = MOST_PROTECTIVE
    margin: Annotated[float, Field(gt=0, le=1)] | None = None
    only_stock: bool = False
    stock: tuple[Stock, ...] = ()
    refused: tuple[Refused, ...] = ()
    circumstances: tuple[str, ...] = ()
    equipment: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()
    gloves: tuple[str, ...] = ()
    supports: tuple[str, ...] = ()
    setups: tuple[SetUp, ...] = ()
    photos: Photos = Photos()

    @property
    def authority(self) -> str | None:
        """Return the one authority whose limits count, None for the most protective of all."""
        return None if self.judge_by == MOST_PROTECTIVE else self.judge_by

    def strength_of(self, agent: str) -> float | None:
        """Return the strength [%] of the user's stock of an agent, None if not known."""
        for stock in self.stock:
            if stock.agent == agent:
                return stock.strength
        return None

    def has_stock(self, agent: str) -> bool:
        """Return whether the bench lists a bottle of this agent."""
        return any(stock.agent == agent for stock in self.stock)


# A key that slid under the room by its indentation.
RoomProfile.ELSEWHERE = dict.fromkeys(Bench.model_fields.keys() - Bench.FREE, "beside room")


def load_bench(path: str | os.PathLike[str]) -> Bench:
    """Return the bench in a file.

    Raises
    ------
    TriageError: missing or broken file, unknown value, number out of range; each fault with its
    line and mend. Ids are checked against the knowledge later (``check_bench``).
    """
    shown = Path(path).name
    parsed = parse_yaml(read_text(path, shown), shown)
    if not isinstance(parsed.data, dict):
        raise TriageError("this is not a bench", Where(shown, 1), "a bench begins with format: 1")
    return record_from(Bench, parsed, shown)
