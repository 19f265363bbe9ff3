"""The frame every page stands in: our own template, system fonts, nothing from another host."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import panel as pn
from bokeh.models import CustomJS, Model

ASSETS = Path(__file__).parent / "assets"
"""Our templates, scripts and styles; the server hands them out under /assets."""


def template(name: str, roots: Mapping[str, Model], values: Mapping[str, Any]) -> pn.Template:
    """A page from assets/: the Bokeh models it embeds by name, and the values it prints."""
    source = (ASSETS / name).read_text(encoding="utf-8")
    found = pn.Template(source)
    for key, model in roots.items():
        found.add_panel(key, pn.pane.Bokeh(model, sizing_mode="stretch_both"))
    for key, value in values.items():
        found.add_variable(key, value)
    return found


def start(script: str, args: Mapping[str, Any]) -> CustomJS:
    """Calls start(args) of a script in assets/; for the document's 'document_ready'."""
    code = f"""
export default async (args) => {{
  const script = await import(new URL("assets/{script}", document.baseURI));
  script.start(args);
}};
"""
    return CustomJS(args=dict(args), code=code, module=True)
