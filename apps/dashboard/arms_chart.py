"""The residual chart of several schedules: each curve with its own dash and its letter on it."""

from __future__ import annotations

from typing import Any

from bokeh.core.properties import value
from bokeh.models import Span

from washsim_dashboard import chart
from washsim_dashboard.arms import Session
from washsim_dashboard.chart import Chart, Theme

STYLES = (
    (3.5, "solid", "--arm-a"),
    (3.0, [11, 5], "--arm-b"),
    (3.0, [2, 5], "--arm-c"),
    (3.0, [14, 4, 2, 4], "--arm-d"),
)
"""Width, dash and colour of curves A to D; arms.css draws the same samples."""


def residual(session: Session, *, size: int = 14) -> Chart:
    """Worst sheet of each schedule against one clock; size: of its text, px."""
    plot, theme = chart.frame()
    for axis in plot.axis:
        axis.axis_label_text_font_size = axis.major_label_text_font_size = f"{size}px"
    for curve, (width, dash, colour) in zip(session.curves, STYLES, strict=True):
        drawn = plot.line("minutes", "residual", source=curve, line_width=width, line_dash=dash)
        theme.append((drawn.glyph, {"line_color": colour}))
    theme += chart.draw_levels(plot, session.lines)
    theme += draw_letters(plot, session, size)
    marker = Span(location=0, dimension="height", line_width=2.5)
    plot.add_layout(marker)
    theme.append((marker, {"line_color": "--marker"}))
    return Chart(figure=plot, marker=marker, theme=theme)


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
    return [
        (disc.glyph, {"fill_color": "--card", "line_color": "--ink"}),
        (letter.glyph, {"text_color": "--ink"}),
    ]
