"""What takes longer than a slider may wait: worked out once the controls rest, and told then.

It is done in a process of its own (helper.py), for all visitors one thing at a time and at a low
priority, so that it takes nothing from those who drag: threads would take turns with them.
"""

from __future__ import annotations

import asyncio
import pickle
import subprocess
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache, partial
from typing import Any

from bokeh.document import Document

PAUSE = 0.5
"""s without a change after which it is begun."""
QUEUE = ThreadPoolExecutor(1, thread_name_prefix="aside")
"""Where it is waited for, by one at a time."""

Job = tuple[Callable[..., Any], tuple[Any, ...], Callable[[Any], None]]
"""What to work out, of what, and what to do with what is found; the first two are sent over."""


class Aside:
    """One visitor's: what was asked last is worked out, whatever was asked before is given up."""

    def __init__(self) -> None:
        self.document: Document | None = None
        self.task: asyncio.Task[None] | None = None

    def begin(self, jobs: Sequence[Job]) -> None:
        """Work these out one after the other; without a document there is nobody to tell."""
        if self.document is None:
            return
        if self.task is not None:
            self.task.cancel()
        # kept, because the loop itself holds a task only weakly
        self.task = asyncio.get_running_loop().create_task(self._work(self.document, jobs))

    async def _work(self, document: Document, jobs: Sequence[Job]) -> None:
        await calm()
        for work, asked, tell in jobs:
            if _left(document):
                return
            loop = asyncio.get_running_loop()
            found = await loop.run_in_executor(QUEUE, sent, work, asked)
            if not _left(document):
                document.add_next_tick_callback(partial(self._tell, self.task, tell, found))

    def _tell(self, task: Any, tell: Callable[[Any], None], found: Any) -> None:
        if task is self.task:
            tell(found)


def _left(document: Document) -> bool:
    """Whether its visitor has gone."""
    return document.session_context is None or document.session_context.destroyed


async def calm() -> None:
    """Wait for a pause in which the server has little else to do: on a busy one it ends late."""
    loop = asyncio.get_running_loop()
    late = True
    while late:
        begun = loop.time()
        await asyncio.sleep(PAUSE)
        late = loop.time() - begun > 1.1 * PAUSE


def sent(work: Callable[..., Any], asked: tuple[Any, ...]) -> Any:
    """What the other process finds; where it was ended from outside, another is begun once."""
    try:
        return _exchange(work, asked)
    except (EOFError, BrokenPipeError):
        _helper.cache_clear()
        return _exchange(work, asked)


def _exchange(work: Callable[..., Any], asked: tuple[Any, ...]) -> Any:
    helper = _helper()
    assert helper.stdin, "begun with pipes"
    assert helper.stdout, "begun with pipes"
    pickle.dump((work, asked), helper.stdin)
    helper.stdin.flush()
    found, failed = pickle.load(helper.stdout)
    if failed:
        raise found
    return found


@lru_cache(maxsize=1)
def _helper() -> subprocess.Popen[bytes]:
    """The other process, begun when it is first needed; it ends with its pipes."""
    command = [sys.executable, "-m", "washsim_dashboard.helper"]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
