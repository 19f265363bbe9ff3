"""What nobody has measured about a wash: its unknowns, their bands, and draws from them.

An unknown is a factor on one of the scenario's own numbers. Its band, from the tables, is read as
the 5th, 50th and 95th percentile of a log-normal with a width of its own on either side of the
middle. A draw is worked out from a standard normal number z per unknown, so that independent
draws, quantiles and fits all speak of the same z.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from washsim import tables
from washsim.engine.space import Array
from washsim.fields import default_of
from washsim.learnt import Learnt
from washsim.recipes import Aid, Running
from washsim.scenario import Scenario
from washsim.tables import Datum
from washsim.vessels import Vessel

FIFTH = 1.6448536269514722
"""z of the 95th percentile of the standard normal (scipy.stats.norm.ppf(0.95))."""
FARTHEST = 2.5
"""|z| beyond which draws are held back: one in eighty; bands are not known any further out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """A factor on a number of the scenario: its band, and the datum the band comes from.

    low, high: factor at the 5th and 95th percentile; the median is 1.
    """

    name: str
    label: str
    low: float
    high: float
    datum: Datum

    def factor(self, z: Array) -> Array:
        """The factor at standard normal z, any shape."""
        z = np.clip(z, -FARTHEST, FARTHEST)
        width = np.where(z < 0, -np.log(self.low), np.log(self.high)) / FIFTH
        return np.exp(width * z)

    def factors(self, z: Array) -> dict[str, Array]:
        """The factor by name at standard normal z (M,)."""
        return {self.name: self.factor(z)}

    @property
    def ends(self) -> tuple[str, str]:
        """The ends of the band in words."""
        return f"×{self.low:.2g}", f"×{self.high:.2g}"


@dataclass(frozen=True, slots=True, kw_only=True)
class LearntPaper:
    """A paper that readings taught of: which of the draws it is, by one standard normal z.

    The draws stand in order of how well they wash; z goes through them evenly.
    """

    learnt: Learnt
    name: str = "paper"
    label: str = "the paper, as learnt"
    ends: tuple[str, str] = ("as one that washes well", "as one that washes badly")

    def factors(self, z: Array) -> dict[str, Array]:
        """Factors by name, over those of the draw in the middle, at standard normal z (M,)."""
        from scipy.special import ndtr  # slow to import, and a plain run needs none of it

        found = {}
        for name, each in self.learnt.factors.items():
            which = np.minimum((ndtr(z) * len(each)).astype(int), len(each) - 1)
            found[name] = each[which] / self.learnt.middle(name)
        return found


Known = Unknown | LearntPaper
"""What is unknown of a scenario, each with one z."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """M sets of factors (M,) by the unknown's name; an unknown that is left out stays at 1."""

    members: int
    factors: Mapping[str, Array] = field(default_factory=dict)

    def of(self, name: str) -> Array:
        """(M,) factors of an unknown."""
        found = self.factors.get(name)
        return np.ones(self.members) if found is None else found

    def part(self, which: slice | Array) -> Sample:
        """Some of the members."""
        factors = {name: values[which] for name, values in self.factors.items()}
        members = len(np.arange(self.members)[which])
        return Sample(members=members, factors=factors)


NOMINAL = Sample(members=1)
"""The scenario as it stands."""


def sample(unknowns: tuple[Known, ...], z: Array) -> Sample:
    """Factors of the unknowns at standard normal z (M, k), in their order."""
    factors: dict[str, Array] = {}
    for i, one in enumerate(unknowns):
        factors |= one.factors(z[:, i])
    return Sample(members=len(z), factors=factors)


def latent(unknowns: tuple[Known, ...], count: int, seed: int = 1) -> Array:
    """(count, k) standard normal z, evenly spread (scrambled Sobol points; count a power of 2)."""
    from scipy.stats import norm, qmc  # slow to import, and a plain run needs none of it

    if not unknowns:
        return np.zeros((count, 0))
    points = qmc.Sobol(len(unknowns), rng=np.random.default_rng(seed)).random(count)
    return norm.ppf(np.clip(points, 1e-9, 1 - 1e-9))


def draw(scenario: Scenario, count: int = 256, seed: int = 1) -> Sample:
    """Draws from the bands of everything unknown in a scenario; count a power of 2."""
    known = unknowns(scenario)
    return sample(known, latent(known, count, seed))


def draw_together(
    scenarios: Sequence[Scenario], count: int = 256, seed: int = 1
) -> tuple[Sample, ...]:
    """Draws for each scenario that agree in whatever is unknown in several; count a power of 2.

    Draw for draw it is the same paper and the same hand, so that differences are those of the ways.
    """
    known = [unknowns(one) for one in scenarios]
    every = {one.name: one for ones in known for one in ones}
    columns = {name: column for column, name in enumerate(every)}
    z = latent(tuple(every.values()), count, seed)
    return tuple(sample(ones, z[:, [columns[one.name] for one in ones]]) for ones in known)


