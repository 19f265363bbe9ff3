"""``washsim gauge``: a jug and a watch say the flow, a drop of dye how well water exchanges."""

from __future__ import annotations

import argparse
from typing import Any

from washsim import advice
from washsim.advice import Gauged
from washsim.errors import InputError
from washsim.terminal import Terminal
from washsim.units import SYSTEMS, UNITS, in_system, minute, rounded


def add_command(commands: Any) -> None:
    """Tell the parser of `gauge`."""
    one = commands.add_parser("gauge", help="flow and exchange from a jug, a watch and dye")
    jug = "what the jug holds, L (or gal)"
    one.add_argument("--jug", type=float, required=True, metavar="VOLUME", help=jug)
    time = "s that the tap takes to fill it"
    one.add_argument("--seconds", type=float, required=True, metavar="TIME", help=time)
    vessel = "what the vessel under that tap holds, L (or gal), for dye"
    one.add_argument("--vessel", type=float, metavar="VOLUME", help=vessel)
    dye = "min until dye in it has faded to a tenth"
    one.add_argument("--dye", type=float, metavar="TIME", help=dye)
    one.add_argument("--units", choices=SYSTEMS, default="metric", help="of water")
    one.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Reckon and tell."""
    for name in ("jug", "seconds", "vessel", "dye"):
        value = getattr(given, name)
        if value is not None and not 0 < value < 1e6:
            raise InputError(f"--{name}: expected more than 0 and less than 1e6, got {value:g}")
    if (given.vessel is None) != (given.dye is None):
        raise InputError("--vessel and --dye: expected both, or neither")
    litres, flows = (in_system(UNITS[suffix], given.units) for suffix in ("l", "l_min"))
    flow = advice.jug_flow(litres.to_si(given.jug), given.seconds)
    show = Terminal(highlight=False).print
    show(f"Flow {_told(flow, flows.factor)} in {flows.label}.")
    # files are metric, whatever the units of people
    show(f"In a scenario file: flow_l_min = {rounded(flow.value / UNITS['l_min'].factor)}")
    if given.vessel is not None:
        volume, seconds = litres.to_si(given.vessel), given.dye * minute
        exchange = advice.dye_exchange(volume, flow, seconds)
        stirred = advice.clearing_time(volume, flow.value) / minute
        show(
            f"\nPerfectly stirred, dye would fade to a tenth in {rounded(stirred, 2)} min. "
            f"So water exchanges {_told(exchange, 1.0)} times as well as that."
        )
        if exchange.value > 1.0:
            show("No water exchanges better than perfectly: time it again.")
        share = rounded(min(exchange.value, 1.0), 2)
        show(f"In a scenario file: exchange_efficiency = {share}")
    return 0


def _told(gauged: Gauged, unit: float) -> str:
    """A value give or take its standard error, in a unit."""
    return f"{rounded(gauged.value / unit)}, give or take {rounded(gauged.error / unit, 2)},"
