"""Values that cannot change after they are read."""

from __future__ import annotations

from typing import Any, NoReturn, TypeVar

V = TypeVar("V")


class FrozenMap(dict[str, V]):
    """A mapping that cannot be changed: equal to a plain ``dict``, hashable, picklable."""

    def _refuse(self, *_: Any, **__: Any) -> NoReturn:
        raise TypeError("a frozen mapping cannot be changed; build a new one")

    __setitem__ = _refuse
    __delitem__ = _refuse
    __ior__ = _refuse
    clear = _refuse
    pop = _refuse
    popitem = _refuse
    setdefault = _refuse
    update = _refuse

    def __hash__(self) -> int:  # type: ignore[override]
        return hash(frozenset(self.items()))

    @classmethod
    def __get_pydantic_json_schema__(cls, *_: Any) -> dict[str, Any]:
        """Return what a mapping is in a JSON Schema."""
        return {"type": "object"}

    def __reduce__(self) -> tuple[Any, ...]:
        return (FrozenMap, (dict(self),))


def frozen(content: Any) -> Any:
    """Return plain values with every mapping and list made unchangeable."""
    if isinstance(content, dict):
        return FrozenMap({key: frozen(inner) for key, inner in content.items()})
    if isinstance(content, list | tuple):
        return tuple(frozen(inner) for inner in content)
    return content


def thawed(content: Any) -> Any:
    """Return plain dicts and lists, as a YAML writer wants them."""
    if isinstance(content, dict):
        return {key: thawed(inner) for key, inner in content.items()}
    if isinstance(content, list | tuple):
        return [thawed(inner) for inner in content]
    return content
