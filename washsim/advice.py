"""What a result means in words: what limits now, what to mind, gauging flow and exchange."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from washsim import tables
from washsim.candidates import covers
from washsim.clearing import clearing
from washsim.recipes import Aid, Bath, Hold
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import amount, difference, temperature

LIMITS = {
    "inside": "inside the paper",
    "film": "the still film on its faces",
    "bath": "the fixer already in this water",
    "release": "held fixer that lets go slowly",
}
"""What can hold the washing up."""
ALIKE = 1.1
"""Sheets nearer than this ratio are alike: which of them is the worst says nothing."""
LEAST_TOLD = 1e-4
"""g/m2 below which no figure is told: far below what any drop on a print can show."""


def figure(residual: float) -> str:
    """A residual, kg/m2, in words."""
    told = 1e3 * residual
    return f"{told:.2g} g/m²" if told >= LEAST_TOLD else f"under {LEAST_TOLD:.4f} g/m²"


def ending(residual: float) -> str:
    """The same after 'ends': 'at' a figure or under one."""
    told = figure(residual)
    return told if told.startswith("under") else f"at {told}"


def limits_now(result: Result, lot: int, time: float) -> str:
    """What holds the washing up most at a time, s, and its share."""
    return limit(result.shares(lot, time))


def limit(shares: dict[str, float]) -> str:
    """The largest of the shares of Result.shares, in words."""
    name = max(shares, key=lambda key: shares[key])
    return f"{LIMITS[name]}, {100 * shares[name]:.0f} %"


def sentence(result: Result, system: str = "metric") -> str:
    """The outcome in one or two sentences, target beside it; system: of units.SYSTEMS."""
    limit = result.scenario.target.limit * 1e3
    worst = ending(result.worst_residual)
    minutes = result.minutes_to_target
    water = f"{amount(result.litres_total, system)} of water"
    if minutes is None:
        floor = result.floor(result.worst_lot, result.run.timeline.end) * 1e3
        if result.first_water is None:
            end = "it has met no water that could wash it"
        elif floor > limit:
            end = f"this water cannot get it below {floor:.2g} g/m²"
        else:
            end = "it needs more time"
        return (
            f"Sheet {result.worst_sheet} ends {worst}, above the target of "
            f"{limit:.2g} g/m², after {water}: {end}."
        )
    if result.sheets > 1:
        alike = max(result.final_residual) < ALIKE * min(result.final_residual)
        named = "the worst" if alike else f"the worst, sheet {result.worst_sheet},"
        who, worst_text = "Every sheet is", f"{named} ends {worst}"
    else:
        who, worst_text = "The sheet is", f"it ends {worst}"
    return (
        f"{who} under the target of {limit:.2g} g/m² within {minutes:.0f} min of washing; "
        f"{worst_text} on {water}."
    )


def cautions(result: Result, system: str = "metric") -> tuple[str, ...]:
    """What to mind with this scenario, most pressing first, in general words."""
    text = tables.entry("limits.caution.text")
    found = [*unfixed(result), *_dry(result, system), *_warm(result, system)]
    found += [*_wet(result), *_long_past(result)]
    if result.first_silver > 0:
        strength = f"{1e3 * result.first_silver:.2g} mg/L of silver"
        found.append(f"The first water carries about {strength}. {text['silver_drain']}")
    else:
        found.append(text["silver_drain"])
    found.append(text["fixer"])
    waters = [getattr(step, "water", None) for step in result.scenario.steps]
    if (waters[-1] or result.scenario.water.kind) == "sea":
        found.append(text["salt_left"])
    if "softened" in (result.scenario.water.kind, *waters):
        found.append(text["softened"])
    if any(isinstance(step, Aid) for step in result.scenario.steps):
        found.append(text["sulfite"])
    return tuple(found)


def unfixed(result: Result) -> list[str]:
    """Cautions about prints that may not be fixed: no washing mends that."""
    scenario, fixing = result.scenario, result.scenario.fixing
    text = tables.entry("limits.caution.text.residual_silver")
    found = []
    key = "limit_one_bath" if fixing.baths == 1 else "limit_first_of_two"
    silver = fixing.silver_in_first_bath(scenario.sheet)
    limit = tables.datum(f"limits.silver.{key}").si
    if silver > limit:
        found.append(
            f"The fixer holds about {silver:.2g} g/L of silver, above the {limit:g} g/L at which "
            f"it counts as spent here. {text}"
        )
    clear = clearing(scenario)
    if not clear.enough:
        found.append(
            f"Fixed for {fixing.duration:.0f} s, {clear.ratio:.1f} times the {clear.seconds:.0f} s "
            f"the emulsion is estimated to clear in; twice is customary. {text}"
        )
    return found


def _dry(result: Result, system: str) -> list[str]:
    """Cautions about trays with too little water to cover the prints that lie in it together."""
    scenario = result.scenario
    layer = tables.datum("limits.planning.water_layer").si
    together = {step.vessel for step in scenario.steps if isinstance(step, Bath | Hold)}
    found = []
    for vessel in scenario.vessels:
        if vessel.name in together and not covers(vessel, scenario):
            over = vessel.volume / scenario.paper_area
            found.append(
                f"{amount(vessel.volume, system)} in {vessel.name!r} are {1e3 * over:.1f} mm of "
                f"water for each print in it, and {1e3 * layer:g} mm are reckoned to cover it "
                f"(judged, no source). Where faces stay dry nothing is washed out: the numbers "
                f"here suppose that all are wet."
            )
    return found


def _warm(result: Result, system: str) -> list[str]:
    """Cautions about warm water and sudden changes."""
    scenario, fixing = result.scenario, result.scenario.fixing
    text = tables.entry("limits.caution.text.warm_water")
    warmth = ((fixing.temperature, fixing.temperature), *scenario.temperatures)
    hot = tables.datum("limits.caution.temperature_high").si
    step = tables.datum("limits.caution.temperature_step").si
    found = []
    if max(max(pair) for pair in warmth) > hot:
        found.append(f"Water above {temperature(hot, system)}. {text}")
    changes = [abs(after[0] - before[1]) for before, after in pairwise(warmth)]
    if max(changes, default=0.0) > step:
        jump = f"A step of {difference(max(changes), system)} between baths"
        found.append(f"{jump}, more than {difference(step, system)}. {text}")
    return found


def _wet(result: Result) -> list[str]:
    """Cautions about how long prints stay wet."""
    text = tables.entry("limits.caution.text")
    wet = max(stop - start for start, stop in result.run.wet)
    found = []
    if result.run.paper.sealed_back:
        sheet = result.scenario.sheet
        edge = f"({2e2 * (sheet.width + sheet.height):.0f} cm of cut edge a sheet)"
        fixed = result.scenario.fixing.duration
        spans = (("Fixed", "rc_fix_min", fixed), ("In water", "rc_wet_min", wet - fixed))
        for what, key, seconds in spans:
            limit = tables.datum(f"limits.caution.{key}").si
            if seconds > limit:
                found.append(
                    f"{what} for more than {limit / 60:g} min: liquid may have crept "
                    f"{1e3 * rim_creep(seconds):.1f} mm into the rim {edge} (a guess, no source). "
                    f"{text['rc_rim']}"
                )
    for key in ("wet_hours_strong", "wet_hours_notice"):
        limit = tables.datum(f"limits.caution.{key}").si
        if wet > limit:
            hours = f"Wet for {wet / 3600:.1f} h, more than {limit / 3600:g} h."
            found.append(f"{hours} {text['long_wet']}")
            break
    return found


def _long_past(result: Result) -> list[str]:
    """A caution where every sheet has been under the target for long before it is lifted."""
    found = []
    for lot, seconds in enumerate(result.seconds_to_target):
        if seconds is None:
            return []
        found.append(result.run.wet[lot][1] - result.run.left_fixer[lot] - seconds)
    if min(found) <= tables.datum("limits.caution.past_target").si:
        return []
    text = tables.entry("limits.caution.text.past_target")
    return [f"Every sheet was under the target {min(found) / 60:.0f} min before the end. {text}"]


def rim_creep(seconds: float) -> float:
    """How far liquid has crept into the cut edge of resin-coated paper, m: root of time.

    As a liquid wicks (Washburn, Phys. Rev. 17, 1921, from memory); the speed is an estimate.
    """
    first_minute = tables.datum("limits.caution.rim_creep").si
    return first_minute * math.sqrt(seconds / 60.0)


@dataclass(frozen=True, slots=True)
class Gauged:
    """A measured value and its standard error, SI, with the same error relative."""

    value: float
    error: float

    @property
    def relative(self) -> float:
        return self.error / self.value


def jug_flow(volume: float, seconds: float) -> Gauged:
    """Flow, m3/s, of a tap that fills a jug; errors add in quadrature (GUM, JCGM 100:2008)."""
    jug, watch = (tables.datum(f"limits.gauging.{name}").si for name in ("jug", "watch"))
    relative = math.hypot(jug / volume, watch / seconds)
    flow = volume / seconds
    return Gauged(flow, flow * relative)


def clearing_time(volume: float, flow: float) -> float:
    """s until dye in a perfectly stirred vessel has faded to a tenth: V ln(10) / Q."""
    return volume * math.log(10) / flow


def dye_exchange(volume: float, flow: Gauged, seconds: float) -> Gauged:
    """Exchange efficiency from the s that dye takes to fade to a tenth; 1 is perfect."""
    efficiency = clearing_time(volume, flow.value) / seconds
    relative = math.hypot(flow.relative, tables.datum("limits.gauging.dye").value)
    return Gauged(efficiency, efficiency * relative)


def origins(scenario: Scenario) -> list[tuple[str, str]]:
    """(what, where the number comes from) for the numbers that a scenario rests on most."""
    paper, why = scenario.sheet.paper, scenario.sheet.explanation
    paths: dict[str, str] = {}
    if paper != "own":
        paths["Wet thickness of the emulsion"] = f"papers.{paper}.layer.emulsion.thickness"
        if "base" in tables.entry(f"papers.{paper}.layers"):
            paths["Wet thickness of the base"] = f"papers.{paper}.layer.base.thickness"
    if why != "own":
        sets = f"papers.explanation.{why}"
        paths["Openness of the base (pore over free diffusivity)"] = f"{sets}.base_hindrance"
        paths["Held fixer, whole sheet"] = f"{sets}.pool"
        paths["Half-life of held fixer in soft tap water"] = f"{sets}.release_half_life"
    ion = "liquids.thiosulfate"
    paths["Free diffusivity of thiosulfate at 25 °C"] = f"{ion}.free_diffusivity_tracer_25"
    moved = {vessel.stirring for vessel in scenario.vessels}
    if "shuffled" in moved:
        paths["Water between two sheets of a pile"] = "liquids.pile.between"
    if "still" in moved:
        paths["How unevenly warm a still tray is"] = "liquids.convection.unevenness"
    if any(vessel.lying == "floor" for vessel in scenario.vessels):
        paths["Water beneath a sheet on the floor"] = "liquids.pool.depth"
    for stirring in sorted(moved - {"shuffled", "still"}):
        label = tables.entry(f"liquids.stirring.{stirring}.label")
        paths[f"Surface film: {label}"] = f"liquids.stirring.{stirring}.film"
    paths["Water clinging after 10 s of draining"] = "liquids.film_after_drain.s10"
    if scenario.target.preset != "own":
        paths["Target"] = f"limits.target.{scenario.target.preset}.value"
    paths["First visible step of a spot test"] = "limits.spot_test.visible_low"
    return [(what, _band(tables.datum(path))) for what, path in paths.items()]


def _band(datum: tables.Datum) -> str:
    unit = "" if datum.unit == "1" else f" {datum.unit}"
    return f"{datum.value:g} ({datum.low:g} to {datum.high:g}){unit}, {datum.origin}"
