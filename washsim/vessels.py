"""The wash water, what it stands or runs in, and what hands do between vessels. SI."""

from __future__ import annotations

from dataclasses import dataclass

from washsim import tables
from washsim.errors import InputError
from washsim.fields import check, choice, quantity, text
from washsim.liquids import (
    STIRRINGS,
    at_temperature,
    density,
    film_after_drain,
    film_coefficient,
    quickening,
    shuffled_film,
)
from washsim.papers import Sheet
from washsim.units import celsius

WATERS = ("demineralised", "soft_tap", "hard_tap", "softened", "sea")
LYINGS = ("loose", "floor", "face_down", "afloat", "hanging", "slot")
"""How sheets lie: loose, face up on the floor, level and face down, afloat and face down with a dry
back, hanging, on edge in a slot. Moved water asks only whether they lie on the floor or afloat."""
FACES = ("both", "front", "back")


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """The wash water."""

    kind: str = choice(
        WATERS, "what is dissolved in it; sets how fast held fixer lets go", default="soft_tap"
    )
    alkalinity: float | None = quantity(
        "mmol_l", 0, 10, "bicarbonate in it, of a water report; else from its kind", default=None
    )
    temperature: float = quantity("c", 1, 45, "temperature of the wash water", default=celsius(20))
    tap_temperature: float | None = quantity(
        "c", 1, 45, "temperature as it leaves the cold tap, when it is then heated", default=None
    )
    price: float = quantity(
        "per_m3",
        0,
        100,
        "price of water, waste water included",
        default=4.0,
        source="limits.cost.water_price",
    )
    heat_price: float = quantity("per_kwh", 0, 10, "price of heat", default=0.0)
    thiosulfate: float = quantity("g_l", 0, 10, "fixer already in the fresh water", default=0.0)
    diffusivity: float | None = quantity(
        "m2_s",
        1e-11,
        5e-9,
        "thiosulfate in wash water at 20 °C; else the tracer value",
        default=None,
    )

    def __post_init__(self) -> None:
        check(self)

    def free_diffusivity(self, temperature: float) -> float:
        """Of thiosulfate in water at a temperature in K, m2/s."""
        if self.diffusivity is not None:
            return at_temperature(self.diffusivity, celsius(20), temperature)
        tracer = tables.datum("liquids.thiosulfate.free_diffusivity_tracer_25").si
        return at_temperature(tracer, celsius(25), temperature)

    def quickening(self, temperature: float) -> float:
        """How much faster than in soft tap water at 20 °C held fixer lets go in it.

        With its alkalinity given, the rate rises evenly from demineralised to hard water (film
        data for the two ends, the line between is an estimate).
        """
        if self.alkalinity is None:
            return quickening(self.kind, temperature)
        ends = [quickening(kind, temperature) for kind in ("demineralised", "hard_tap")]
        share = self.alkalinity / tables.datum("liquids.water.alkalinity.hard").si
        return ends[0] + (ends[1] - ends[0]) * share

    def heating(self, volume: float, temperature: float) -> float:
        """Heat to bring this volume (m3) from the tap to a temperature in K, J."""
        if self.tap_temperature is None:
            return 0.0
        rise = max(0.0, temperature - self.tap_temperature)
        capacity = tables.datum("liquids.water_properties.heat_capacity").si
        return volume * density(temperature) * capacity * rise


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """A tray, washer or tub."""

    name: str = text("what the steps call it")
    volume: float = quantity("l", 0.05, 2000, "water poured in at each filling")
    flow: float = quantity("l_min", 0, 2000, "flow while the tap runs into it", default=0.0)
    exchange_efficiency: float = quantity(
        "", 0.01, 1, "share of the flow that really renews the water", default=1.0
    )
    best_flow: float | None = quantity(
        "l_min",
        0.01,
        2000,
        "flow above which more of it passes unused (observed in slot washers, not derived)",
        default=None,
    )
    flow_loss: float = quantity(
        "", 0, 2, "how fast the efficiency falls above it: (best / flow) to this power", default=1.0
    )
    dead_fraction: float = quantity(
        "", 0, 0.9, "share of the water that mixes only slowly with the rest", default=0.0
    )
    dead_exchange: float = quantity(
        "min",
        0.1,
        500,
        "time constant of that slow mixing",
        default=600.0,
        source="limits.caution.dead_part_exchange",
    )
    puddle: float = quantity("l", 0, 100, "water left when it is dumped", default=0.0)
    stirring: str = choice(
        (*STIRRINGS, "shuffled", "still"),
        "how sheets and water are moved; 'still' by nothing but what fixer weighs",
        default="rocking",
    )
    lying: str = choice(
        LYINGS, "how sheets lie; in still water 'loose' counts as hanging", default="loose"
    )
    shuffle: float | None = quantity(
        "min",
        0.05,
        120,
        "minutes in which each sheet of a pile is moved once; only with stirring = 'shuffled'",
        default=None,
    )
    film: float | None = quantity(
        "um",
        0.1,
        20000,
        "thickness of the still film on each face; else from stirring",
        default=None,
    )
    open_faces: str = choice(FACES, "which faces of the sheets the water reaches", default="both")
    pieces: int = quantity("", 1, 20, "how many of it there are", default=1, whole=True)
    least: float | None = quantity(
        "l",
        0.05,
        2000,
        "least water that covers the sheets in it, for a planner; else enough for the sheets in a "
        "tray, and all of volume_l where the tap runs in",
        default=None,
    )

    def __post_init__(self) -> None:
        check(self)
        if (self.stirring == "shuffled") != (self.shuffle is not None):
            raise InputError("shuffle_min: expected with stirring = 'shuffled', and only with it")
        if self.lying == "floor" and self.dead_fraction > 0:
            raise InputError(
                "dead_fraction: expected 0 with lying = 'floor', where the water beneath the "
                "sheets is the dead part"
            )
        if not self.name:
            raise InputError("name: expected a name, got an empty one")

    def film_coefficient(self, free_diffusivity: float, temperature: float) -> float:
        """Between a face and its water, m/s: from the film's thickness, the pile, or stirring."""
        if self.film is not None:
            return free_diffusivity / self.film
        if self.shuffle is not None:
            return shuffled_film(self.shuffle, free_diffusivity)
        if self.stirring == "still":
            # what currents leave of it at the end, for solutes that do not weigh
            return film_coefficient("still_face_down", temperature)
        return film_coefficient(self.stirring, temperature)

    def renewal(self, flow: float) -> float:
        """The part of a flow, m3/s, that renews the water."""
        renewed = self.exchange_efficiency * flow
        if self.best_flow is not None and flow > self.best_flow:
            renewed *= (self.best_flow / flow) ** self.flow_loss
        return renewed

    def least_water(self, sheet: Sheet, at_once: int) -> float:
        """Least filling, m3, that covers so many sheets lying in it at once, apart.

        It may be more than a tray holds.
        """
        if self.least is not None:
            return min(self.least, self.volume)
        if self.flow > 0:
            # a washer holds sheets on edge: part of its water covers part of a sheet
            return self.volume
        layer = tables.datum("limits.planning.water_layer").si * at_once
        depth = tables.datum("limits.planning.depth").si
        return max(layer * sheet.area, min(depth * sheet.area, self.volume))

    @property
    def faces(self) -> tuple[float, float]:
        """(front, back): 1 open, 0 covered."""
        dry = self.lying == "afloat"
        return (float(self.open_faces != "back"), float(self.open_faces != "front" and not dry))


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling:
    """What hands do between vessels."""

    drain: float = quantity("s", 0, 600, "time a sheet drains each time it is lifted", default=10.0)
    carry_over: float | None = quantity(
        "ml_m2",
        0,
        1000,
        "water left on both faces of a lifted sheet; else from drain time",
        default=None,
    )

    def __post_init__(self) -> None:
        check(self)

    def film(self, drained: float) -> float:
        """Water on both faces of a sheet drained this many seconds, m3/m2."""
        return film_after_drain(drained) if self.carry_over is None else self.carry_over
