"""The residual chart of several schedules: each curve with its own dash and its letter on it."""

from __future__ import annotations

from typing import Any

from bokeh.core.properties import value
from bokeh.models.annotations import BoxAnnotation, Span

from washsim_dashboard import chart
from washsim_dashboard.arms import Session
from washsim_dashboard.chart import Chart, Theme

SIZE = 14
"""px, of words in the chart."""
STYLES = (
    (3.5, "solid", "--arm-a"),
    (3.0, [11, 5], "--arm-b"),
    (3.0, [2, 5], "--arm-c"),
    (3.0, [14, 4, 2, 4], "--arm-d"),
)
"""Width, dash and colour of curves A to D; arms.css draws the same samples."""


def residual(session: Session) -> Chart:
    """Worst sheet of each schedule against one clock, target and spot test drawn across."""
    plot, theme = curves(session)
    theme += draw_bands(plot, session)
    levels, target = chart.draw_levels(plot, session.lines)
    return chart.finished(plot, theme + levels + draw_letters(plot, session, SIZE), target)


def large(session: Session, size: int) -> Chart:
    """The same with few things in large type: the curves and the target; size in px."""
    plot, theme = curves(session)
    for axis in plot.axis:
        axis.axis_label_text_font_size = axis.major_label_text_font_size = f"{size}px"
    plot.xaxis.axis_label = "minutes"
    limit = session.lines.target
    under = BoxAnnotation(top=limit, level="underlay", fill_alpha=0.10, line_color=None)
    line = Span(location=limit, dimension="width", line_width=3)
    name = chart.words(limit, f"target {limit:g} g/m²", above=False)
    name.text_font_size = f"{size}px"
    for part in (under, line, name):
        plot.add_layout(part)
    theme += [
        (under, {"fill_color": "--goal"}),
        (line, {"line_color": "--goal"}),
        (name, {"text_color": "--ink", "background_fill_color": "--card"}),
    ]
    theme += draw_letters(plot, session, size)
    return chart.finished(plot, theme, (under, line, name))


def curves(session: Session) -> tuple[Any, Theme]:
    """A figure with a curve for each schedule."""
    plot, theme = chart.frame("residual", chart.RESIDUAL_RANGE)
    # a curve's end is seen as such
    plot.x_range.range_padding = 0.015
    for curve, (width, dash, colour) in zip(session.curves, STYLES, strict=True):
        drawn = plot.line("minutes", "residual", source=curve, line_width=width, line_dash=dash)
        theme.append((drawn.glyph, {"line_color": colour}))
    return plot, theme


def draw_bands(plot: Any, session: Session) -> Theme:
    """What nobody has measured could make of each curve, light enough to lie over one another."""
    theme: Theme = []
    for band, (_, _, colour) in zip(session.bands, STYLES, strict=True):
        area = plot.varea("minutes", "low", "high", source=band, fill_alpha=0.13)
        area.level = "underlay"
        theme.append((area.glyph, {"fill_color": colour}))
    return theme


def draw_letters(plot: Any, session: Session, size: int) -> Theme:
    """A letter in a disc on each curve."""
    disc = plot.scatter(
        "minutes", "residual", source=session.letters, size=1.6 * size, line_width=1.5
    )
    letter = plot.text(
        "minutes",
        "residual",
        "letter",
        source=session.letters,
        text_align="center",
        text_baseline="middle",
        text_font=value(chart.FONT),
        text_font_size=f"{size}px",
        text_font_style="bold",
    )
    # above the words of the levels, which would hide them
    disc.level = letter.level = "annotation"
    return [
        (disc.glyph, {"fill_color": "--card", "line_color": "--ink"}),
        (letter.glyph, {"text_color": "--ink"}),
    ]
