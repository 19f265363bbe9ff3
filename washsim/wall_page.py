"""The wall sheet on paper: numbered pages of HTML for the printer's browser, or plain text.

Black on white, at least 16 pt, nothing fetched. Heights are reckoned here from the type's own
measures, so that what is promised to fit one page does; a test prints every example to see it.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, replace
from html import escape

from washsim.errors import InputError
from washsim.fields import one_of
from washsim.wall_sheet import Block, Grid, Line, Table, WallSheet

POINTS = 16.0
"""Type size, pt: legible at 1.5 m."""
LEADING = 20.0
"""pt from one line of type to the next."""
GLYPH = 0.53 * POINTS
"""pt, mean width of a character; Liberation Sans sets English in 0.47 to 0.5 of its size."""
ROW = 20.0
"""pt, a row of a table, its rule included."""
SCALES = (1.5, 1.35, 1.2, 1.1, 1.0)
"""A short evening is set larger: 24 pt, if it fits one page, down to 16."""
MARGIN = 30.0
"""pt on every side of the paper."""
PAPERS = {"a4": (595.0, 842.0), "letter": (612.0, 792.0)}
"""Width and height, pt."""
COLUMNS = 76
"""Characters to a line of the plain text."""


@dataclass(frozen=True, slots=True)
class Measure:
    """What fits on a paper, pt."""

    width: float
    height: float
    clock: float
    """Width of the column of clock times."""

    def lines(self, text: str, indent: float = 0.0, size: float = 1.0) -> int:
        """Lines of type that a text takes, beside an indent; size: times the usual type."""
        return max(1, len(textwrap.wrap(text, int((self.width - indent) / (size * GLYPH)))))


@dataclass(frozen=True, slots=True)
class Layout:
    """How many times 16 pt the type is, and the blocks of each page."""

    scale: float
    room: Measure
    pages: tuple[tuple[Block, ...], ...]


# --- pages ---


def layout(sheet: WallSheet, paper: str = "a4") -> Layout:
    """One page in the largest type that fits; several in 16 pt where none does.

    InputError for a paper that is not known.
    """
    if paper not in PAPERS:
        raise InputError(f"paper: expected {one_of(paper, tuple(PAPERS))}")
    width, height = PAPERS[paper]
    clocks = [len(block.clock) for block in sheet.blocks if isinstance(block, Line)]
    clock = max(clocks, default=0) * GLYPH * 1.1 + 4
    for scale in SCALES:
        # a larger type on the paper is a smaller paper under the type
        room = Measure((width - 2 * MARGIN) / scale, (height - 2 * MARGIN) / scale, clock)
        found = _pages(sheet, room)
        if len(found) == 1:
            break
    return Layout(scale, room, found)


def _pages(sheet: WallSheet, room: Measure) -> tuple[tuple[Block, ...], ...]:
    """The blocks of each page, in order; grids and tables are cut between rows."""
    # the title is set in a larger type, beside the number of the page
    head = LEADING * (room.lines(sheet.title, 100, 1.25) * 1.3 + 1) + 12
    first = head + sum(LEADING * room.lines(text, 24) for text in sheet.ready) / _abreast(sheet)
    notes = sum(LEADING * room.lines(text, 12) + 6 for text in (*sheet.notes, CAUTION)) + 18
    found: list[list[Block]] = [[]]
    left = room.height - first - 12
    for block in sheet.blocks:
        rest: Block | None = block
        while rest is not None:
            fitting, rest = _cut(rest, left, room)
            if fitting is not None:
                found[-1].append(fitting)
                left -= height(fitting, room)
            if rest is not None and fitting is None and not found[-1]:
                # nothing is ever so tall; if it were, it would run over rather than be lost
                found[-1].append(rest)
                break
            if rest is not None:
                found.append([])
                left = room.height - head
    if notes > left:
        found.append([])
    return tuple(tuple(page) for page in found)


def _abreast(sheet: WallSheet) -> int:
    """Columns in which the vessels are listed: two where all lines are short."""
    return 2 if len(sheet.ready) > 3 and max(map(len, sheet.ready)) <= 26 else 1


def height(block: Block, room: Measure) -> float:
    """pt that a block takes."""
    match block:
        case Line():
            return LEADING * room.lines(_spoken(block), room.clock + 38) + 7
        case Grid():
            rows = math.ceil(len(block.cells) / _across(block, room))
            texts = sum(room.lines(text, 12) for text in (_spoken(block), *block.legend))
            return LEADING * texts + rows * (LEADING + 6) + 18
        case Table():
            return LEADING * room.lines(block.head, 12) + (len(block.rows) + 1) * ROW + 18


def _spoken(block: Line | Grid) -> str:
    """What a line or grid says; a vessel that is dumped stands out."""
    said = block.text if isinstance(block, Line) else block.head
    return f"DUMP {said.removeprefix('Dump ')}" if block.dump else said


def _across(grid: Grid, room: Measure) -> int:
    """Cells to a row."""
    widest = max(len(what) + len(clock) + 1 for what, clock in grid.cells)
    return max(1, int((room.width - 12) / (widest * GLYPH * 1.05 + 42)))


def _cut(block: Block, left: float, room: Measure) -> tuple[Block | None, Block | None]:
    """The part of a block that fits in the height left, and the rest."""
    if height(block, room) <= left:
        return block, None
    if isinstance(block, Line):
        return None, block
    # narrow cells stand closer: how many rows a part needs depends on what is in it
    parts = len(block.cells if isinstance(block, Grid) else block.rows)
    count = next(
        (n for n in range(parts - 1, 0, -1) if height(_part(block, 0, n), room) <= left), 0
    )
    if count == 0:
        return None, block
    return _part(block, 0, count), _part(block, count, parts)


def _part(block: Grid | Table, start: int, stop: int) -> Grid | Table:
    """Some of the rows or cells of a block."""
    rows = slice(start, stop)
    if isinstance(block, Grid):
        return replace(block, cells=block.cells[rows])
    return replace(block, rows=block.rows[rows])


# --- HTML ---

CAUTION = (
    "Fixer and the first wash water carry silver: collect them, follow the safety data sheets and "
    "your local code."
)

STYLE = """
@page { size: %(paper)s portrait; margin: %(margin).2fmm; }
* { box-sizing: border-box; }
/* one rem is 16 pt, or as much larger as still fits */
html { background: #fff; color: #000; font-size: %(points).4gpt; }
body { margin: 0; font: 1rem/1.25rem "Liberation Sans", Arial, Helvetica, sans-serif; }
.page { width: %(width).3frem; break-after: page; }
.page:last-child { break-after: auto; }
h1 { font-size: 1.25rem; line-height: 1.625rem; margin: 0; }
p { margin: 0; }
.number { float: right; }
.span { border-bottom: 2pt solid; padding-bottom: .25rem; margin-bottom: .375rem;
  font-weight: bold; }
.ready { margin: 0 0 .5rem; padding: 0 0 .25rem; list-style: none; border-bottom: 1pt solid; }
.two { columns: 2; column-gap: 1rem; }
.line { display: flex; gap: .5rem; padding: .19rem 0 .25rem; break-inside: avoid; }
.clock { font-weight: bold; white-space: nowrap; font-variant-numeric: tabular-nums; }
.line .clock { flex: none; width: %(clock).3frem; }
.box { flex: none; display: inline-block; width: .875rem; height: .875rem;
  border: 1.5pt solid; margin-top: .19rem; }
.dump { border: 1.5pt solid; padding: 0 .19rem; font-weight: bold; }
.fold { border: 1pt solid; padding: .25rem .31rem; margin: .25rem 0; }
.cells { display: grid; gap: 0 .625rem; }
.cell { display: flex; gap: .375rem; padding: .19rem 0; white-space: nowrap; }
.cell b { margin-right: auto; }
table { border-collapse: collapse; width: 100%%; font-variant-numeric: tabular-nums; }
th, td { border: 1pt solid; height: 1.25rem; line-height: 1.125rem; padding: 0 .25rem;
  text-align: center; }
td:first-child { font-weight: bold; white-space: nowrap; }
td .box { margin: .06rem 0 0; vertical-align: top; }
.notes p { border: 1.5pt solid; padding: .125rem .31rem; margin-top: .25rem; }
.notes .caution { border: 0; padding: 0; }
@media screen { .page { margin: 1.5rem auto; padding: %(margin).2fmm; box-sizing: content-box;
  border: 1px solid #888; } }
/* on a phone's screen the whole page is seen; on paper it keeps its size */
@media screen and (max-width: 900px) { body { zoom: .42; } }
"""


def html(sheet: WallSheet, paper: str = "a4") -> str:
    """A document to print; it needs nothing but itself."""
    cut = layout(sheet, paper)
    style = STYLE % {
        "paper": "A4" if paper == "a4" else "letter",
        "margin": MARGIN * 25.4 / 72,
        "points": cut.scale * POINTS,
        "width": cut.room.width / POINTS,
        "clock": cut.room.clock / POINTS,
    }
    body = "".join(
        _page(sheet, blocks, number, len(cut.pages), cut.room)
        for number, blocks in enumerate(cut.pages, start=1)
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(sheet.title)}</title><style>{style}</style></head>\n"
        f"<body>{body}</body></html>\n"
    )


def _page(
    sheet: WallSheet, blocks: tuple[Block, ...], number: int, count: int, room: Measure
) -> str:
    of = f'<span class="number">page {number} of {count}</span>' if count > 1 else ""
    text = f'<section class="page">{of}<h1>{escape(sheet.title)}</h1>'
    text += f'<p class="span">{escape(sheet.span)}</p>'
    if number == 1:
        kind = "ready two" if _abreast(sheet) == 2 else "ready"
        items = "".join(f"<li>{escape(line)}</li>" for line in sheet.ready)
        text += f'<ul class="{kind}">{items}</ul>'
    text += "".join(_block(block, room) for block in blocks)
    if number == count:
        notes = "".join(f"<p>{escape(note)}</p>" for note in sheet.notes)
        text += f'<div class="notes">{notes}<p class="caution">{escape(CAUTION)}</p></div>'
    return text + "</section>\n"


def _block(block: Block, room: Measure) -> str:
    match block:
        case Line():
            return (
                f'<div class="line"><span class="box"></span>'
                f'<span class="clock">{escape(block.clock)}</span>'
                f"<span>{_marked(block)}</span></div>\n"
            )
        case Grid():
            across = _across(block, room)
            cells = "".join(
                f'<span class="cell"><span class="box"></span><span>{escape(what)}</span>'
                f'<b class="clock">{escape(clock)}</b></span>'
                for what, clock in block.cells
            )
            legend = "".join(f"<p>{escape(text)}</p>" for text in block.legend)
            columns = f"grid-template-columns: repeat({across}, 1fr)"
            return (
                f'<div class="fold"><p>{_marked(block)}</p>'
                f'<div class="cells" style="{columns}">{cells}</div>{legend}</div>\n'
            )
        case Table():
            head = "".join(f"<th>{escape(name)}</th>" for name in ("", *block.columns, "✓"))
            rows = "".join(
                f"<tr><td>{escape(clock)}</td>"
                + "".join(f"<td>{escape(cell)}</td>" for cell in cells)
                + '<td><span class="box"></span></td></tr>'
                for clock, cells in block.rows
            )
            return (
                f'<div class="fold"><p>{escape(block.head)}</p>'
                f"<table><tr>{head}</tr>{rows}</table></div>\n"
            )


DUMPED = '<span class="dump">DUMP</span>'


def _marked(block: Line | Grid) -> str:
    spoken = escape(_spoken(block))
    return spoken.replace("DUMP", DUMPED, 1) if block.dump else spoken


# --- plain text ---


def text(sheet: WallSheet) -> str:
    """The same for a terminal or a typewriter face, without pages."""
    parts = [sheet.title, sheet.span, ""]
    parts += [*sheet.ready, ""]
    for block in sheet.blocks:
        parts += _plain(block)
    parts.append("")
    for note in (*sheet.notes, CAUTION):
        parts += textwrap.wrap(note, COLUMNS)
    return "\n".join(parts) + "\n"


def _plain(block: Block) -> Iterator[str]:
    match block:
        case Line():
            lead = f"[ ] {block.clock}  "
            yield from textwrap.wrap(
                _spoken(block), COLUMNS, initial_indent=lead, subsequent_indent=" " * len(lead)
            )
        case Grid():
            yield ""
            yield from textwrap.wrap(_spoken(block), COLUMNS)
            cells = [f"[ ] {what} {clock}" for what, clock in block.cells]
            width = max(map(len, cells)) + 3
            across = max(1, COLUMNS // width)
            for start in range(0, len(cells), across):
                row = cells[start : start + across]
                yield "".join(cell.ljust(width) for cell in row).rstrip()
            for line in block.legend:
                yield from textwrap.wrap(line, COLUMNS)
        case Table():
            yield ""
            yield from textwrap.wrap(block.head, COLUMNS)
            clock = max(len(at) for at, _ in block.rows)
            width = max(len(cell) for _, row in block.rows for cell in (*row, *block.columns))
            yield " " * (clock + 4) + "".join(f" {name:>{width}}" for name in block.columns)
            for at, cells_of in block.rows:
                line = "".join(f" {cell or '·':>{width}}" for cell in cells_of)
                yield f"[ ] {at:>{clock}}{line}"
