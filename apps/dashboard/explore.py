"""The Explore page: one schedule, its animated cross-section, its residual curve, its inputs."""

from __future__ import annotations

import panel as pn
from bokeh.palettes import Cividis256

from washsim import files
from washsim.errors import WashsimError
from washsim.scenario import Scenario
from washsim_dashboard import chart, first, form, layout, runs, share, state


def page() -> pn.Template:
    """The page of one visitor."""
    scenario, notice = asked_for()
    session = state.Session(scenario, layout.units(), notice)
    residual = chart.residual(session.curves, session.band, session.lines)
    water = chart.water(session.curves)
    # only what a root refers to is kept in step between browser and server
    residual.figure.tags = [session.board, session.frames, session.layers]
    start = layout.start(
        "explore.js",
        {
            "board": session.board,
            "frames": session.frames,
            "layers": session.layers,
            "curves": session.curves,
            "residual": [residual.figure, residual.marker],
            "target": list(residual.target),
            "water": [water.figure, water.marker],
            "theme": residual.theme + water.theme,
            "palette": list(Cividis256),
        },
    )
    assert pn.state.curdoc is not None, "a page is made for a document"
    pn.state.curdoc.js_on_event("document_ready", start)
    session.attend(pn.state.curdoc)
    return layout.template(
        "explore.html",
        here="./",
        roots={"residual": residual.figure, "water": water.figure},
        values={
            "told": session.board.told,
            "methods": form.methods(),
            "places": runs.PLACES,
            "ways": first.WAYS,
            "sizes": [(size, first.size_label(size, session.system)) for size in first.SIZES],
            "invite": not pn.state.cookies.get("first"),
        },
    )


def asked_for() -> tuple[Scenario, str]:
    """The scenario of the address the visitor came by; the demo, and why, where it has none."""
    found = pn.state.session_args.get("s")
    if not found:
        return files.example("demo"), ""
    try:
        scenario = share.unpack(found[0].decode("ascii", "replace"))
        runs.run(scenario, layout.units())
    except WashsimError as error:
        return files.example("demo"), f"{error}. The demo evening is shown instead."
    return scenario, ""
