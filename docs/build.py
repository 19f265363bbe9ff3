"""Builds the documentation site: ``python docs/build.py``; it opens at docs/site/html/index.html.

The pages that stand in docs/ are copied to docs/site/source, those that only a build can make
(reference from docstrings, results of the checks, pictures) are written beside them, and Sphinx
turns all of them into HTML. Every warning is an error. Nothing is fetched, then or at reading.
"""

from __future__ import annotations

import os

# before numpy comes in: at these sizes one BLAS thread is faster than several
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import contextlib
import runpy
import shutil
import sys
import tomllib
from pathlib import Path

import matplotlib
import matplotlib.pyplot as plt
from checks import run_checks, verification_page, write_csv
from sphinx.cmd.build import build_main

# pictures go to files, also where there is a screen
matplotlib.use("Agg")

DOCS = Path(__file__).parent
BUILT = DOCS / "site"
KEPT = ("*.md", "*.json", "*.png", "*/*.md", "*/*.toml")
"""What of docs/ the site is made of."""


def build(run: bool = True) -> int:
    """Write the whole site; 0 if Sphinx had nothing to complain of.

    run: whether to run the checks, so that the page on verification shows how they came out.
    """
    source = BUILT / "source"
    # a page of an earlier build must not outlive its source
    shutil.rmtree(BUILT, ignore_errors=True)
    for pattern in KEPT:
        for path in DOCS.glob(pattern):
            if BUILT not in path.parents:
                target = source / path.relative_to(DOCS)
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(path, target)
    reference(source / "reference")
    gallery(source / "gallery")
    if run:
        ran = run_checks()
        (source / "verification.md").write_text(verification_page(ran), encoding="utf-8")
        write_csv(ran, source / "checks.csv")
    options = ["-W", "--keep-going", "-q", "-E", "-b", "html", "-c", str(DOCS)]
    return build_main([*options, "-d", str(BUILT / "doctrees"), str(source), str(BUILT / "html")])


def gallery(folder: Path) -> None:
    """Run each script of docs/gallery where its picture belongs; one page shows them all."""
    folder.mkdir()
    page = GALLERY_HEAD
    with contextlib.chdir(folder), plt.style.context(DOCS / "style" / "gallery.mplstyle"):
        for script in sorted((DOCS / "gallery").glob("*.py")):
            plt.close("all")
            runpy.run_path(str(script))
            _, about, code = script.read_text(encoding="utf-8").split('"""', 2)
            question, words = about.split("\n", 1)
            name = script.stem.split("_", 1)[1]
            page += f"## {question}\n\n{words.strip()}\n\n![{question}]({name}.svg)\n\n"
            page += f"```python\n{code.strip()}\n```\n\n"
    (folder / "index.md").write_text(page, encoding="utf-8")


GALLERY_HEAD = """# Gallery

One picture a question, each with the lines that made it. They ran as this page was built; paste
them into a notebook or a file, and change what you doubt. All evenings are invented. They need
matplotlib, which comes with the extra `docs`.

"""


def reference(folder: Path) -> None:
    """One page a module, from its docstrings, in the order of the house, top floor first."""
    folder.mkdir()
    settings = tomllib.loads((DOCS.parent / "pyproject.toml").read_text(encoding="utf-8"))
    floors = settings["tool"]["importlinter"]["contracts"][0]["layers"]
    modules = [name for floor in floors for name in floor.split(" | ")]
    engine = sorted((DOCS.parent / "washsim" / "engine").glob("[a-z]*.py"))
    modules += [f"washsim.engine.{path.stem}" for path in engine]
    shown = [name for name in modules if name not in ("washsim_dashboard", "washsim.__main__")]
    for name in shown:
        page = f"# `{name}`\n\n```{{eval-rst}}\n.. automodule:: {name}\n```\n"
        (folder / f"{name}.md").write_text(page, encoding="utf-8")
    listed = "\n".join(shown)
    page = f"{REFERENCE_HEAD}\n```{{toctree}}\n:maxdepth: 1\n\n{listed}\n```\n"
    (folder / "index.md").write_text(page, encoding="utf-8")


REFERENCE_HEAD = """# Python reference

Every module of the program with its docstrings, from the top floor of the house down to the
engine, which knows numbers only. Import modules, not names from the package: `from washsim import
files`, then `files.example("demo")`. Inside, every number is in SI units; other units stand in
names and keys that say so.
"""


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--list-checks", action="store_true", help="list the checks, do not run them: a minute less"
    )
    sys.exit(build(run=not parser.parse_args().list_checks))
