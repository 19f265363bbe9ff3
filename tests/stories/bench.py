"""The two text-book set-ups of the stories, as scenario files a user could write.

Ideal mode: paper that is all liquid, so fast that every bath ends in equilibrium. Slab mode: one
layer 0.35 mm thick, 0.25 L/m2 of liquid, D = 3e-11 m2/s in it. Nothing clings to a lifted sheet.
"""

from __future__ import annotations

from washsim import files
from washsim.result import Result
from washsim.solve import solve

FREE = 1.1e-9
"""m2/s, free diffusivity of the slab-mode reference; a convention of the notes."""


def scenario(
    paper: str, body: str, *, sheet: str = "count = 14", fixing: str = "", water: str = ""
) -> str:
    """TOML of a set-up; body holds vessels and steps, the others add keys to their block."""
    layers = {
        "ideal": ("thickness_um = 250\nporosity = 1\nhindrance = 1", 600),
        "slab": (f"thickness_um = 350\nporosity = {0.25 / 0.35}\nhindrance = {3e-11 / FREE}", 300),
    }
    layer, seconds = layers[paper]
    size = "" if "width_cm" in sheet else "width_cm = 20.3\nheight_cm = 25.4"
    seconds_line = "" if "duration_s" in fixing else f"duration_s = {seconds}"
    return f"""
format = "washsim-scenario-1"
title = "text-book {paper}"
[sheet]
paper = "own"
explanation = "own"
{size}
{sheet}
[[sheet.layers]]
name = "paper"
{layer}
[fixing]
thiosulfate_g_l = 100
stirring = "perfect"
diffusivity_m2_s = {FREE}
{seconds_line}
{fixing}
[water]
diffusivity_m2_s = {FREE}
{water}
[handling]
drain_s = 0
carry_over_ml_m2 = 0
[target]
preset = "own"
residual_g_m2 = 0.015
{body}
"""


def washed(paper: str, body: str, **keys: str) -> Result:
    """Solve a set-up through the call a user makes."""
    return solve(files.loads(scenario(paper, body, **keys)))


def baths(litres: float, count: int, minutes: float, vessel: str = 'stirring = "perfect"') -> str:
    """`count` fillings of one tray."""
    return f"""
[vessels.tray]
volume_l = {litres}
{vessel}
[[steps]]
kind = "bath"
vessel = "tray"
baths = {count}
duration_min = {minutes}
"""


def running(
    litres: float, flow: float, minutes: float, vessel: str = 'stirring = "perfect"'
) -> str:
    """Running water in one washer."""
    return f"""
[vessels.washer]
volume_l = {litres}
flow_l_min = {flow}
{vessel}
[[steps]]
kind = "running"
vessel = "washer"
duration_min = {minutes}
"""


def clean(minutes: float, vessel: str = 'stirring = "perfect"') -> str:
    """As near to clean water at the faces as a vessel gets: 2000 L renewed every minute."""
    return running(2000, 2000, minutes, vessel)
