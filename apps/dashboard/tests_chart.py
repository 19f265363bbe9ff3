"""The chart of the page Tests: the worst sheet's band before and after the readings, and those."""

from __future__ import annotations

from bokeh.models import ColumnDataSource

from washsim_dashboard import chart
from washsim_dashboard.chart import Chart
from washsim_dashboard.runs import Lines


def draw(
    before: ColumnDataSource, after: ColumnDataSource, marks: ColumnDataSource, lines: Lines
) -> Chart:
    """Before: hatched with a dashed middle. After: filled with a solid one. Readings: marks."""
    plot, theme = chart.frame("residual", chart.RESIDUAL_RANGE)
    plot.x_range.range_padding = 0.03
    hatched = plot.varea(
        "minutes", "low", "high", source=before, fill_alpha=0, hatch_pattern="\\", hatch_alpha=0.45
    )
    filled = plot.varea("minutes", "low", "high", source=after, fill_alpha=0.3)
    theme += [
        (hatched.glyph, {"hatch_color": "--second"}),
        (filled.glyph, {"fill_color": "--strong"}),
    ]
    theme += chart.draw_curves(plot, before, (("middle", 2.5, [10, 5], "--second"),))
    theme += chart.draw_curves(plot, after, (("middle", 3.5, "solid", "--strong"),))
    levels, target = chart.draw_levels(plot, lines)
    bars = plot.segment("minutes", "low", "minutes", "high", source=marks, line_width=3)
    points = plot.scatter("minutes", "middle", marker="marker", size=13, source=marks, line_width=2)
    theme += [
        *levels,
        (bars.glyph, {"line_color": "--marker"}),
        (points.glyph, {"line_color": "--marker", "fill_color": "--card"}),
    ]
    return Chart(figure=plot, theme=theme, target=target)
