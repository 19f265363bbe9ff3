"""Visitors come and go: what they left behind, and what they see where a page cannot be made."""

from __future__ import annotations

import asyncio
import gc
import socket
from collections import Counter
from collections.abc import AsyncIterator, Coroutine
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, NoReturn, TypeVar

import pytest
from bokeh.document import Document
from bokeh.util.token import generate_jwt_token, generate_session_id
from panel.io.server import get_server
from tornado.httpclient import AsyncHTTPClient, HTTPRequest
from tornado.websocket import websocket_connect

from washsim.errors import InputError
from washsim_dashboard import (
    arms,
    compare,
    explore,
    learn,
    log_page,
    main,
    replies,
    state,
    tests_page,
    tonight,
)

OFTEN = ("", "compare", "class", "join")
ONCE = ("tonight", "tests", "log", "compare", "")
"""Every kind of session once more, last: a page that searches or fits as it opens is not cheap."""
VISITS = [OFTEN[i % len(OFTEN)] for i in range(30 - len(ONCE))]
T = TypeVar("T")
KINDS = (
    *(state.Session, arms.Session, tonight.Session, tests_page.Session, log_page.Session),
    Document,
)


async def visit(port: int, page: str) -> None:
    """Open a page as a browser does, wait until it is there, and leave."""
    token = generate_jwt_token(generate_session_id())
    url = f"ws://127.0.0.1:{port}/{page}/ws".replace("//ws", "/ws")
    connection = await websocket_connect(
        HTTPRequest(url, headers={"Origin": f"http://127.0.0.1:{port}"}),
        subprotocols=["bokeh", token],
        max_message_size=100_000_000,
    )

    async def hear(wanted: str) -> None:
        while True:
            part = await connection.read_message()
            assert part is not None, "the server closed the connection"
            if isinstance(part, str) and wanted in part:
                return

    # before that the server does not listen yet
    await hear('"ACK"')
    for part in ('{"msgid":"1","msgtype":"PULL-DOC-REQ"}', "{}", "{}"):
        await connection.write_message(part)
    await hear('{"doc"')
    connection.close()


def alive() -> Counter[str]:
    gc.collect()
    # not isinstance: it would ask proxies, which are in there too
    kinds = [type(one) for one in gc.get_objects() if type(one) in KINDS]
    return Counter(f"{kind.__module__}.{kind.__name__}" for kind in kinds)


def in_a_thread(work: Coroutine[Any, Any, T]) -> T:
    """Run to the end in a thread of its own: the browser tests keep a loop in this one."""
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(asyncio.run, asyncio.wait_for(work, 300)).result()


@asynccontextmanager
async def served() -> AsyncIterator[int]:
    """The app in this process; its port. Visitors who left are dropped after two seconds."""
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
        extra_patterns=learn.routes(),
    )
    server.start()
    try:
        yield port
    finally:
        server.stop()


async def read(port: int, page: str) -> tuple[int, str]:
    """Status and text of a page."""
    address = f"http://127.0.0.1:{port}/{page}"
    found = await AsyncHTTPClient(force_instance=True).fetch(address, raise_error=False)
    return found.code, found.body.decode()


async def come_and_go(before: Counter[str]) -> tuple[Counter[str], Counter[str]]:
    """How many sessions and documents were alive while thirty came, and after they left.

    before: how many there were; it is waited for them to be no more than these, a minute at most.
    """
    async with served() as port:
        assert (await read(port, "learn"))[0] == 200
        for page in VISITS:
            await visit(port, page)
        during: Counter[str] = Counter()
        for page in ONCE:
            await visit(port, page)
            during |= alive()
        after = during
        for _ in range(60):
            # what was begun for them beside the pages has to end as well
            await asyncio.sleep(1)
            after = alive()
            if after - before == Counter():
                break
    return during, after


def test_thirty_visitors_leave_nothing_behind(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("WASHSIM_LOG", str(tmp_path))
    before = alive()
    during, after = in_a_thread(come_and_go(before))
    # each kind was there at all, and the documents of pages that were not yet dropped
    assert min(during[f"{kind.__module__}.{kind.__name__}"] for kind in KINDS) > 0
    assert after - before == Counter()


def test_a_page_that_cannot_be_made_says_so_in_one_sentence(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken() -> NoReturn:
        raise ZeroDivisionError("a secret of the house")

    def refused() -> NoReturn:
        raise InputError("file: expected <b>water</b>")

    monkeypatch.setattr(explore, "page", broken)
    monkeypatch.setattr(compare, "page", refused)
    monkeypatch.setattr(learn, "lesson_page", lambda name: broken())

    async def all_three() -> list[tuple[int, str]]:
        async with served() as port:
            return [await read(port, page) for page in ("", "compare", "learn?lesson=sink")]

    (_, first), (_, second), (status, third) = in_a_thread(all_three())
    for text in (first, second, third):
        assert "ZeroDivisionError" not in text
        assert "a secret" not in text
        assert 'aria-label="Pages"' in text
    assert replies.FAILED in first
    assert "expected &lt;b&gt;water&lt;/b&gt;" in second
    assert (status, replies.FAILED in third) == (500, True)
