"""Thirty visitors come and go: what they left behind."""

from __future__ import annotations

import asyncio
import gc
import socket
from collections import Counter
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

from bokeh.document import Document
from bokeh.util.token import generate_jwt_token, generate_session_id
from panel.io.server import get_server
from tornado.websocket import websocket_connect

from washsim_dashboard import arms, main, state

VISITS = ("", "compare", "class", "join")
T = TypeVar("T")
KINDS = (state.Session, arms.Session, Document)


async def visit(port: int, page: str) -> None:
    """Open a page as a browser does, wait until it is there, and leave."""
    token = generate_jwt_token(generate_session_id())
    url = f"ws://127.0.0.1:{port}/{page}/ws".replace("//ws", "/ws")
    connection = await websocket_connect(
        url, subprotocols=["bokeh", token], max_message_size=100_000_000
    )
    for part in ('{"msgid":"1","msgtype":"PULL-DOC-REQ"}', "{}", "{}"):
        await connection.write_message(part)
    while True:
        part = await connection.read_message()
        assert part is not None, "the server closed the connection"
        if isinstance(part, str) and part.startswith('{"doc"'):
            break
    connection.close()


def alive() -> Counter[str]:
    gc.collect()
    # not isinstance: it would ask proxies, which are in there too
    kinds = [type(one) for one in gc.get_objects() if type(one) in KINDS]
    return Counter(f"{kind.__module__}.{kind.__name__}" for kind in kinds)


def in_a_thread(work: Coroutine[Any, Any, T]) -> T:
    """Run to the end in a thread of its own: the browser tests keep a loop in this one."""
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(asyncio.run, work).result()


async def come_and_go(before: Counter[str]) -> tuple[Counter[str], Counter[str]]:
    """How many sessions and documents are alive while thirty are there, and after they left.

    before: how many there were; it is waited for them to be no more than these, a minute at most.
    """
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = get_server(
        main.pages("127.0.0.1"),
        port=port,
        address="127.0.0.1",
        start=False,
        show=False,
        verbose=False,
        check_unused_sessions_milliseconds=100,
        unused_session_lifetime_milliseconds=2000,
    )
    server.start()
    for i in range(30):
        await visit(port, VISITS[i % len(VISITS)])
    during = alive()
    after = during
    for _ in range(60):
        # what was begun for them beside the pages has to end as well
        await asyncio.sleep(1)
        after = alive()
        if after - before == Counter():
            break
    server.stop()
    return during, after


def test_thirty_visitors_leave_nothing_behind() -> None:
    before = alive()
    during, after = in_a_thread(asyncio.wait_for(come_and_go(before), 300))
    # each kind was there at all, and the documents of pages that were not yet dropped
    assert min(during[f"{kind.__module__}.{kind.__name__}"] for kind in KINDS) > 0
    assert after - before == Counter()
