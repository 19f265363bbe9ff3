"""Sheets and their layers as the printer knows them.

Amounts are those of the thiosulfate ion, kg; concentrations kg/m3 (numerically g/L).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

from washsim import tables
from washsim.errors import InputError
from washsim.fields import check, choice, part, quantity, text
from washsim.learnt import Learnt

PAPERS = ("fibre_double", "fibre_single", "resin_coated")
EXPLANATIONS = ("slow", "held", "both", "saturating", "own")


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
