"""The page on where numbers come from, for docs/generate.py."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from tabular import NOTE, table

from washsim import tables

PROPERTIES_HEAD = """# Numbers about the world

Every number that the simulation takes from the world: its value, the band it may honestly lie in,
and what it rests on. They stand in `washsim/data/*.toml` and nowhere else. Standing says how good a
number is:

- *source*: read in the work named; *library*: computed by the library named;
- *derived*: arithmetic on such numbers, said in the note;
- *practice*: common practice, no source; *memory*: from memory, not read again;
- *estimate*: judged, not measured; the note says what it rests on.

"""
TITLES = {
    "papers": "Papers",
    "liquids": "Fixer, water, stirring",
    "limits": "Targets, limits, readings",
    "stains": "Colours of stains",
}


def properties_page() -> str:
    """Every datum with its band and source; then the sources."""
    page = NOTE + PROPERTIES_HEAD
    for name, title in TITLES.items():
        page += f"## {title}\n\n`washsim/data/{name}.toml`\n\n"
        for group, found in groupby(_leaves(tables.table(name), name), key=_group):
            page += f"### {group}\n\n"
            rows = [_row(path.removeprefix(f"{name}.{group}."), path, node) for path, node in found]
            page += table(("what", "value", "band", "unit", "standing", "rests on"), rows)
    page += "## Sources\n\nThe work, its kind, and what of it was really seen.\n\n"
    for one in (tables.source(key) for key in tables.table("sources")):
        page += f"### {one.key}\n\n{one.citation} *{one.kind.capitalize()}.* {one.note}\n\n"
    return page


def _leaves(node: dict[str, Any], path: str) -> list[tuple[str, dict[str, Any]]]:
    """Tables that state a number or a series of coefficients, in order, with their paths."""
    found = []
    for key, child in node.items():
        if isinstance(child, dict) and "standing" in child:
            found.append((f"{path}.{key}", child))
        elif isinstance(child, dict):
            found += _leaves(child, f"{path}.{key}")
    return found


def _group(leaf: tuple[str, dict[str, Any]]) -> str:
    """The part of a path that its neighbours share; single numbers stand by themselves."""
    return leaf[0].split(".")[1]


def _row(name: str, path: str, node: dict[str, Any]) -> list[str]:
    what = f"`{name}`"
    cited = f"[{node['source']}](#{node['source']}): " if node["source"] else ""
    note = cited + node["note"]
    if "value" in node:
        datum = tables.datum(path)
        band = "–" if datum.low == datum.high else f"{datum.low:g} to {datum.high:g}"
        unit = "" if datum.unit == "1" else datum.unit
        return [what, f"{datum.value:g}", band, unit, datum.standing, note]
    about = ("label", "unit", "standing", "source", "note")
    numbers = [f"{key} {_said(node[key])}" for key in node if key not in about]
    return [what, "; ".join(numbers), "", node.get("unit", ""), node["standing"], note]


def _said(found: Any) -> str:
    """A formula's numbers: nested ones in brackets."""
    if isinstance(found, dict):
        return "(" + ", ".join(f"{key} {_said(child)}" for key, child in found.items()) + ")"
    return f"{found:g}" if isinstance(found, float) else str(found)
