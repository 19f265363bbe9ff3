"""What a browser asks of a visitor's session: done, or undone and said why not."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Protocol

from washsim.errors import WashsimError

FAILED = "This could not be computed; the server logged why."


class Teller(Protocol):
    """A session that tells its browser of an error."""

    def tell(self, error: str) -> None: ...


@contextmanager
def answering(session: Teller, asked: Any, *names: str) -> Iterator[None]:
    """Try what is inside; where it fails, put the session's attributes back and tell why."""
    before = {name: getattr(session, name) for name in names}
    try:
        yield
        return
    except WashsimError as error:
        words = str(error)
    except Exception:
        logging.getLogger(__name__).exception("asked for %.2000r", asked)
        words = FAILED
    for name, value in before.items():
        setattr(session, name, value)
    session.tell(words)
