"""The Compare page: two to four schedules on one clock, and what differs in words."""

from __future__ import annotations

from typing import Any

import panel as pn
from bokeh.palettes import Cividis256

from washsim import comparing, files, tables
from washsim_dashboard import arms, arms_chart, layout
from washsim_dashboard.chart import Chart

ADDRESS = "./compare"
WAYS = ("slots", "changes", "row", "")
"""The ways that the page suggests to compare."""


def page() -> pn.Template:
    """The page of one visitor."""
    session = arms.Session(wanted())
    residual = arms_chart.residual(session)
    embed(session, residual, "compare.js")
    return layout.template(
        "compare.html",
        here=ADDRESS,
        roots={"residual": residual.figure},
        values={
            "questions": [(name, comparing.question(name).label) for name in comparing.questions()],
            "ways": [(name, tables.entry(f"methods.{name}.label")) for name in files.methods()],
            "picks": list(zip(comparing.LETTERS, WAYS, strict=True)),
            "letters": comparing.LETTERS,
            "fewest": comparing.FEWEST,
            "batch": arms.batch().title,
        },
    )


def wanted() -> dict[str, Any]:
    """What the page's address asks for: ?question=NAME or ?ways=NAME,NAME."""
    given = {
        key: values[0].decode("utf-8", "replace")
        for key, values in pn.state.session_args.items()
        if key in ("question", "ways") and values
    }
    if "ways" in given:
        return {"ways": given["ways"].split(",")}
    return given


def embed(session: arms.Session, residual: Chart, script: str, **more: Any) -> None:
    """Ties a session and its chart to the page's document and starts the page's script.

    more: what else the script takes, beside what all pages with several schedules need.
    """
    # only what a root refers to is kept in step between browser and server
    residual.figure.tags = [session.board, *session.films]
    start = layout.start(
        script,
        {
            "board": session.board,
            "films": session.films,
            "figure": residual.figure,
            "marker": residual.marker,
            "theme": residual.theme,
            "palette": list(Cividis256),
            **more,
        },
    )
    assert pn.state.curdoc is not None, "a page is made for a document"
    pn.state.curdoc.js_on_event("document_ready", start)
