"""Papers, fixers, waters and vessels as the printer knows them.

Concentrations and amounts are those of the thiosulfate ion, kg/m3 (numerically g/L) and kg.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

from washsim import tables
from washsim.errors import InputError
from washsim.fields import check, choice, part, quantity, text
from washsim.learnt import Learnt
from washsim.units import celsius, litre

PAPERS = ("fibre_double", "fibre_single", "resin_coated")
EXPLANATIONS = ("slow", "held", "both", "saturating", "own")
FIXERS = ("rapid", "plain")
WATERS = ("demineralised", "soft_tap", "hard_tap", "softened", "sea")
STIRRINGS = (
    "still_face_up",
    "tap_only",
    "still_face_down",
    "rocking",
    "lifted",
    "brisk",
    "perfect",
)
"""How water is moved along a face; a pile of sheets in a vessel can also be 'shuffled'."""
LYINGS = ("loose", "floor", "face_down", "afloat", "hanging", "slot")
"""How sheets lie: loose, face up on the floor, level and face down, afloat and face down with a dry
back, hanging, on edge in a slot. Moved water asks only whether they lie on the floor or afloat."""
FACES = ("both", "front", "back")


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer of a wet sheet, front to back."""

    name: str = text("what the layer is called on screen")
    thickness: float = quantity("um", 1, 3000, "wet thickness")
    porosity: float = quantity("", 0.01, 1, "share of the wet layer that is liquid")
    hindrance: float = quantity(
        "", 0.001, 1, "diffusivity in the pores over that in free water at the same temperature"
    )
    retardation: float = quantity(
        "", 1, 50, "fixer in the layer over fixer in its liquid, exchanged at once", default=1.0
    )
    retention: float = quantity(
        "", 0, 10, "held fixer per volume of layer over concentration, at equilibrium", default=0.0
    )
    release_half_life: float = quantity(
        "min", 0.01, 2000, "half-life of held fixer in soft tap water", default=1800.0
    )
    saturation: float | None = quantity(
        "g_l",
        1e-3,
        1000,
        "concentration at which half of what holds fixer is filled; else it never fills up",
        default=None,
    )

    def __post_init__(self) -> None:
        check(self)

    @property
    def liquid(self) -> float:
        """Liquid held inside, m3/m2."""
        return self.thickness * self.porosity


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """The layers of a sheet, front to back, and whether its back is sealed by plastic."""

    label: str = text("the paper's name on screen")
    layers: tuple[Layer, ...] = part(Layer, meaning="front to back", many=True)
    sealed_back: bool = False

    @property
    def held_liquid(self) -> float:
        """Liquid inside, m3/m2."""
        return sum(layer.liquid for layer in self.layers)

    @property
    def thickness(self) -> float:
        """Wet thickness of the layers that take up fixer, m."""
        return sum(layer.thickness for layer in self.layers)


@lru_cache(maxsize=256)
def explained(paper: Paper, explanation: str) -> Paper:
    """The paper with the base's openness and the held pool of a named explanation.

    The pool is spread evenly through the thickness (its seat is disputed) and sized in
    equilibrium with the reference fixer, also where what holds it fills up; resin-coated paper
    has no base, so no slow hour.
    """
    if explanation == "own":
        return paper
    path = f"papers.explanation.{explanation}"
    pool = tables.datum(f"{path}.pool").si * tables.datum("liquids.thiosulfate.molar_mass").si
    reference = (
        tables.datum("papers.pool.reference_concentration").si
        * tables.datum("liquids.thiosulfate.molar_mass").si
    )
    full = None
    if "saturation" in tables.entry(path):
        full = tables.datum(f"{path}.saturation").si
        # retention is the slope at a trace: pool = slope c / (1 + c / full) at the reference
        pool *= 1 + reference / full
    fibre = any(layer.name == "base" for layer in paper.layers)
    whole = paper.thickness if fibre else preset_layers("fibre_double").thickness
    layers = []
    for layer in paper.layers:
        hindrance = layer.hindrance
        if layer.name == "base":
            hindrance = tables.datum(f"{path}.base_hindrance").si
        layers.append(
            replace(
                layer,
                hindrance=hindrance,
                retention=pool / (reference * whole),
                release_half_life=tables.datum(f"{path}.release_half_life").si,
                saturation=full,
            )
        )
    return replace(paper, layers=tuple(layers))


