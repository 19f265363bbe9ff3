"""The Class page: one question in large type, frozen until the class has predicted, then played."""

from __future__ import annotations

import panel as pn
from bokeh.models.annotations import BoxAnnotation

from washsim import comparing, side_by_side
from washsim_dashboard import arms_chart, compare, layout

ADDRESS = "./class"
TEXT = 24
"""px; what the last row of a classroom can read on a usual projection, an estimate."""


def page() -> pn.Template:
    """The page of one visitor: the teacher at the projector, or a student on a phone."""
    session = compare.visit()
    residual = arms_chart.large(session, TEXT)
    # what the run has not reached yet stays covered, so that the curve cannot tell the answer
    cover = BoxAnnotation(left=0, level="overlay", fill_alpha=1, line_color=None)
    residual.figure.add_layout(cover)
    residual.theme.append((cover, {"fill_color": "--card"}))
    compare.embed(session, residual, "class.js", cover=cover, questions=comparing.questions())
    return layout.template(
        "class.html",
        here=ADDRESS,
        roots={"residual": residual.figure},
        values={"letters": side_by_side.LETTERS},
    )