def unknowns(scenario: Scenario) -> tuple[Known, ...]:
    """What is not measured in this scenario; what the user states is taken as said.

    Of a paper that readings taught of, its numbers go together, as one.
    """
    return _Finder(scenario).found


class _Finder:
    """Goes through a scenario and notes what rests on a band of the tables."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.names: dict[str, Known] = {}
        learnt = scenario.sheet.known
        self.learnt = frozenset(() if learnt is None else learnt.factors)
        if learnt is not None:
            self.names["paper"] = LearntPaper(learnt=learnt)
        self.paper()
        self.fixer()
        self.sink()

    @property
    def found(self) -> tuple[Known, ...]:
        return tuple(self.names.values())

    @cached_property
    def vessels(self) -> list[Vessel]:
        """Those that the steps use."""
        used = {getattr(step, "vessel", None) for step in self.scenario.steps}
        return [vessel for vessel in self.scenario.vessels if vessel.name in used]

    def add(self, name: str, label: str, path: str) -> None:
        datum = tables.datum(path)
        # a number that is zero or known to a twentieth either way makes no band worth showing
        if name not in self.learnt and datum.value > 0 and datum.high / datum.low > 1.1:
            low, high = datum.low / datum.value, datum.high / datum.value
            self.names[name] = Unknown(name=name, label=label, low=low, high=high, datum=datum)

    def paper(self) -> None:
        """Layers and held pool. Linear retention hides in the hindrance: only their ratio shows."""
        sheet = self.scenario.sheet
        explained = f"papers.explanation.{sheet.explanation}"
        for layer in sheet.material.layers:
            ours = sheet.explanation != "own" and layer.name == "base"
            for key in ("thickness", "porosity", "hindrance"):
                path = f"papers.{sheet.paper}.layer.{layer.name}.{key}"
                if key == "hindrance" and ours:
                    path = f"{explained}.base_hindrance"
                elif sheet.paper == "own":
                    continue
                self.add(f"{layer.name}.{key}", f"{key} of the {layer.name}", path)
        if sheet.explanation != "own" and self.holding:
            self.add("held_pool", "fixer that the paper holds", f"{explained}.pool")
            half_life = f"{explained}.release_half_life"
            self.add("release", "half-life of held fixer", half_life)
            if "saturation" in tables.entry(explained):
                label = "strength that half fills what holds fixer"
                self.add("saturation", label, f"{explained}.saturation")

    @cached_property
    def holding(self) -> bool:
        return any(layer.retention > 0 for layer in self.scenario.sheet.material.layers)

    def fixer(self) -> None:
        fixing = self.scenario.fixing
        if fixing.thiosulfate is None and fixing.stock is None:
            path = f"liquids.fixer.{fixing.fixer}.stock"
            self.add("stock", "thiosulfate in the concentrate", path)
        if fixing.diffusivity is None:
            path = f"liquids.salt.{fixing.salt}.concentration_factor"
            self.add("fixer_diffusivity", "diffusion in the strong fixer", path)
        if self.holding:
            path = "liquids.fixer.fill_half_time"
            self.add("filling", "time in which the held pool fills", path)
        self.film(fixing.stirring)

    def sink(self) -> None:
        """Films, what clings to a lifted sheet, exchange of running water, sulfite."""
        for vessel in self.vessels:
            if vessel.film is None:
                self.film(vessel.stirring)
            if vessel.lying == "floor":
                self.add("pool_depth", "water beneath a sheet on the floor", "liquids.pool.depth")
                if vessel.stirring != "still":
                    path = "liquids.pool.rocked"
                    self.add("pool_rocked", "time in which rocking renews it", path)
            if vessel.dead_fraction > 0 and vessel.dead_exchange == default_of(
                Vessel, "dead_exchange"
            ):
                path = "limits.caution.dead_part_exchange"
                self.add("dead_exchange", "exchange with the dead water", path)
        handling = self.scenario.handling
        if handling.carry_over is None:
            # the datum nearest to the time that sheets drain
            key = "s0" if handling.drain < 5 else "s10" if handling.drain < 20 else "s30"
            path = f"liquids.film_after_drain.{key}"
            self.add("carry_over", "water that clings to a lifted sheet", path)
        if any(isinstance(step, Running) for step in self.scenario.steps):
            self.add("exchange", "share of the flow that renews the water", "limits.exchange.doubt")
        if self.holding and any(isinstance(step, Aid) for step in self.scenario.steps):
            path = "liquids.water.sulfite.release_half_life"
            self.add("aid", "half-life of held fixer in the wash aid", path)

    def film(self, stirring: str) -> None:
        shuffled = stirring == "shuffled"
        path = "liquids.pile.between" if shuffled else f"liquids.stirring.{stirring}.film"
        if stirring == "still":
            path = "liquids.convection.doubt"
        self.add(f"film.{stirring}", f"still film with stirring '{stirring}'", path)