def scaled(paper: Paper, factor: Callable[[str], float]) -> Paper:
    """The paper with a factor on each of its numbers, by name as in `Learnt`."""
    layers = tuple(
        replace(
            layer,
            thickness=layer.thickness * factor(f"{layer.name}.thickness"),
            porosity=min(1.0, layer.porosity * factor(f"{layer.name}.porosity")),
            hindrance=min(1.0, layer.hindrance * factor(f"{layer.name}.hindrance")),
            # places that fill up sooner hold more at a trace: as many of them at a lower strength
            retention=layer.retention * factor("held_pool") / factor("saturation"),
            release_half_life=layer.release_half_life * factor("release"),
            saturation=layer.saturation and layer.saturation * factor("saturation"),
        )
        for layer in paper.layers
    )
    return replace(paper, layers=layers)


@lru_cache
def preset_layers(name: str) -> Paper:
    """A paper of the tables, before any explanation of slow washing is applied."""
    found = tables.entry(f"papers.{name}")
    layers = tuple(
        Layer(
            name=layer,
            **{
                key: tables.datum(f"papers.{name}.layer.{layer}.{key}").si
                for key in ("thickness", "porosity", "hindrance", "retardation")
            },
        )
        for layer in found["layers"]
    )
    return Paper(label=found["label"], layers=layers, sealed_back=found.get("sealed_back", False))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The prints of the batch."""

    paper: str = choice((*PAPERS, "own"), "paper preset, or own layers", default="fibre_double")
    width: float = quantity("cm", 1, 200, "width of one sheet", default=0.203)
    height: float = quantity("cm", 1, 500, "height of one sheet", default=0.254)
    count: int = quantity("", 1, 200, "number of sheets", default=1, whole=True)
    interval: float = quantity(
        "min", 0, 120, "minutes between one sheet leaving the fixer and the next", default=0.0
    )
    batches: int = quantity(
        "",
        1,
        12,
        "batches of so many sheets; each comes from the fixer as the one before leaves the wash",
        default=1,
        whole=True,
    )
    layers: tuple[Layer, ...] = part(
        Layer, meaning="own layers, front to back; only with paper = 'own'", many=True, default=()
    )
    explanation: str = choice(
        EXPLANATIONS, "why the paper washes slowly; 'own' keeps the layers as given", default="both"
    )
    learnt: Learnt | None = part(
        Learnt, meaning="what readings taught of this paper, as a fit writes it", default=None
    )

    def __post_init__(self) -> None:
        check(self)
        if (self.paper == "own") != bool(self.layers):
            raise InputError("layers: expected with paper = 'own', and only with it")
        if self.known is not None:
            self.known.check_names(tuple(layer.name for layer in self.material.layers))

    @property
    def area(self) -> float:
        """One side of one sheet, m2."""
        return self.width * self.height

    @property
    def known(self) -> Learnt | None:
        """What was learnt, where it is of this paper under this explanation."""
        found = self.learnt
        same = found and (found.paper, found.explanation) == (self.paper, self.explanation)
        return found if same else None

    @property
    def rests_on(self) -> str:
        """What the paper's numbers rest on, in words."""
        return f"learnt from {self.known.basis or 'readings'}" if self.known else "the tables"

    @property
    def material(self) -> Paper:
        """The layers as the solver takes them."""
        own = self.paper == "own"
        paper = Paper(label="Own layers", layers=self.layers) if own else preset_layers(self.paper)
        found = explained(paper, self.explanation)
        return found if self.known is None else scaled(found, self.known.middle)


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


