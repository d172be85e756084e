"""The rows of the bench screen, and the bench that a changed row gives."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import ValidationError
from textual.content import Content

from triage.case.profile import Bench, Control, bench_content
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.tui.hanging import Hanging, beside

ROOM = (
    ("volume_m3", "Room volume, m3", "Room volume in m3 (empty: not known)"),
    ("air_changes_per_h", "Air changes per hour", "Air changes per hour (empty: not known)"),
    ("temp_c", "Temperature, degC", "Temperature in degC"),
    ("face_m", "Face from the work, m", "Nose to the work in m, as you sit (empty: not measured)"),
    ("altitude_m", "Altitude, m", "Altitude in m above the sea"),
)
YES_NO = (("yes", "yes"), ("no", "no"))
TRUTH = {"yes": True, "no": False}


@dataclass(frozen=True)
class BenchRow:
    """One row: where it stands in the bench, its value, and how a new one is asked for."""

    id: str
    prompt: Content | Hanging
    path: tuple[str, ...] = ()
    value: str = ""
    ask: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    then_ask: str = ""
    removable: bool = False
    is_title: bool = False


def _title(text: str) -> BenchRow:
    return BenchRow(f"title-{text}", Content.styled(text, "bold"), is_title=True)


def bench_rows(bench: Bench, knowledge: Knowledge) -> tuple[BenchRow, ...]:
    """Return all rows of a bench."""
    return (
        _title("Room"),
        *_room_rows(bench, knowledge),
        _title("Stock (strength in percent; not known counts as the worst)"),
        *_stock_rows(bench, knowledge),
        *_list_rows("gloves", "Gloves", bench.gloves, _materials(knowledge, {"glove"})),
        *_list_rows(
            "supports", "Supports", bench.supports, _materials(knowledge, {"support", "box"})
        ),
        *_list_rows("lacking", "Equipment lacking", bench.lacking, _named(knowledge.equipment)),
        *_list_rows(
            "circumstances",
            "About the person and the room",
            bench.circumstances,
            _named(knowledge.circumstances),
        ),
        _title("Agents refused"),
        *_refused_rows(bench, knowledge),
    )


def _row(path: tuple[str, ...], label: str, shown: str, **more: Any) -> BenchRow:
    return BenchRow("/".join(path), beside(f"  {label}", shown), path=path, **more)


def _room_rows(bench: Bench, knowledge: Knowledge) -> Iterator[BenchRow]:
    yield _row(("name",), "Name", bench.name, value=bench.name, ask="Name of this bench")
    face = f"not measured ({knowledge.judgement.near_field_radius_m.value:g} is taken)"
    for field, label, ask in ROOM:
        held = getattr(bench.room, field)
        value = "" if held is None else f"{held:g}"
        unknown = face if field == "face_m" else "not known (counts as none)"
        yield _row(("room", field), label, value or unknown, value=value, ask=ask)
    controls = tuple((word, word) for word in get_args(Control))
    yield _row(
        ("room", "control"), "Control", bench.room.control, ask="What moves air?", choices=controls
    )
    ignition = "yes" if bench.room.ignition_sources else "no"
    yield _row(
        ("room", "ignition_sources"),
        "Sources of ignition",
        ignition,
        ask="Flames, hot lamps, heaters, motors in the room?",
        choices=YES_NO,
    )
    yield _row(
        ("room", "place"),
        "Place",
        bench.room.place,
        ask="Where is it?",
        choices=(("home", "home"), ("lab", "laboratory")),
    )
    only = "yes" if bench.only_stock else "no"
    yield _row(
        ("only_stock",), "Only what is in stock", only, ask="Plan only with stock?", choices=YES_NO
    )


def _stock_rows(bench: Bench, knowledge: Knowledge) -> Iterator[BenchRow]:
    for number, stock in enumerate(bench.stock):
        strength = "strength not known" if stock.strength is None else f"{stock.strength:g} %"
        amount = "" if stock.ml is None else f", {stock.ml:g} mL"
        yield _row(
            ("stock", str(number)),
            _name_of(knowledge.agents, stock.agent),
            f"{strength}{amount}",
            value="" if stock.strength is None else f"{stock.strength:g}",
            ask="Strength in percent (empty: not known)",
            removable=True,
        )
    yield BenchRow(
        "stock/new",
        Content("  + another bottle"),
        path=("stock", "new"),
        ask="What is in the bottle?",
        choices=_named(knowledge.agents),
        then_ask="Strength in percent (empty: not known)",
    )


def _refused_rows(bench: Bench, knowledge: Knowledge) -> Iterator[BenchRow]:
    for number, refused in enumerate(bench.refused):
        yield _row(
            ("refused", str(number)),
            _name_of(knowledge.agents, refused.agent),
            refused.because,
            value=refused.because,
            ask="Why is it refused?",
            removable=True,
        )
    yield BenchRow(
        "refused/new",
        Content("  + refuse an agent"),
        path=("refused", "new"),
        ask="Which agent is refused?",
        choices=_named(knowledge.agents),
        then_ask="Why?",
    )


def _list_rows(
    field: str, label: str, held: tuple[str, ...], choices: tuple[tuple[str, str], ...]
) -> Iterator[BenchRow]:
    yield _title(label)
    names = dict(choices)
    for number, item in enumerate(held):
        yield BenchRow(
            f"{field}/{number}",
            Content(f"  {names.get(item, item)}"),
            path=(field, str(number)),
            ask=label,
            choices=choices,
            removable=True,
        )
    if choices:
        yield BenchRow(
            f"{field}/new", Content("  + another"), path=(field, "new"), ask=label, choices=choices
        )


def _name_of(table: Any, entry_id: str) -> str:
    entry = table.get(entry_id)
    return str(entry.name) if entry is not None else entry_id


def _named(table: Any) -> tuple[tuple[str, str], ...]:
    return tuple((entry.id, entry.name) for entry in table.values())


def _materials(knowledge: Knowledge, roles: set[str]) -> tuple[tuple[str, str], ...]:
    return tuple((m.id, m.name) for m in knowledge.materials.values() if m.role in roles)


def changed_bench(bench: Bench, row: BenchRow, value: str | None) -> Bench:
    """Return the bench with a row's new value; None takes the row away.

    Raises
    ------
    TriageError: the value is not one that may stand there.
    """
    content = bench_content(bench)
    field, *rest = row.path
    if field == "room":
        room = content.setdefault("room", {})
        room[rest[0]] = _typed(value or "")
    elif field in {"stock", "refused"}:
        content[field] = _with_record(list(content.get(field, ())), field, rest[0], value)
    elif rest:
        content[field] = _with_item(list(content.get(field, ())), rest[0], value)
    else:
        content[field] = TRUTH.get(value or "", value)
    try:
        return Bench.model_validate(content)
    except ValidationError as fault:
        first = fault.errors()[0]
        mend = "change the value, or leave it empty if it is not known"
        raise TriageError(f'"{value}": {first["msg"]}', mend=mend) from fault


def _typed(value: str) -> Any:
    if value in TRUTH:
        return TRUTH[value]
    if not value:
        return None
    try:
        return float(value.replace(",", "."))
    except ValueError:
        return value


def _with_item(items: list[Any], place: str, value: str | None) -> list[Any]:
    if place == "new":
        return items if value in items else [*items, value]
    if value is None:
        return [item for at, item in enumerate(items) if str(at) != place]
    return [value if str(at) == place else item for at, item in enumerate(items)]


def _with_record(items: list[Any], field: str, place: str, value: str | None) -> list[Any]:
    if place == "new":
        agent, _, more = (value or "").partition(" ")
        record: dict[str, Any] = {"agent": agent}
        if field == "stock":
            record["strength"] = _typed(more)
        elif more:
            record["because"] = more
        return [*items, record]
    if value is None:
        return _with_item(items, place, None)
    key = "strength" if field == "stock" else "because"
    return [
        {**item, key: _typed(value) if key == "strength" else value} if str(at) == place else item
        for at, item in enumerate(items)
    ]
