"""What the generated pages have in common: their first line and their tables."""

from __future__ import annotations

from collections.abc import Iterable

NOTE = "<!-- Written by docs/generate.py. Do not edit here. -->\n\n"


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A Markdown table."""
    lines = ["| " + " | ".join(head) + " |"]
    lines.append("|" + "---|" * (lines[0].count(" | ") + 1))
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n\n"
