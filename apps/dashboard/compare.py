"""The Compare page: two to four schedules on one clock, and what differs in words."""

from __future__ import annotations

from typing import Any

import panel as pn
from bokeh.palettes import Cividis256

from washsim import comparing, files, side_by_side
from washsim_dashboard import arms, arms_chart, layout, share
from washsim_dashboard.chart import Chart

ADDRESS = "./compare"
WAYS = (comparing.AS_IT_STANDS, "slots", "changes", "")
"""The ways that the page suggests to compare."""


def page() -> pn.Template:
    """The page of one visitor."""
    session = visit()
    residual = arms_chart.residual(session)
    embed(session, residual, "compare.js")
    session.attend(pn.state.curdoc)
    return layout.template(
        "compare.html",
        here=ADDRESS,
        roots={"residual": residual.figure},
        values={
            "questions": [(name, comparing.question(name).label) for name in comparing.questions()],
            "ways": comparing.all_ways().items(),
            "picks": list(zip(side_by_side.LETTERS, WAYS, strict=True)),
            "letters": side_by_side.LETTERS,
            "fewest": comparing.FEWEST,
        },
    )


def visit() -> arms.Session:
    """What the page's address asks for: ?question=NAME or ?ways=NAME,NAME, and a batch, ?s=.

    A visitor who comes from a page with a batch of their own sees it washed in a few ways.
    """
    given = {key: values[0].decode("utf-8", "replace") for key, values in arguments().items()}
    state = given.pop("s", "")
    if state == share.pack(files.example("demo")):
        state = ""
    if "ways" in given:
        asked: dict[str, Any] = {"ways": given["ways"].split(",")}
    elif state and "question" not in given:
        asked = {"ways": [name for name in WAYS if name]}
    else:
        asked = dict(given)
    return arms.Session(asked, state, layout.units())


def arguments() -> dict[str, list[bytes]]:
    """The parts of the address that these pages read."""
    found = pn.state.session_args
    return {key: found[key] for key in ("question", "ways", "s") if found.get(key)}


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
            "target": residual.target,
            "theme": residual.theme,
            "palette": list(Cividis256),
            **more,
        },
    )
    assert pn.state.curdoc is not None, "a page is made for a document"
    pn.state.curdoc.js_on_event("document_ready", start)
