"""The Explore page: one schedule, its animated cross-section, its residual curve, its inputs."""

from __future__ import annotations

import panel as pn
from bokeh.palettes import Cividis256

from washsim import advice
from washsim_dashboard import chart, inputs, layout, state


def page() -> pn.Template:
    """The page of one visitor."""
    session = state.Session()
    residual = chart.residual(session.curves, session.lines)
    # only what a root refers to is kept in step between browser and server
    residual.figure.tags = [session.board, session.frames, session.layers]
    start = layout.start(
        "explore.js",
        {
            "board": session.board,
            "frames": session.frames,
            "layers": session.layers,
            "curves": session.curves,
            "figure": residual.figure,
            "marker": residual.marker,
            "theme": residual.theme,
            "palette": list(Cividis256),
        },
    )
    assert pn.state.curdoc is not None, "a page is made for a document"
    pn.state.curdoc.js_on_event("document_ready", start)
    return layout.template(
        "explore.html",
        here="./",
        roots={"explore": residual.figure},
        values={
            "heading": "an invented evening",
            "told": session.board.told,
            "choices": inputs.choices(),
            "sliders": inputs.sliders(),
            "places": state.PLACES,
            "origins": advice.origins(inputs.start()),
        },
    )
