"""Serve the interface through textual-serve (extra ``browser``), with our own page and guards."""

from __future__ import annotations

import hmac
import os
import secrets
import shlex
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import aiohttp_jinja2
from aiohttp import web
from aiohttp.typedefs import Handler
from textual_serve.server import Server

from triage.browser.address import is_asked_by_its_name, is_own_page

TEMPLATES = Path(__file__).parent / "templates"
SHUTDOWN_S = 1.0
KEY_BYTES = 24
POLICY = (
    "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "font-src 'self' data:; connect-src 'self' ws: wss:; frame-ancestors 'none'"
)


def command_line(words: Sequence[str]) -> str:
    """Return the command that starts one interface, quoted for the shell of this system."""
    whole = [sys.executable, "-m", "triage", *words]
    return subprocess.list2cmdline(whole) if os.name == "nt" else shlex.join(whole)


class InterfaceServer(Server):
    """One process of the interface for each browser page; nothing is fetched from elsewhere.

    Parameters
    ----------
    words       command line of the interface
    address     address to listen on
    port        port to listen on
    allow_other whether machines other than this one may use it

    Page and socket are given only to who knows ``key``, a random token of this run: it stands in
    the printed address, and nothing logs it.
    """

    def __init__(self, words: Sequence[str], address: str, port: int, *, allow_other: bool) -> None:
        super().__init__(
            command_line(words), host=address, port=port, title="triage", templates_path=TEMPLATES
        )
        self.allow_other = allow_other
        self.key = secrets.token_urlsafe(KEY_BYTES)

    def initialize_logging(self) -> None:
        """Say nothing: the one line that matters is printed before."""

    def serve(self, debug: bool = False) -> None:
        """Serve until stopped; open pages are given a moment to end, not a minute."""
        del debug
        web.run_app(
            self._make_app(),
            host=self.host,
            port=self.port,
            shutdown_timeout=SHUTDOWN_S,
            print=None,
            access_log=None,
        )

    async def on_startup(self, app: web.Application) -> None:
        """Say nothing: the one line that matters is printed before."""
        del app

    async def _make_app(self) -> web.Application:
        app = await super()._make_app()

        @web.middleware
        async def guarded(request: web.Request, handler: Handler) -> web.StreamResponse:
            if not is_asked_by_its_name(request.host, allow_other=self.allow_other):
                raise web.HTTPForbidden(text="This interface is for this machine only.")
            is_socket = request.path.startswith("/ws")
            if is_socket and not is_own_page(request.headers.get("Origin"), request.host):
                raise web.HTTPForbidden(text="Only our own page may connect.")
            # The library's script puts "?" and the size behind the socket: its key is a path.
            page = request.path == "/"
            given = request.query.get("key", "") if page else request.path.removeprefix("/ws/")
            is_known = hmac.compare_digest(given.encode(), self.key.encode())
            if (page or is_socket) and not is_known:
                raise web.HTTPForbidden(
                    text="Open the whole address that was printed, key and all."
                )
            response = await handler(request)
            if not response.prepared:
                response.headers["Content-Security-Policy"] = POLICY
                response.headers["X-Content-Type-Options"] = "nosniff"
                response.headers["Referrer-Policy"] = "no-referrer"
                response.headers["Cache-Control"] = "no-store"
            return response

        app.router.add_get("/ws/{key}", self.handle_websocket)
        app.middlewares.append(guarded)
        return app

    @aiohttp_jinja2.template("app_index.html")
    async def handle_index(self, request: web.Request) -> dict[str, Any]:
        """Return what the page needs: where to connect, seen from the browser that asks."""
        scheme = "wss" if request.secure else "ws"
        size = request.query.get("fontsize", "16")
        return {
            "socket_url": f"{scheme}://{request.host}/ws/{self.key}",
            "key": self.key,
            "font_size": size if size.isdigit() and 6 <= int(size) <= 48 else "16",
        }
