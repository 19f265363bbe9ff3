"""Writes the generated pages of docs/: ``python docs/generate.py``; with --check, only compares.

scenario.md, scenario.schema.json and readings.md come from the field declarations, results.md from
the lists of result keys, commands.md from the parser, methods.md, literature.md,
still-water.md, planning.md and what has a template from runs,
properties.md from washsim/data, verification.md from the collected tests.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

from answers import page
from checks import verification_page
from commands import commands_page
from evidence import properties_page
from formats import readings_page, results_page, scenario_page, schema_page
from lesson_page import lessons_page
from measured import literature_page, still_page
from planning import planning_page
from side_by_side import methods_page

DOCS = Path(__file__).parent


PAGES: dict[str, Callable[[], str]] = {
    "scenario.md": scenario_page,
    "scenario.schema.json": schema_page,
    "readings.md": readings_page,
    "results.md": results_page,
    "commands.md": commands_page,
    "methods.md": methods_page,
    "lessons.md": lessons_page,
    "literature.md": literature_page,
    "still-water.md": still_page,
    "planning.md": planning_page,
    "properties.md": properties_page,
    "verification.md": verification_page,
}
for template in sorted((DOCS / "templates").rglob("*.jinja")):
    name = template.relative_to(DOCS / "templates").as_posix().removesuffix(".jinja")
    PAGES[name] = partial(page, name)


def main() -> int:
    """Write every page, or say which are stale (status 1)."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing, name stale pages")
    check = parser.parse_args().check
    stale = []
    for name, write in PAGES.items():
        path, text = DOCS / name, write()
        if path.exists() and path.read_text(encoding="utf-8") == text:
            continue
        stale.append(name)
        if not check:
            path.write_text(text, encoding="utf-8")
    print("stale:" if check else "written:", ", ".join(stale) or "none")
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