def film_after_drain(seconds: float) -> float:
    """Water on both faces together after draining, m3/m2; interpolated in the logarithm."""
    known = {0.0: "s0", 10.0: "s10", 30.0: "s30"}
    times = list(known)
    logs = [math.log(tables.datum(f"liquids.film_after_drain.{key}").si) for key in known.values()]
    seconds = min(max(seconds, times[0]), times[-1])
    for (t0, t1), (a, b) in zip(pairwise(times), pairwise(logs), strict=True):
        if seconds <= t1:
            return math.exp(a + (b - a) * (seconds - t0) / (t1 - t0))
    raise AssertionError("unreachable: the last time is the largest allowed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fixing:
    """How the prints were fixed."""

    fixer: str = choice(FIXERS, "rapid (ammonium) concentrate or plain hypo", default="rapid")
    dilution: str | None = text("parts of concentrate + water, such as '1+4'", default=None)
    thiosulfate: float | None = quantity(
        "g_l", 1, 400, "thiosulfate ion in the working bath; else from dilution", default=None
    )
    stock: float | None = quantity(
        "g_l",
        20,
        700,
        "thiosulfate ion in the undiluted concentrate; else the table's",
        default=None,
    )
    duration: float = quantity("s", 1, 7200, "time in the fixer, all baths together", default=60.0)
    baths: int = quantity("", 1, 2, "one fixing bath or two", default=1, whole=True)
    sheets_per_litre: float = quantity(
        "", 0, 500, "sheets already fixed in each litre of the (first) bath", default=0.0
    )
    silver: float | None = quantity(
        "g_l", 0, 20, "silver in the last fixing bath; else from sheets per litre", default=None
    )
    temperature: float = quantity("c", 5, 35, "temperature of the fixer", default=celsius(20))
    stirring: str = choice(STIRRINGS, "how the fixer is moved", default="rocking")
    diffusivity: float | None = quantity(
        "m2_s", 1e-11, 5e-9, "thiosulfate in free fixer at 20 °C; else from its salt", default=None
    )

    def __post_init__(self) -> None:
        check(self)
        if self.thiosulfate is not None and self.dilution is not None:
            raise InputError("thiosulfate_g_l: expected either it or dilution, got both")
        if self.dilution is not None:
            parts(self.dilution)

    @property
    def salt(self) -> str:
        return tables.entry(f"liquids.fixer.{self.fixer}.salt")

    @property
    def concentration(self) -> float:
        """Thiosulfate ion in the working bath, kg/m3."""
        if self.thiosulfate is not None:
            return self.thiosulfate
        stock = self.stock
        if stock is None:
            stock = tables.datum(f"liquids.fixer.{self.fixer}.stock").si
        usual = tables.entry(f"liquids.fixer.{self.fixer}").get("usual_dilution")
        dilution = self.dilution or usual
        if dilution is None:
            return stock
        concentrate, water = parts(dilution)
        return stock * concentrate / (concentrate + water)

    @property
    def free_diffusivity(self) -> float:
        """In the working bath at its temperature, m2/s."""
        if self.diffusivity is not None:
            return at_temperature(self.diffusivity, celsius(20), self.temperature)
        salt = f"liquids.salt.{self.salt}"
        dilute = tables.datum(f"{salt}.free_diffusivity_25").si
        crowded = dilute * tables.datum(f"{salt}.concentration_factor").si
        return at_temperature(crowded, celsius(25), self.temperature)

    def silver_in_first_bath(self, sheet: Sheet) -> float:
        """Dissolved silver in the only or the first bath, kg/m3."""
        if self.silver is not None and self.baths == 1:
            return self.silver
        dissolved = tables.datum("limits.silver.dissolved").si
        return self.sheets_per_litre / litre * sheet.area * dissolved

    def silver_in_last_bath(self, sheet: Sheet, liquid: float) -> float:
        """Dissolved silver in the liquid that sheets carry off, kg/m3.

        liquid: what one sheet carries from bath to bath, m3. Of two baths the second holds what
        the earlier sheets carried into it, on average half as rich as the first is now.
        """
        if self.silver is not None:
            return self.silver
        first = self.silver_in_first_bath(sheet)
        return first if self.baths == 1 else 0.5 * first * self.sheets_per_litre / litre * liquid


def parts(dilution: str) -> tuple[float, float]:
    """'1+4' -> (1.0, 4.0); InputError otherwise."""
    try:
        concentrate, water = (float(piece) for piece in dilution.split("+"))
    except ValueError:
        concentrate = water = math.nan
    if not (0 < concentrate <= 1000 and 0 <= water <= 1000):
        raise InputError(f"dilution: expected parts such as '1+4', got {dilution!r}")
    return concentrate, water


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
        """Least filling, m3, that covers so many sheets lying in it at once, apart."""
        if self.least is not None:
            return min(self.least, self.volume)
        if self.flow > 0:
            # a washer holds sheets on edge: part of its water covers part of a sheet
            return self.volume
        layer = tables.datum("limits.planning.water_layer").si * at_once
        depth = max(layer, tables.datum("limits.planning.depth").si)
        return min(depth * sheet.area, self.volume)

    @property
    def faces(self) -> tuple[float, float]:
        """(front, back): 1 open, 0 covered."""
        dry = self.lying == "afloat"
        return (float(self.open_faces != "back"), float(self.open_faces != "front" and not dry))


def film_coefficient(stirring: str, temperature: float) -> float:
    """Transfer coefficient between a face and the water, m/s.

    The table's value at 20 °C follows D to the power 2/3 (laminar boundary layer; the effect of
    viscosity on the flow is left out).
    """
    known = tables.datum(f"liquids.stirring.{stirring}.film").si
    return known * at_temperature(1.0, celsius(20), temperature) ** (2 / 3)


def shuffled_film(interval: float, free_diffusivity: float) -> float:
    """Transfer coefficient of a face in a pile whose sheets are each moved every interval s, m/s.

    The water between two sheets is changed once in an interval; it cannot carry off more than it
    holds, nor more than diffuses into fresh water in that time.
    """
    carried = tables.datum("liquids.pile.between").si / interval
    return min(carried, penetration(interval, free_diffusivity))


def penetration(interval: float, free_diffusivity: float) -> float:
    """Mean transfer coefficient, m/s, of a face that meets fresh still water every interval s.

    Higbie, Trans. AIChE 31, 1935.
    """
    return 2 * math.sqrt(free_diffusivity / (math.pi * interval))


def viscosity(temperature: float) -> float:
    """Of water at 0.1 MPa, Pa s; IAPWS SR6-08 (2011), eq. for 253 to 383 K."""
    series = tables.entry("liquids.water_viscosity")
    x = temperature / 300.0
    return 1e-6 * sum(a * x**b for a, b in zip(series["a"], series["b"], strict=True))


def density(temperature: float) -> float:
    """Of water at 0.1 MPa, kg/m3; rational function of Kell (1975)."""
    series = tables.entry("liquids.water_density")
    t = temperature - 273.15
    top = sum(a * t**power for power, a in enumerate(series["numerator"]))
    return top / (1.0 + series["denominator"] * t)


def at_temperature(diffusivity: float, known_at: float, temperature: float) -> float:
    """A diffusivity moved to another temperature (K): D times viscosity over T is constant."""
    return diffusivity * (temperature / known_at) * (viscosity(known_at) / viscosity(temperature))


def quickening(liquid: str, temperature: float) -> float:
    """How much faster than in soft tap water at 20 °C held fixer lets go in another liquid.

    Temperature acts as on diffusion; nobody has measured that for release, so it is an estimate.
    """
    soft = tables.datum("liquids.water.soft_tap.release_half_life").si
    ratio = soft / tables.datum(f"liquids.water.{liquid}.release_half_life").si
    return at_temperature(ratio, celsius(20), temperature)


def filling(temperature: float, release_half_life: float) -> float:
    """How much faster held fixer takes hold in fixer than it lets go in soft tap water at 20 °C.

    Waters act on a layer's own release_half_life (s, in soft tap water) by a ratio, but the
    filling has a half-time of its own.
    """
    ratio = release_half_life / tables.datum("liquids.fixer.fill_half_time").si
    return at_temperature(ratio, celsius(20), temperature)
