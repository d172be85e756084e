"""What every face of the tool (command line, interface, plain session) calls.

A workshop holds the knowledge, the folder of cases and the bench. Each method is one act of the
user: it reads the newest case, changes it through the store, and returns the new value.

The parts are imported when they are first asked for: a face that only lists cases starts fast.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from triage.service.listing import CaseLine, Clock, local_now
    from triage.service.workshop import Workshop, open_workshop

_PLACES = {
    "CaseLine": "listing",
    "Clock": "listing",
    "local_now": "listing",
    "Workshop": "workshop",
    "open_workshop": "workshop",
}


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(name)
    return getattr(import_module(f"triage.service.{_PLACES[name]}"), name)


__all__ = ["CaseLine", "Clock", "Workshop", "local_now", "open_workshop"]
