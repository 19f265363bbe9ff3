"""The frame every page stands in: our own templates, system fonts, nothing from another host."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import panel as pn
from bokeh.models import CustomJS, Model
from jinja2 import Environment, FileSystemLoader

from washsim.errors import WashsimError
from washsim.units import SYSTEMS
from washsim_dashboard import replies

ASSETS = Path(__file__).parent / "assets"
"""Our templates, scripts and styles; the server hands them out under /assets."""

NAVIGATION = (
    ("./", "Explore"),
    ("./tonight", "Tonight"),
    ("./compare", "Compare"),
    ("./tests", "Tests"),
    ("./log", "Log"),
    ("./class", "Class"),
    ("./learn", "Learn"),
)
"""(address, label) of the pages, in the order of the bar on every page."""
UNIT_SYSTEMS = dict(zip(SYSTEMS, ("Metric", "US"), strict=True))
"""The visitor's choice comes with a cookie."""


@lru_cache
def _environment() -> Environment:
    # what a visitor typed or a file said is text in every page, never markup
    return Environment(loader=FileSystemLoader(ASSETS), autoescape=True)


def template(
    name: str, here: str, roots: Mapping[str, Model], values: Mapping[str, Any]
) -> pn.Template:
    """A page from assets/, which extends shell.html.

    here: its address in NAVIGATION; roots: the Bokeh models it embeds by name; values: what it
    prints.
    """
    found = pn.Template(_environment().get_template(name))
    for key, model in roots.items():
        found.add_panel(key, pn.pane.Bokeh(model, sizing_mode="stretch_both"))
    frame = {
        "here": here,
        "navigation": NAVIGATION,
        "unit_systems": UNIT_SYSTEMS.items(),
        "units": units(),
    }
    for key, value in {**frame, **values}.items():
        found.add_variable(key, value)
    return found


def guarded(page: Callable[[], pn.Template], here: str) -> Callable[[], pn.Template]:
    """The page of that address; where making it fails, one that says so in a sentence."""

    def made() -> pn.Template:
        try:
            return page()
        except WashsimError as error:
            words = str(error)
        except Exception:
            logging.getLogger(__name__).exception("making the page %s", here)
            words = replies.FAILED
        return template("failed.html", here=here, roots={}, values={"words": words})

    return made


def units() -> str:
    """The system of units this visitor chose."""
    return known_units(pn.state.cookies.get("units"))


def known_units(asked: str | None) -> str:
    """The system of units that a cookie names; metric if it names none."""
    return asked if asked in SYSTEMS else SYSTEMS[0]


def plain(name: str, here: str, values: Mapping[str, Any], system: str = "") -> str:
    """The text of a page from assets/ that holds no Bokeh model and keeps no session.

    system: the visitor's units, where the page can say its quantities in them.
    """
    frame = {"base": _environment().get_template("plain.html"), "here": here}
    if system:
        frame |= {"unit_systems": UNIT_SYSTEMS.items(), "units": system}
    found = _environment().get_template(name)
    return found.render({**frame, "navigation": NAVIGATION, **values})


def start(script: str, args: Mapping[str, Any]) -> CustomJS:
    """Calls start(args) of a script in assets/; for the document's 'document_ready'."""
    code = f"""
export default async (args) => {{
  const script = await import(new URL("assets/{script}", document.baseURI));
  script.start(args);
}};
"""
    return CustomJS(args=dict(args), code=code, module=True)
