"""The charts: what is left in the sheets, and what is in the water around them, against time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bokeh.models import (
    ColumnDataSource,
    CustomJSTickFormatter,
    DataRange1d,
    FixedTicker,
    Model,
    Range1d,
)
from bokeh.models.annotations import BoxAnnotation, Label, Span
from bokeh.plotting import figure

from washsim_dashboard.runs import Lines

RESIDUAL_RANGE = (0.0004, 40.0)
"""g/m2: from a tenth of what the spot test shows to above the heaviest load."""
WATER_RANGE = (0.0004, 300.0)
"""g/L: from well below what a drip test shows to above the strongest fixer."""
TICKS = (0.001, 0.01, 0.1, 1, 10, 100)
FONT = "system-ui, sans-serif"

CURVES = (
    ("worst", 3.5, "solid", "--strong"),
    ("typical", 2.5, [10, 5], "--second"),
    ("floor", 2.5, [2, 4], "--water"),
)
"""(column, width in px, dash, colour of the page) of the residual chart."""

Theme = list[tuple[Model, dict[str, str]]]
"""Which colour of the page each part takes: property -> variable of shell.css."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """The figure, the marker that shows the time if it has one, and the colours of its parts.

    target: the models that show the target, to be moved with it: area under it, line, words.
    """

    figure: Any
    theme: Theme
    marker: Span | None = None
    target: tuple[Model, ...] = ()


def residual(curves: ColumnDataSource, band: ColumnDataSource, lines: Lines) -> Chart:
    """Residual per m2 of the source's columns, with its band and the levels drawn across."""
    plot, theme = frame("residual", RESIDUAL_RANGE)
    area = plot.varea("minutes", "low", "high", source=band, fill_alpha=0.22)
    theme.append((area.glyph, {"fill_color": "--strong"}))
    theme += draw_curves(plot, curves, CURVES)
    drawn, target = draw_levels(plot, lines)
    return finished(plot, theme + drawn, target)


def water(curves: ColumnDataSource) -> Chart:
    """Concentration of the liquid around the worst sheet: a staircase, a step for each change."""
    plot, theme = frame("water", WATER_RANGE)
    theme += draw_curves(plot, curves, (("water", 3, "solid", "--water"),))
    return finished(plot, theme)


def finished(plot: Any, theme: Theme, target: tuple[Model, ...] = ()) -> Chart:
    """A chart with the marker that shows the time."""
    marker = Span(location=0, dimension="height", line_width=2.5)
    plot.add_layout(marker)
    theme.append((marker, {"line_color": "--marker"}))
    return Chart(figure=plot, marker=marker, theme=theme, target=target)


def frame(name: str, span: tuple[float, float]) -> tuple[Any, Theme]:
    """An empty figure with its axes; span: of the logarithmic axis."""
    plot = figure(
        name=name,
        sizing_mode="stretch_both",
        min_height=120,
        x_range=DataRange1d(range_padding=0),
        y_axis_type="log",
        y_range=Range1d(start=span[0], end=span[1]),
        tools="",
        toolbar_location=None,
        background_fill_alpha=0,
        border_fill_alpha=0,
        outline_line_color=None,
        min_border_right=16,
        min_border_top=6,
        x_axis_label="minutes since fixing began",
    )
    plot.yaxis.ticker = FixedTicker(ticks=list(TICKS))
    # the usual formatter of a logarithmic axis writes powers of ten
    plot.yaxis.formatter = CustomJSTickFormatter(code="return String(tick)")
    theme: Theme = [(grid, {"grid_line_color": "--line"}) for grid in plot.grid]
    for axis in plot.axis:
        axis.axis_label_text_font = axis.major_label_text_font = FONT
        axis.axis_label_text_font_style = "normal"
        axis.axis_label_text_font_size = axis.major_label_text_font_size = "14px"
        axis.minor_tick_line_color = None
        ink = {
            "axis_label_text_color": "--ink",
            "major_label_text_color": "--ink",
            "axis_line_color": "--quiet",
            "major_tick_line_color": "--quiet",
        }
        theme.append((axis, ink))
    return plot, theme


def draw_curves(
    plot: Any, curves: ColumnDataSource, styles: tuple[tuple[str, float, Any, str], ...]
) -> Theme:
    """Curves of columns that differ in dash as well as in colour."""
    theme: Theme = []
    for column, width, dash, colour in styles:
        drawn = plot.line("minutes", column, source=curves, line_width=width, line_dash=dash)
        theme.append((drawn.glyph, {"line_color": colour}))
    return theme


def draw_levels(plot: Any, lines: Lines) -> tuple[Theme, tuple[Model, ...]]:
    """What counts as met, what the spot test can show, each with its words; the target's parts."""
    under = BoxAnnotation(top=lines.target, level="underlay", fill_alpha=0.10, line_color=None)
    target = Span(location=lines.target, dimension="width", line_width=2, level="underlay")
    low, high = lines.visible
    visible = BoxAnnotation(
        bottom=low,
        top=high,
        level="underlay",
        fill_alpha=0,
        line_color=None,
        hatch_pattern="/",
        hatch_alpha=0.35,
        hatch_scale=7,
    )
    above = words(lines.target, f"target {lines.target:g} g/m²", above=True)
    below = words(low, "the spot test begins to show", above=False)
    for part in (under, visible, target, above, below):
        plot.add_layout(part)
    ink = {"text_color": "--ink", "background_fill_color": "--card"}
    theme: Theme = [
        (under, {"fill_color": "--goal"}),
        (target, {"line_color": "--goal"}),
        (visible, {"hatch_color": "--quiet"}),
        (above, ink),
        (below, ink),
    ]
    return theme, (under, target, above)


def words(level: float, text: str, *, above: bool) -> Label:
    """A line of words at the chart's left edge, just above or below a level, g/m2."""
    return Label(
        x=8,
        x_units="screen",
        y=level,
        y_offset=3 if above else -3,
        text=text,
        text_baseline="bottom" if above else "top",
        text_font=FONT,
        text_font_size="14px",
        background_fill_alpha=0.75,
        # over the curves, under their letters
        level="guide",
    )
