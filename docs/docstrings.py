"""Docstrings as the plain text they are: a Sphinx extension.

They are written for a reader of the code, with backticks as their only mark-up; Sphinx would read
stars, bars and trailing underscores as its own.
"""

from __future__ import annotations

import re
from typing import Any

from sphinx.application import Sphinx


def setup(app: Sphinx) -> dict[str, Any]:
    """Have every docstring made plain before Sphinx reads it."""
    app.connect("autodoc-process-docstring", _make_plain)
    return {"parallel_read_safe": True, "parallel_write_safe": True}


def _make_plain(app: Any, what: str, name: str, of: Any, options: Any, lines: list[str]) -> None:
    lines[:] = plain(lines)


def plain(lines: list[str]) -> list[str]:
    """The same text for reStructuredText, with code between backticks and nothing else special."""
    found, item = [], False
    for line in lines:
        starts = line.lstrip().startswith("- ")
        if not line.strip():
            item = False
        elif starts and not item:
            # a list wants an empty line before it
            found.append("")
            item = True
        indent = "  " if item and not starts else ""
        # every other piece between backticks is code
        pieces = re.split(r"(`+[^`]+`+)", line.strip())
        shown = [
            f"``{piece.strip('`')}``" if number % 2 else re.sub(r"([\\*|_`])", r"\\\1", piece)
            for number, piece in enumerate(pieces)
        ]
        found.append(indent + "".join(shown))
    return found
