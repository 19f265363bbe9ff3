"""What an evening takes: water, money, heat and silver, beside an hour of running water."""

from __future__ import annotations

from dataclasses import dataclass, replace

from washsim import files, tables
from washsim.errors import InputError
from washsim.fields import Quantity, check_number, default_of
from washsim.recipes import Running
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import UNITS, gram, litre, litre_per_minute, minute, rounded
from washsim.vessels import Water
from washsim.wording import amount

EVENINGS = Quantity(UNITS[""], 1, 366, "evenings like this one in a year", whole=True)
RUNNING = "slots"
"""The catalogue's running wash, for a printer whose scenario has no vessel with a tap."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bill:
    """Fresh water m3, its price and the heat's in the scenario's money, heat J, silver kg."""

    water: float
    cost: float
    heat: float
    silver: float

    def times(self, factor: float) -> Bill:
        """The same for so many evenings, or for one print's share of one."""
        return Bill(
            water=factor * self.water,
            cost=factor * self.cost,
            heat=factor * self.heat,
            silver=factor * self.silver,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningHour:
    """The same batch in running water instead: litres, money and heat alone, nothing is solved."""

    vessel: str
    own: bool
    """Whether the vessel is the printer's; else the catalogue's."""
    volume: float
    """m3 it holds."""
    flow: float
    """m3/s."""
    batches: int
    seconds: float
    """How long the tap runs for each: an hour, after prints have come one by one."""
    water: float
    cost: float
    heat: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """An evening's bill, shared out."""

    evening: Bill
    per_print: Bill
    per_m2: Bill
    per_year: Bill | None
    """None where nobody said how many evenings a year has."""
    evenings: int | None
    first_water: float
    """m3 of the first water to leave after the sheets met it; 0 if they met none."""
    first_silver: float
    """kg of silver in it."""
    first_flows: bool
    """Whether that water runs through a washer, so that nobody can collect it."""
    silver_known: bool
    """Whether anybody said what the fixer holds; else it counts as fresh, without any."""
    tap_known: bool
    """Whether anybody said how warm the tap is, or the water is no warmer than usual."""
    running: RunningHour

    @property
    def first_share(self) -> float:
        """Share of all silver in the water that collecting the first water keeps from the drain."""
        return self.first_silver / self.evening.silver if self.evening.silver else 0.0


def ledger(result: Result, evenings: int | None = None, flow: float | None = None) -> Ledger:
    """Share out what a result took; evenings of this kind in a year, flow (m3/s) of the tap.

    InputError for evenings that no year has, or a flow no vessel may have.
    """
    if evenings is not None:
        check_number(EVENINGS, evenings, "evenings")
    evening = Bill(
        water=result.litres_total,
        cost=result.cost,
        heat=result.heat,
        silver=result.silver_to_drain(),
    )
    first = result.first_water
    steps, fixing, water = result.scenario.steps, result.scenario.fixing, result.scenario.water
    warmest = max(max(pair) for pair in result.scenario.temperatures)
    return Ledger(
        evening=evening,
        per_print=evening.times(1 / result.sheets),
        per_m2=evening.times(1 / result.paper_area),
        per_year=None if evenings is None else evening.times(evenings),
        evenings=evenings,
        first_water=first.volume if first else 0.0,
        first_silver=result.silver_per_fixer * first.amount if first else 0.0,
        first_flows=first is not None and isinstance(steps[first.step - 1], Running),
        silver_known=fixing.silver is not None or fixing.sheets_per_litre > 0,
        tap_known=water.tap_temperature is not None or warmest <= default_of(Water, "temperature"),
        running=_running_hour(result.scenario, flow),
    )


def running_hour(scenario: Scenario, flow: float | None = None) -> Scenario:
    """The same batch under an hour of running water (the customary time for a fibre print).

    In the printer's own vessel with a tap, or else the slot washer of the catalogue; flow, m3/s,
    if given, replaces the vessel's.
    """
    washer = next((vessel for vessel in scenario.vessels if vessel.flow > 0), None)
    if washer is None:
        usual = files.with_method(scenario, RUNNING)
        washer = usual.vessels[0]
    if flow is not None:
        if flow <= 0:
            raise InputError(f"flow_l_min: expected more than 0, got {flow / litre_per_minute:g}")
        washer = replace(washer, flow=flow)
    hour = tables.datum("limits.fibre_hour").si
    step = Running(vessel=washer.name, duration=hour)
    return replace(scenario, vessels=(washer,), steps=(step,), late=(), stuck=())


def _running_hour(scenario: Scenario, flow: float | None) -> RunningHour:
    instead = running_hour(scenario, flow)
    volume, water = instead.timeline.volume(1), instead.water
    heat = water.heating(volume, water.temperature)
    batches = instead.sheet.batches
    vessel = instead.vessels[0]
    return RunningHour(
        vessel=vessel.name,
        own=any(one.name == vessel.name and one.flow > 0 for one in scenario.vessels),
        volume=vessel.volume,
        flow=vessel.flow,
        batches=batches,
        seconds=sum(one.stop - one.start for one in instead.timeline.stages[1:]) / batches,
        water=volume,
        cost=volume * water.price + heat * water.heat_price,
        heat=heat,
    )


def sentence(found: Ledger, units: str = "metric") -> str:
    """The evening's water beside an hour of running water, in words."""
    hour = found.running
    where = repr(hour.vessel) if hour.own else f"a slot washer of {amount(hour.volume, 'l', units)}"
    washer = f"in {where} at {amount(hour.flow, 'l_min', units)}"
    if hour.seconds > tables.datum("limits.fibre_hour").si + 0.5 * minute:
        # the tap runs from the first print on
        last = "the last print of each batch" if hour.batches > 1 else "the last print"
        tap = f"Running water {washer} until an hour after {last} has come"
    else:
        each = " for each batch" if hour.batches > 1 else ""
        tap = f"An hour of running water {washer}{each}"
    tap += f" would take {amount(hour.water, 'l', units)}"
    saved = hour.water - found.evening.water
    if abs(saved) < 0.5 * litre:
        return f"{tap}: as much as this evening."
    more = "more" if saved > 0 else "less"
    return f"{tap}: {amount(abs(saved), 'l', units)} {more} than this."


def uncounted(found: Ledger) -> list[str]:
    """What counts as nothing only because nobody spoke of it, a sentence each."""
    sentences = []
    if not found.tap_known:
        sentences.append(
            "No heat is counted, for nobody said how warm the water leaves the cold tap "
            "(tap_temperature_c)."
        )
    if not found.silver_known:
        sentences.append(
            "No silver is counted, for nobody said what the fixer holds: say how many sheets each "
            "litre of it has fixed, or its silver in g/L (sheets_per_litre, silver_g_l)."
        )
    return sentences


def first_sentence(found: Ledger, units: str = "metric") -> str:
    """What collecting the first water keeps from the drain, in words; empty without silver."""
    if found.first_silver <= 0:
        return ""
    strength = f"{rounded(1e3 * found.first_silver / found.first_water, 2)} mg/L"
    silver = f"{rounded(found.first_silver / gram, 2)} g of silver"
    if found.first_flows:
        return (
            f"The first {amount(found.first_water, 'l', units)} of running water carry {silver} "
            f"({strength}) down the drain: only a standing rinse before it could be collected."
        )
    return (
        f"The first water, {amount(found.first_water, 'l', units)}, carries {silver} "
        f"({strength}): collecting it keeps "
        f"{100 * found.first_share:.0f} % of the wash's silver from the drain."
    )
