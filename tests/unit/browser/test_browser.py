"""Who may reach the served interface: loopback (RFC 1122 3.2.1.3, RFC 4291 2.5.3), and who holds its key."""

import re
import shlex
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest

from tests.support.running import Runner
from triage.browser.address import checked_address, is_asked_by_its_name, is_loopback, is_own_page
from triage.errors import TriageError

ANY = "0.0.0.0"  # noqa: S104  (refused is what is tested)
pytestmark = pytest.mark.filterwarnings("ignore")


@asynccontextmanager
async def reached(
    *words: str, allow_other: bool = False
) -> AsyncIterator[tuple[Any, str, dict[str, str]]]:
    """Yield who reaches a server of the interface, its key, and the head of our own page."""
    pytest.importorskip("textual_serve", reason="the extra browser is not installed")
    from aiohttp.test_utils import TestClient, TestServer

    from triage.browser.server import InterfaceServer

    server = InterfaceServer([*words], "127.0.0.1", 8000, allow_other=allow_other)
    async with TestClient(TestServer(await server._make_app())) as client:
        yield client, server.key, {"Origin": f"http://{client.host}:{client.port}"}


@pytest.mark.parametrize(
    "address", ["127.0.0.1", "127.8.9.1", "localhost", "::1", "[::1]", "LOCALHOST"]
)
def test_loopback_needs_no_leave_and_no_warning(address: str) -> None:
    assert is_loopback(address)
    assert checked_address(address, allow_other=False) == ""


@pytest.mark.parametrize(
    "address",
    [
        *(ANY, "::", "192.168.1.7", "10.0.0.1", "example.org", "127.0.0.1.example.org"),
        *("localhost.example", ""),
    ],
)
def test_other_addresses_need_leave_and_are_warned_of(address: str) -> None:
    with pytest.raises(TriageError, match="--allow-other-addresses"):
        checked_address(address, allow_other=False)
    assert "no login" in checked_address(address, allow_other=True)


@pytest.mark.parametrize(
    ("origin", "host", "own"),
    [
        ("http://127.0.0.1:8000", "127.0.0.1:8000", True),
        ("http://localhost:8000", "localhost:8000", True),
        ("http://localhost:8000", "127.0.0.1:8000", False),
        ("http://127.0.0.1:9000", "127.0.0.1:8000", False),
        ("https://evil.example", "127.0.0.1:8000", False),
        ("null", "127.0.0.1:8000", False),
        (None, "127.0.0.1:8000", False),
    ],
)
def test_only_our_own_page_connects(origin: str | None, host: str, own: bool) -> None:
    assert is_own_page(origin, host) is own


def test_a_foreign_name_that_points_here_is_refused() -> None:
    assert not is_asked_by_its_name("evil.example:8000", allow_other=False)
    assert is_asked_by_its_name("[::1]:8000", allow_other=False)
    assert is_asked_by_its_name("bench.local:8000", allow_other=True)


def test_without_the_library_it_says_how_to_get_it(
    triage: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("triage.browser.server", "textual_serve.server", "textual_serve"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    monkeypatch.setitem(sys.modules, "textual_serve", None)
    monkeypatch.setitem(sys.modules, "textual_serve.server", None)
    assert "pip install 'triage[browser]'" in triage("serve").refusal()


async def test_page_fetches_nothing_from_elsewhere_and_guards_hold() -> None:
    async with reached("--demo") as (client, key, _):
        page = await client.get(f"/?key={key}&fontsize=%3Cscript%3E")
        text = await page.text()
        assert page.status == 200
        assert "default-src 'self'" in page.headers["Content-Security-Policy"]
        assert not re.search(r"(src|href)=\"(https?:)?//", text)
        assert 'data-font-size="16"' in text
        assert f"ws://{client.host}:{client.port}/ws/{key}" in text
        foreign = await client.get(f"/?key={key}", headers={"Host": "evil.example"})
        assert foreign.status == 403
        handshake = {"Connection": "Upgrade", "Upgrade": "websocket"}
        handshake |= {"Sec-WebSocket-Version": "13"}
        handshake |= {"Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="}
        for origin in ({"Origin": "https://evil.example"}, {}):
            refused = await client.get(f"/ws/{key}", headers=handshake | origin)
            assert refused.status == 403


@pytest.mark.parametrize("word", ["plain", "with space", "it's", 'a"b', "$(x)"])
def test_words_survive_the_shell(word: str) -> None:
    pytest.importorskip("textual_serve", reason="the extra browser is not installed")
    from triage.browser.server import command_line

    words = [sys.executable, "-m", "triage", "--cases", word]
    assert shlex.split(command_line(["--cases", word])) == words


@pytest.mark.parametrize("allow_other", [False, True])
@pytest.mark.parametrize(
    "path", ["/", "/?key=", "/?key=guess", "/ws", "/ws/", "/ws/guess", "/ws?key=KEY"]
)
async def test_no_page_and_no_socket_without_the_key(path: str, allow_other: bool) -> None:
    async with reached("--version", allow_other=allow_other) as (client, key, own):
        answer = await client.get(path.replace("KEY", key), headers=own)
        assert answer.status == 403
        assert "printed" in await answer.text()


async def test_the_page_opens_with_the_key_and_hands_it_to_its_socket() -> None:
    async with reached("--version") as (client, key, own):
        assert (await client.get(f"/?key={key}")).status == 200
        socket = client.ws_connect(f"/ws/{key}?width=80&height=24", headers=own)
        async with socket as opened:
            assert not opened.closed


async def test_every_run_has_a_key_of_its_own_that_cannot_be_guessed() -> None:
    keys = set()
    for _ in range(20):
        async with reached() as (_, key, _):
            keys.add(key)
    assert len(keys) == 20
    assert min(len(key) for key in keys) >= 32
