"""Serves the app: each page at its plain address, scripts and styles beside."""

from __future__ import annotations

import gc
import os
import signal
import threading
from collections.abc import Callable
from typing import Any

import panel as pn
from bokeh.server.urls import per_app_patterns
from panel.io.server import AutoloadJsHandler, DocHandler, WSHandler
from tornado.web import RequestHandler

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
    work,
)

LOG = log_page.ADDRESS.removeprefix(".")
GRACE = 5
"""s that a server has to end in when it is stopped from outside."""


def serve(port: int = 5006, show: bool = True, address: str = "127.0.0.1") -> None:
    """Serve until interrupted; `show` opens the browser.

    An address other than this machine's own, such as 0.0.0.0, lets a class in: then pages
    reached under any name of this machine may connect.
    """
    signal.signal(signal.SIGTERM, _stop)
    # what was loaded stays: looking through it for rubbish would hold visitors up, 0.1 s at a time
    gc.freeze()
    try:
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
    finally:
        work.CLOSING.set()


def _stop(number: int, frame: Any) -> None:
    """A stop from outside ends it as Ctrl-C does, and with it the processes that work for it.

    An interrupt can be lost on its way, or wait for work that is on: the end comes all the same.
    """
    end = threading.Timer(GRACE, os._exit, (128 + number,))
    end.daemon = True
    end.start()
    raise KeyboardInterrupt


def pages(address: str) -> dict[str, Callable[[], pn.Template]]:
    """Every page by its address; `address` is where the server listens."""
    found: dict[str, Callable[[], pn.Template]] = {
        "/": explore.page,
        "/tonight": tonight.page,
        "/compare": compare.page,
        "/tests": tests_page.page,
        LOG: log_page.page,
        "/class": class_view.page,
        "/join": lambda: join.page(address),
    }
    return {path: layout.guarded(page, f".{path}") for path, page in found.items()}


class Host(RequestHandler):
    """Answers for the log only to the host's own browser, and its socket only to the log's page."""

    async def prepare(self) -> None:
        if not self.request.path.startswith(LOG) or self.allowed():
            await super().prepare()  # type: ignore[misc]
            return
        self.set_status(403)
        self.finish(log_page.closed(self.request))

    def allowed(self) -> bool:
        return nearby.asks(self.request)


class Document(Host, DocHandler):
    """A page."""


class Script(Host, AutoloadJsHandler):
    """A page's script, for a page elsewhere."""


class Socket(Host, WSHandler):
    """A page's socket; small pieces of a message leave at once instead of waiting to be joined.

    A run goes out in some eighteen pieces; waiting made it 20 ms later (measured).
    """

    def allowed(self) -> bool:
        return nearby.asks_from_own_page(self.request, self.request.headers.get("Origin", ""))

    def open(self, *args: Any, **kwargs: Any) -> None:
        self.set_nodelay(True)
        super().open(*args, **kwargs)


OURS = {DocHandler: Document, AutoloadJsHandler: Script, WSHandler: Socket}
per_app_patterns[:] = [(address, OURS.get(one, one)) for address, one in per_app_patterns]
