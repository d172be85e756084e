"""What is asked of the bench, and the bench that an answer gives; said once for every face."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import ValidationError

from triage.case.profile import Bench, Control
from triage.errors import TriageError

YES_NO = (("yes", "yes"), ("no", "no"))
TRUTH = {"yes": True, "no": False}
NOT_KNOWN = "not known (counts as none)"
# Free words: a room may be called 12 or yes.
WORDS = frozenset({"name", "ledger", "watch", "label", "because", "agent"})
PARTS = frozenset({"room", "photos"})


@dataclass(frozen=True)
class Asked:
    """One question about the bench: where the answer stands, and what may be answered."""

    path: tuple[str, ...]
    label: str
    ask: str
    choices: tuple[tuple[str, str], ...] = ()
    empty: str = NOT_KNOWN

    def value(self, bench: Bench) -> str:
        """Return what the bench says, as it would be answered; empty if it is not known."""
        held: Any = bench
        for step in self.path:
            held = getattr(held, step)
        if isinstance(held, bool):
            return "yes" if held else "no"
        return "" if held is None else held if isinstance(held, str) else f"{held:g}"


ASKED = (
    Asked(("room", "volume_m3"), "Room volume, m3", "Room volume in m3 (empty: not known)"),
    Asked(
        ("room", "air_changes_per_h"),
        "Air changes per hour",
        "Air changes per hour (empty: not known)",
    ),
    Asked(("room", "temp_c"), "Temperature, degC", "Temperature in degC"),
    Asked(
        ("room", "face_m"),
        "Face from the work, m",
        "Nose to the work in m, as you sit (empty: not measured)",
        empty="not measured (the usual is taken)",
    ),
    Asked(("room", "altitude_m"), "Altitude, m", "Altitude in m above the sea"),
    Asked(
        ("room", "control"),
        "Control",
        "What moves air?",
        tuple((word, word) for word in get_args(Control)),
    ),
    Asked(
        ("room", "ignition_sources"),
        "Sources of ignition",
        "Flames, hot lamps, heaters, motors in the room?",
        YES_NO,
    ),
    Asked(("room", "place"), "Place", "Where is it?", (("home", "home"), ("lab", "laboratory"))),
    Asked(
        ("room", "others"),
        "Others in the room",
        "Do others work in this room?",
        (("none", "nobody else"), ("some", "others work here too"), ("unknown", "not known")),
    ),
    Asked(("room", "name"), "Name of the room", "Name of the room", empty="none"),
    Asked(
        ("room", "ledger"),
        "Folder that the room shares",
        "Folder in which all who work there tell what they used (empty: none)",
        empty="none",
    ),
    Asked(
        ("photos", "watch"),
        "Folder of new pictures",
        "Folder into which the camera writes; the newest picture is offered (empty: none)",
        empty="none",
    ),
    Asked(("only_stock",), "Only what is in stock", "Plan only with stock?", YES_NO),
)


def changed_bench(
    bench: Bench, path: tuple[str, ...], value: str | Mapping[str, str] | None
) -> Bench:
    """Return the bench with a new value at a place; None takes an item of a list away.

    A place is a field, the place in it (``new`` for one more), and in a bottle or a refusal what is
    changed of it. What is not said of a new bottle or refusal is left out.

    Raises
    ------
    TriageError: the value is not one that may stand there.
    """
    content = bench.plain()
    *way, last = path
    held: Any = content
    for step in way:
        whole: Any = {} if step in PARTS else []
        held = held[int(step)] if isinstance(held, list) else held.setdefault(step, whole)
    if isinstance(value, Mapping):
        held.append({name: _typed(name, said) for name, said in value.items() if said})
    elif last == "new":
        held += [value] if value not in held else []
    elif value is None:
        del held[int(last)]
    elif isinstance(held, list):
        held[int(last)] = value
    else:
        held[last] = _typed(last, value)
    try:
        return Bench.model_validate(content)
    except ValidationError as fault:
        first = fault.errors()[0]
        said = ", ".join(value.values()) if isinstance(value, Mapping) else value
        mend = "change the value, or leave it empty if it is not known"
        raise TriageError(f'"{said}": {first["msg"]}', mend=mend) from fault


def _typed(name: str, value: str) -> Any:
    if name in WORDS:
        return value
    if value in TRUTH or not value:
        return TRUTH.get(value)
    try:
        return float(value.replace(",", "."))
    except ValueError:
        return value
