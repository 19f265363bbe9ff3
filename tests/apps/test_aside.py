"""What is worked out beside the pages: in another process, politely, and only what was asked last."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from washsim import cores, files
from washsim.errors import InputError
from washsim_dashboard import aside


def done(work: Callable[..., Any], asked: tuple[Any, ...]) -> Any:
    """In turn with whatever pages of other tests have asked for."""
    return aside.QUEUE.submit(aside.sent.__wrapped__, work, asked).result()


def test_work_is_done_in_another_process_that_gives_way() -> None:
    assert done(pow, (2, 10)) == 1024
    assert done(os.getpid, ()) != os.getpid()
    assert done(os.nice, (0,)) == min(19, os.nice(0) + cores.MANNERS)


def test_what_goes_wrong_there_is_raised_here() -> None:
    with pytest.raises(InputError, match=r"expected .washsim-scenario-1., got nothing"):
        done(files.loads, ("steps = 3", "evening.toml"))
    assert done(abs, (-1,)) == 1


def test_another_process_is_begun_where_one_was_ended() -> None:
    first = done(os.getpid, ())
    os.kill(first, signal.SIGKILL)
    assert done(os.getpid, ()) not in (first, os.getpid())


def test_what_was_asked_before_is_remembered() -> None:
    first = aside.QUEUE.submit(aside.sent, time.perf_counter_ns, ()).result()
    assert aside.QUEUE.submit(aside.sent, time.perf_counter_ns, ()).result() == first
    aside.sent.cache_clear()
    assert aside.QUEUE.submit(aside.sent, time.perf_counter_ns, ()).result() != first


@pytest.mark.skipif(sys.platform == "win32", reason="nobody is stopped so there")
def test_a_server_that_is_stopped_takes_along_who_works_for_it(tmp_path: Path) -> None:
    """The page Tonight looks for plans as it is made, in processes of their own."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "washsim", "serve", "--no-browser", "--port", str(port)]
    # a file, for a pipe would be waited for as long as anybody holds its end
    said = tmp_path / "said"
    with (
        said.open("wb") as wrong,
        subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=wrong) as server,
    ):
        for _ in range(300):
            with contextlib.suppress(OSError):
                urlopen(f"http://127.0.0.1:{port}/tonight").close()
                break
            time.sleep(0.2)
        time.sleep(1)  # amid the search, or just after it
        server.terminate()
        server.wait(timeout=60)
    assert server.returncode == 130
    assert said.read_bytes() == b""


class Page:
    """As much of a document as is asked of it."""

    def __init__(self) -> None:
        self.session_context: Any = self
        self.destroyed = False
        self.add_next_tick_callback: Callable[[Callable[[], None]], None] = lambda call: call()


async def ask_twice(page: Page) -> list[int]:
    """What is told when another thing is asked for before the first could be begun."""
    told: list[int] = []
    visitor: Any = aside.Aside()
    visitor.begin([(abs, (-1,), told.append)])
    assert visitor.task is None, "nobody to tell"
    visitor.document = page
    visitor.begin([(abs, (-1,), told.append)])
    visitor.begin([(abs, (-2,), told.append), (abs, (-3,), told.append)])
    await visitor.task
    return told


def test_only_what_was_asked_last_is_told_and_nothing_to_who_has_left() -> None:
    gone = Page()
    gone.destroyed = True
    # the browser tests keep a loop in the main thread
    with ThreadPoolExecutor(1) as threads:
        assert threads.submit(asyncio.run, ask_twice(Page())).result() == [2, 3]
        assert threads.submit(asyncio.run, ask_twice(gone)).result() == []
