"""The page on the command line, read from the parser, for docs/generate.py."""

from __future__ import annotations

import argparse

from tabular import NOTE, table

from washsim import __main__ as command_line
from washsim import files

HEAD = """# Commands

Each command answers `--help`. Bad input is answered in one sentence on the error stream and
status 2; nothing is left half-written. Nothing here uses a network, but that `washsim serve`
listens on an address of this machine.

"""

EXAMPLES_HEAD = """## The examples that come along

`washsim example` with a name writes one of them, commented, to be edited. All are invented.

"""


def _commands(parser: argparse.ArgumentParser, path: str, level: int) -> str:
    """Each command of a parser, and the verbs of a command that has some."""
    page = ""
    for action in parser._actions:
        if not isinstance(action, argparse._SubParsersAction):
            continue
        said = {one.dest: one.help or "" for one in action._choices_actions}
        for name, inner in action.choices.items():
            page += f"{'#' * level} {path} {name}\n\n{_sentence(said[name])}\n\n"
            given = [
                one
                for one in inner._actions
                if one.dest != "help" and not isinstance(one, argparse._SubParsersAction)
            ]
            if given:
                rows = ([_given(one), one.help or ""] for one in given)
                page += table(("give", "meaning"), rows)
            page += _commands(inner, f"{path} {name}", level + 1)
    return page


def commands_page() -> str:
    """Every command with what may be given to it; then the examples."""
    parser = command_line._parser()
    page = NOTE + HEAD
    page += _commands(parser, "washsim", 2)
    page += EXAMPLES_HEAD
    rows = [[f"`{name}`", files.example(name).title] for name in files.examples()]
    return page + table(("name", "title"), rows)


def _given(action: argparse.Action) -> str:
    """How an argument is typed."""
    word = action.metavar or action.dest
    if not action.option_strings:
        plural = {"+": f"{word} [{word} ...]", "*": f"[{word} ...]", "?": f"[{word}]"}
        return f"`{plural.get(str(action.nargs), str(word))}`"
    takes = action.nargs != 0
    word = action.metavar or action.dest.upper()
    return f"`{action.option_strings[0]}{f' {word}' if takes else ''}`"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."
