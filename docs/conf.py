"""Settings of the documentation site; `python docs/build.py` builds it. Nothing is fetched."""

from __future__ import annotations

import sys
from pathlib import Path

import washsim

sys.path.insert(0, str(Path(__file__).parent))

project = "washsim"
author = "the washsim contributors"
version = release = washsim.__version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "mathml", "docstrings"]

# --- Markdown ---
myst_enable_extensions = ["dollarmath", "deflist", "colon_fence"]
myst_heading_anchors = 4
myst_dmath_double_inline = False

# --- reference from docstrings ---
autodoc_default_options = {"members": True, "member-order": "bysource"}
autodoc_typehints = "signature"
autodoc_typehints_format = "short"
autodoc_preserve_defaults = True
# what a library says of a method that is overridden here is no docstring of this program
autodoc_inherit_docstrings = False
add_module_names = False
toc_object_entries_show_parents = "hide"

# --- pages ---
html_theme = "furo"
html_title = "washsim"
html_math_renderer = "mathml"
html_static_path = ["style"]
html_css_files = ["site.css"]
html_copy_source = False
html_show_sourcelink = False
html_show_sphinx = False
html_show_copyright = False
# summaries are fetched page by page, which a browser refuses where pages are read from the disk
html_show_search_summary = False
pygments_style = "default"
pygments_dark_style = "monokai"
