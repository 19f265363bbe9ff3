"""All cores of the machine, for work that falls into many alike pieces.

Processes, because threads would take turns: most of a wash is many small steps under one lock.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor
from typing import Any, TypeVar

T = TypeVar("T")

IDLE = 60
"""s after which a process that has nothing to do ends."""
MOST = 4
"""Processes at most: parts of a search fall into four pieces, and each process takes memory."""
MANNERS = 10
"""How much they give way to whoever waits for the process that asked, as `nice` counts."""


def executor() -> Executor:
    """One process a core, begun when first needed and kept for whoever asks again."""
    import loky  # slow to import, and one wash needs none of it

    made: Executor = loky.get_reusable_executor(
        max_workers=min(loky.cpu_count(), MOST), timeout=IDLE, initializer=_give_way
    )
    return made


def _give_way() -> None:
    if hasattr(os, "nice"):
        os.nice(MANNERS)
    # a key that ends the work is for the process that asked for it
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def each(executor: Executor | None, work: Callable[..., T], asked: Iterable[Any]) -> Iterator[T]:
    """What the work finds for every tuple of arguments, in order; here, or by an executor.

    What is not begun yet is given up where the one who asked stops listening.
    """
    if executor is None:
        for arguments in asked:
            yield work(*arguments)
        return
    futures = [executor.submit(work, *arguments) for arguments in asked]
    try:
        for future in futures:
            yield future.result()
    finally:
        for future in futures:
            future.cancel()


def begun(executor: Executor | None, work: Callable[[], T]) -> Callable[[], T]:
    """What the work finds, for whoever calls this later; an executor begins it now."""
    return work if executor is None else executor.submit(work).result
