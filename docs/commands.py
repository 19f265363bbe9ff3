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


def commands_page() -> str:
    """Every command with what may be given to it; then the examples."""
    page = NOTE + HEAD + _commands(command_line._parser(), "washsim", 2) + EXAMPLES_HEAD
    rows = [[f"`{name}`", files.example(name).title] for name in files.examples()]
    return page + table(("name", "title"), rows)


def _commands(parser: argparse.ArgumentParser, before: str, level: int) -> str:
    """The commands of a parser, and theirs, each with its table."""
    page = ""
    for action in parser._actions:
        if not isinstance(action, argparse._SubParsersAction):
            continue
        said = {one.dest: one.help or "" for one in action._choices_actions}
        for name, inner in action.choices.items():
            page += f"{'#' * level} {before} {name}\n\n{_sentence(said[name])}\n\n"
            rows = [[_given(one), _meaning(one)] for one in inner._actions if _is_given(one)]
            page += table(("give", "meaning"), rows) if rows else ""
            page += _commands(inner, f"{before} {name}", level + 1)
    return page


def _is_given(action: argparse.Action) -> bool:
    return action.dest != "help" and not isinstance(action, argparse._SubParsersAction)


def _meaning(action: argparse.Action) -> str:
    """Its help and, where only some words are taken, these."""
    said = (action.help or "").replace("%%", "%")
    if not action.choices:
        return said
    allowed = ", ".join(f"`{choice}`" for choice in action.choices)
    return f"{said}: {allowed}" if said else allowed


def _given(action: argparse.Action) -> str:
    """How an argument is typed."""
    if not action.option_strings:
        word = action.metavar or action.dest
        plural = {"+": f"{word} [{word} ...]", "*": f"[{word} ...]", "?": f"[{word}]"}
        return f"`{plural.get(str(action.nargs), str(word))}`"
    word = action.metavar or action.dest.upper()
    return f"`{action.option_strings[0]}{'' if action.nargs == 0 else f' {word}'}`"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."
