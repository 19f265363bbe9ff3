"""Work that takes longer than a visitor should wait: in a thread, told as it goes, given up on."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any

from bokeh.document import Document

from washsim.errors import WashsimError
from washsim_dashboard import replies

WORKERS = ThreadPoolExecutor(max_workers=2, thread_name_prefix="work")
"""Two at a time; others wait their turn."""
CLOSING = threading.Event()
"""Set as the server stops: all work is given up, and what fails then is nobody's concern."""
OFTEN = 0.1
"""s between two tellings of progress."""
IDLE = {"state": "idle", "share": 0.0, "words": ""}
FOUND = {"state": "found", "share": 1.0, "words": ""}

Tell = Callable[[float], None]
Job = Callable[[Tell], Iterator[tuple[str, Any]]]
"""Yields (place, what to show there) as it goes; tells the share done."""


class Given(Exception):
    """Nobody waits for this any more."""


def hand_over(document: Document) -> Callable[[Callable[[], None]], Any]:
    """Hands calls over to a visitor's document, or gives the work up where that is gone.

    It is taken apart as the visitor leaves, a moment before the session hears of it.
    """

    def later(call: Callable[[], None]) -> None:
        try:
            document.add_next_tick_callback(call)
        except AttributeError:
            raise Given from None

    return later


class Work:
    """One visitor's work: at most one at a time, the last asked for.

    later hands a call from the thread over to the visitor's own; show takes a state as IDLE,
    arrived what a job yields.
    """

    def __init__(
        self,
        later: Callable[[Callable[[], None]], Any],
        show: Callable[[dict[str, Any]], None],
        arrived: Callable[[str, Any], None],
    ) -> None:
        self.later, self.show, self.arrived = later, show, arrived
        self.number = 0

    def begin(self, job: Job) -> None:
        """Begin a job; whatever is on is given up."""
        self.number += 1
        self.show({"state": "working", "share": 0.0, "words": ""})
        WORKERS.submit(self._run, self.number, job)

    def stop(self) -> None:
        """Give up what is on."""
        self.number += 1
        self.show(IDLE)

    def _run(self, number: int, job: Job) -> None:
        """In a thread of its own: only `later` reaches back."""
        told = time.monotonic()

        def tell(share: float) -> None:
            nonlocal told
            if number != self.number or CLOSING.is_set():
                raise Given
            if time.monotonic() - told > OFTEN:
                told = time.monotonic()
                self._say(number, "working", share)

        try:
            tell(0.0)
            for place, found in job(tell):
                self.later(partial(self._arrive, number, place, found))
                if number != self.number:
                    return
        except Given:
            return
        except WashsimError as error:
            self._say(number, "failed", 0.0, str(error))
        except Exception:
            self._broke(number)
        else:
            self._say(number, "found", 1.0)

    def _broke(self, number: int) -> None:
        if not CLOSING.is_set():
            logging.getLogger(__name__).exception("working")
            self._say(number, "failed", 0.0, replies.FAILED)

    def _say(self, number: int, state: str, share: float, words: str = "") -> None:
        def call() -> None:
            if number == self.number:
                self.show({"state": state, "share": share, "words": words})

        self.later(call)

    def _arrive(self, number: int, place: str, found: Any) -> None:
        if number == self.number:
            self.arrived(place, found)
