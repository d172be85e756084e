"""Who may reach the served interface: addresses, host names, and pages that ask from elsewhere."""

from __future__ import annotations

import ipaddress
from urllib.parse import urlsplit

from triage.errors import TriageError
from triage.units import within

LOOPBACK_NAMES = frozenset({"localhost"})
NO_LOGIN = (
    "WARNING: there is no login. Whoever reaches {address} can read and change the cases of this "
    "bench. Use it only on a network you trust, and end it when you are done."
)


def is_loopback(address: str) -> bool:
    """Return whether an address or name can be reached from this machine only."""
    name = address.strip("[]")
    if name.lower() in LOOPBACK_NAMES:
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def checked_address(address: str, *, allow_other: bool) -> str:
    """Return the warning to show before serving on an address, empty on loopback.

    Raises
    ------
    TriageError: an address that other machines can reach, without leave to use it.
    """
    if is_loopback(address):
        return ""
    if not allow_other:
        raise TriageError(
            f'"{address}" can be reached from other machines, and there is no login',
            mend="leave --address out, or add --allow-other-addresses if you mean it",
        )
    return NO_LOGIN.format(address=address)


def checked_port(port: int) -> int:
    """Return a port that can be served on, else raise ``OutOfRange``."""
    return int(within("port", port, 1, 65_535, ""))


def is_own_page(origin: str | None, host_header: str) -> bool:
    """Return whether a connection comes from our own page.

    A page of any other site can open a connection to this machine as well; its ``Origin`` then
    names that site, so it has to be the very host and port that were asked for.
    """
    if origin is None:
        return False
    return urlsplit(origin).netloc.lower() == host_header.lower()


def is_asked_by_its_name(host_header: str, *, allow_other: bool) -> bool:
    """Return whether a request names a host it may: else a foreign name points at this machine."""
    return allow_other or is_loopback(urlsplit(f"//{host_header}").hostname or "")
