"""Formulas as MathML, which browsers draw by themselves: a Sphinx extension.

Sphinx's usual renderer is a script that a page fetches from the network as it is read.
"""

from __future__ import annotations

from typing import Any

from docutils import nodes
from docutils.utils.math import MathError
from docutils.utils.math.latex2mathml import tex2mathml
from sphinx.application import Sphinx
from sphinx.errors import ExtensionError


def setup(app: Sphinx) -> dict[str, Any]:
    """Register the renderer under the name 'mathml'."""
    app.add_html_math_renderer("mathml", (_inline, None), (_block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}


def _inline(writer: Any, node: nodes.math) -> None:
    writer.body.append(_mathml(node, as_block=False))
    raise nodes.SkipNode


def _block(writer: Any, node: nodes.math_block) -> None:
    # a long formula scrolls inside its box on a narrow screen
    writer.body.append(f'<div class="formula">{_mathml(node, as_block=True)}</div>')
    raise nodes.SkipNode


def _mathml(node: nodes.Element, as_block: bool) -> str:
    try:
        return tex2mathml(node.astext(), as_block=as_block)
    except MathError as error:
        raise ExtensionError(f"formula {node.astext()!r}: {error}") from None
