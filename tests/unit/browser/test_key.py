"""The served interface is given only to who holds the key of its printed address."""

from __future__ import annotations

import pytest

pytest.importorskip("textual_serve", reason="the extra browser is not installed")
from aiohttp.test_utils import TestClient, TestServer

from triage.browser.server import InterfaceServer

pytestmark = pytest.mark.filterwarnings("ignore")


def served(*, allow_other: bool = False) -> InterfaceServer:
    """Return a server whose interface ends at once."""
    return InterfaceServer(["--version"], "127.0.0.1", 8000, allow_other=allow_other)


@pytest.mark.parametrize("allow_other", [False, True])
@pytest.mark.parametrize(
    "path", ["/", "/?key=", "/?key=guess", "/ws", "/ws/", "/ws/guess", "/ws?key=KEY"]
)
async def test_no_page_and_no_socket_without_the_key(path: str, allow_other: bool) -> None:
    server = served(allow_other=allow_other)
    async with TestClient(TestServer(await server._make_app())) as client:
        own = {"Origin": f"http://{client.host}:{client.port}"}
        answer = await client.get(path.replace("KEY", server.key), headers=own)
        assert answer.status == 403
        assert "printed" in await answer.text()


async def test_the_page_opens_with_the_key_and_hands_it_to_its_socket() -> None:
    server = served()
    async with TestClient(TestServer(await server._make_app())) as client:
        page = await client.get(f"/?key={server.key}")
        assert page.status == 200
        path = f"/ws/{server.key}"
        assert f"{client.host}:{client.port}{path}" in await page.text()
        own = {"Origin": f"http://{client.host}:{client.port}"}
        async with client.ws_connect(f"{path}?width=80&height=24", headers=own) as socket:
            assert not socket.closed


def test_every_run_has_a_key_of_its_own_that_cannot_be_guessed() -> None:
    keys = {InterfaceServer([], "127.0.0.1", 8000, allow_other=False).key for _ in range(20)}
    assert len(keys) == 20
    assert min(len(key) for key in keys) >= 32
