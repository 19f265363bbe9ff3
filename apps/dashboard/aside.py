"""What takes longer than a slider may wait: worked out once the controls rest, and told then.

It is done in processes of their own that give way (washsim.cores), for all visitors one thing at a
time, so that it takes nothing from those who drag: threads would take turns with them.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, ThreadPoolExecutor
from functools import lru_cache, partial
from typing import Any

from bokeh.document import Document

from washsim import cores

PAUSE = 0.5
"""s without a change after which it is begun."""
KEPT = 256
"""Answers that are kept."""
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


@lru_cache(maxsize=KEPT)
def sent(work: Callable[..., Any], asked: tuple[Any, ...]) -> Any:
    """What another process finds, kept for whoever asks the same."""
    try:
        return cores.executor().submit(work, *asked).result()
    except BrokenExecutor:
        # it was ended from outside: others are begun, once
        return cores.executor().submit(work, *asked).result()
