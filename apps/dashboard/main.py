"""Serves the app: each page at its plain address, scripts and styles beside."""

from __future__ import annotations

import gc
from collections.abc import Callable
from typing import Any

import panel as pn
from bokeh.server.urls import per_app_patterns
from panel.io.server import WSHandler
from tornado.web import HTTPError

from washsim_dashboard import (
    class_view,
    compare,
    downloads,
    explore,
    join,
    layout,
    learn,
    log_page,
    nearby,
    tests_page,
    tonight,
)


def serve(port: int = 5006, show: bool = True, address: str = "127.0.0.1") -> None:
    """Serve until interrupted; `show` opens the browser.

    An address other than this machine's own, such as 0.0.0.0, lets a class in: then pages
    reached under any name of this machine may connect.
    """
    # what was loaded stays: looking through it for rubbish would hold visitors up, 0.1 s at a time
    gc.freeze()
    pn.serve(
        pages(address),
        port=port,
        address=address,
        websocket_origin=None if nearby.is_own(address) else "*",
        show=show,
        title="washsim",
        static_dirs={"assets": str(layout.ASSETS)},
        extra_patterns=[*downloads.PATTERNS, *learn.routes()],
    )


def pages(address: str) -> dict[str, Callable[[], pn.Template]]:
    """Every page by its address; `address` is where the server listens."""
    found: dict[str, Callable[[], pn.Template]] = {
        "/": explore.page,
        "/tonight": tonight.page,
        "/compare": compare.page,
        "/tests": tests_page.page,
        "/log": lambda: log_page.page(address),
        "/class": class_view.page,
        "/join": lambda: join.page(address),
    }
    return {path: layout.guarded(page, f".{path}") for path, page in found.items()}


class Socket(WSHandler):
    """Panel's, but small pieces of a message leave at once instead of waiting to be joined.

    A run goes out in some eighteen pieces; waiting made it 20 ms later (measured). The log's is for
    the host's own browser alone, and for the log's own page in it.
    """

    async def prepare(self) -> None:
        log = self.request.path.startswith(log_page.ADDRESS.removeprefix("."))
        origin = self.request.headers.get("Origin", "")
        if log and not nearby.asks_from_own_page(self.request, origin):
            raise HTTPError(403)
        await super().prepare()

    def open(self, *args: Any, **kwargs: Any) -> None:
        self.set_nodelay(True)
        super().open(*args, **kwargs)


per_app_patterns[:] = [
    (address, Socket if address == "/ws" else handler) for address, handler in per_app_patterns
]
