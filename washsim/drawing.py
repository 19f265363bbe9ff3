"""Pictures -> HoloViews, for notebooks and pages of documents. The only module here that draws."""

from __future__ import annotations

import holoviews as hv
import holoviews.plotting.bokeh  # registers the drawing back end; nothing is fetched
import numpy as np

from washsim.band import Band
from washsim.engine.space import Array
from washsim.pictures import Curves, curves, depths
from washsim.result import Result

hv.Store.set_current_backend("bokeh")

# distinct in greyscale and by line style; no red against green
_STYLES = (
    ("#1b3a6b", "solid"),
    ("#c25a00", "dashed"),
    ("#5b8f8a", "dotdash"),
    ("#6f6f6f", "dotted"),
)
LOWEST_G_M2 = 1e-5
"""Residuals below this are drawn at it: a log axis has no zero, and no test can see them."""


def residual_curve(*washes: Result | Band, width: int = 640, height: int = 360) -> hv.Overlay:
    """Residual of each wash's worst sheet on a log axis, with its band, target and visible band."""
    results = [wash.nominal if isinstance(wash, Band) else wash for wash in washes]
    bands = [wash if isinstance(wash, Band) else None for wash in washes]
    shown = [curves(result, band) for result, band in zip(results, bands, strict=True)]
    parts: list[hv.Element] = [_visible(shown[0], width, height)]
    for result, curve, (colour, dash) in zip(results, shown, _cycle(len(results)), strict=True):
        low, high = np.maximum(curve.worst_band_g_m2, LOWEST_G_M2)
        if np.isfinite(high).any():
            area = hv.Area((curve.minutes, low, high), vdims=["low", "high"])
            parts.append(area.opts(color=colour, alpha=0.18, line_width=0))
        residual = np.maximum(curve.worst_g_m2, LOWEST_G_M2)
        line = hv.Curve((curve.minutes, residual), label=result.scenario.title)
        parts.append(line.opts(color=colour, line_dash=dash, line_width=2.5))
    target = hv.HLine(shown[0].target_g_m2).opts(color="black", line_width=1.5, line_dash="dashed")
    label = hv.Text(0.0, shown[0].target_g_m2 * 1.25, " target", halign="left").opts(
        text_font_size="10pt"
    )
    return hv.Overlay([*parts, target, label]).opts(
        width=width,
        height=height,
        logy=True,
        xlabel="minutes since the first sheet entered the fixer",
        ylabel="residual thiosulfate, g/m²",
        ylim=(LOWEST_G_M2, 60),
        legend_position="top_right",
    )


def cross_section(
    result: Result, minutes: Array | list[float], width: int = 640, height: int = 320
) -> hv.Overlay:
    """Concentration in the pore liquid across the worst sheet at some times, layers marked."""
    depth, units = depths(result, 200)
    times = np.asarray(minutes, dtype=float) * 60
    mobile, _ = result.profile(result.worst_lot, times, units)
    parts: list[hv.Element] = []
    for row, (minute, (colour, dash)) in enumerate(
        zip(times / 60, _cycle(len(times)), strict=True)
    ):
        line = hv.Curve((depth, mobile[row]), label=f"{minute:g} min")
        parts.append(line.opts(color=colour, line_dash=dash, line_width=2.5))
    start = 0.0
    for layer in result.run.paper.layers:
        stop = start + layer.thickness * 1e6
        parts.append(hv.VLine(stop).opts(color="#999999", line_width=1))
        start = stop
    names = " | ".join(layer.name for layer in result.run.paper.layers)
    return hv.Overlay(parts).opts(
        width=width,
        height=height,
        xlabel=f"depth from the front, µm ({names})",
        ylabel="thiosulfate in the liquid, g/L",
        legend_position="top_right",
    )


def _visible(curve: Curves, width: int, height: int) -> hv.Element:
    """The band in which a spot test begins to show."""
    low, high = curve.visible_g_m2
    return hv.HSpan(low, high).opts(color="#d9d9d9", alpha=0.6, width=width, height=height)


def _cycle(count: int) -> list[tuple[str, str]]:
    return [_STYLES[i % len(_STYLES)] for i in range(count)]
