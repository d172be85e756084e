"""An entry of a file that people write: frozen, and it keeps the keys that it does not know."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import cache
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, ValidationInfo, model_validator

from triage.case.fields import refusal, shown, thawed
from triage.case.nearmiss import meant_key, squeezed


class Record(BaseModel):
    """A frozen entry of a case file that keeps the keys it does not know."""

    # Built when the first one is made: a model costs more to build than the program to start.
    model_config = ConfigDict(
        frozen=True, extra="allow", arbitrary_types_allowed=True, defer_build=True
    )

    # Keys that are written even when they hold their default, so that a reader sees them.
    ALWAYS: ClassVar[frozenset[str]] = frozenset()
    # Keys that protect nothing: others may resemble them.
    FREE: ClassVar[frozenset[str]] = frozenset()
    # Keys that belong to another entry, with the place of that entry in words.
    ELSEWHERE: ClassVar[Mapping[str, str]] = {}

    @model_validator(mode="before")
    @classmethod
    def _refuse_near_miss(cls, content: Any, info: ValidationInfo) -> Any:
        """Refuse an unknown key that was meant for a known one.

        Unknown keys are kept, but an ``amount_l`` beside a missing ``amount_ml`` would silently
        drop an amount from the day's exposure, and a ``circumstance`` what it should protect.
        """
        del info
        if not isinstance(content, dict) or content.keys() <= cls.model_fields.keys():
            return content
        unknown = [key for key in content if key not in cls.model_fields]
        known = {*cls.model_fields, *cls.ELSEWHERE}
        spelt = {squeezed(name): name for name in known}
        for key in unknown:
            meant = spelt.get(squeezed(key)) or meant_key(key, known - cls.FREE, content)
            if meant is not None:
                place = f" {cls.ELSEWHERE[meant]}" if meant in cls.ELSEWHERE else ""
                mend = f'did you mean "{meant}"{place}?'
                raise refusal(f'unknown key "{shown(key)}"', mend, (key,))
        return content

    def plain(self) -> dict[str, Any]:
        """Return the entry as YAML would hold it: defaults left out, unknown keys last."""
        held, left_out = self.__dict__, _defaults(type(self))
        content = {
            name: _plain(held[name])
            for name in type(self).model_fields
            if name not in left_out or held[name] != left_out[name]
        }
        content.update(thawed(self.model_extra or {}))
        return content

    def unknown_keys(self) -> Iterator[tuple[str | int, ...]]:
        """Yield the path of every key that is kept but not known."""
        yield from ((key,) for key in self.model_extra or {})
        for name in type(self).model_fields:
            held = getattr(self, name)
            for place, item in enumerate(held) if isinstance(held, tuple) else [(None, held)]:
                if isinstance(item, Record):
                    step = (name,) if place is None else (name, place)
                    yield from ((*step, *path) for path in item.unknown_keys())


@cache
def _defaults(model: type[Record]) -> Mapping[str, Any]:
    """Return field -> the value that need not be written."""
    return {
        name: field.get_default(call_default_factory=True)
        for name, field in model.model_fields.items()
        if name not in model.ALWAYS and not field.is_required()
    }


def _plain(held: Any) -> Any:
    if isinstance(held, Record):
        return held.plain()
    if isinstance(held, datetime):
        return held.isoformat()
    if isinstance(held, tuple):
        return [_plain(inner) for inner in held]
    return thawed(held)
