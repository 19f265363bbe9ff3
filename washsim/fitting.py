"""From readings to what nobody had measured: the posterior of a scenario's unknowns.

Each unknown has a standard normal z before any reading (washsim.unknowns). A reading is a residual
times a log-normal error: its own, and that of the stain scale, which all drops of an evening
share. What lies between two steps, below the first or above the last counts as exactly that, by
the normal's integral. Draws of the posterior make a Sample like any other, so every band that can
be computed from the tables can be computed from the readings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from washsim import tables, unknowns
from washsim.band import ends, farthest, nodes_for, observe
from washsim.engine.space import Array
from washsim.errors import InputError
from washsim.foretelling import log_likelihood, predict
from washsim.learnt import DRAWS as LEARNT
from washsim.learnt import OF_WHOLE, Learnt, Number
from washsim.observing import Observation
from washsim.run import Run
from washsim.scenario import Scenario
from washsim.solve import Nodes, ladder
from washsim.tempering import Cloud, tempered
from washsim.unknowns import NOMINAL, Known, Sample, Unknown
from washsim.weighing import weighed

DRAWS = 256
_TOLD, _MOVED = 0.9, 0.25
"""A number counts as told by the readings if its spread falls below the one, or its middle moves
by more than the other, in standard deviations of its band."""
_LEAST = 1e-9
"""kg/m2 (or kg/m3) below which the model's residual counts as this: a thousandth of a mg/m2."""


@dataclass(frozen=True)
class Belief:
    """What is thought of unknowns, by name: a normal distribution of their z."""

    names: tuple[str, ...]
    mean: Array
    covariance: Array

    def about(self, names: tuple[str, ...]) -> Belief:
        """The same about other names: known ones in their order, new ones standard normal."""
        mean, covariance = np.zeros(len(names)), np.eye(len(names))
        old = [self.names.index(name) for name in names if name in self.names]
        new = [i for i, name in enumerate(names) if name in self.names]
        mean[new] = self.mean[old]
        covariance[np.ix_(new, new)] = self.covariance[np.ix_(old, old)]
        return Belief(names, mean, covariance)

    def drifted(self, shares: Array) -> Belief:
        """After a while: z becomes sqrt(1 - d^2) z + d times a new standard normal, d (k,)."""
        stay = np.sqrt(1 - shares**2)
        moved = stay[:, None] * self.covariance * stay + np.diag(shares**2)
        return Belief(self.names, stay * self.mean, moved)

    @cached_property
    def root(self) -> Array:
        """(k, k) root of the covariance."""
        return np.asarray(
            np.linalg.cholesky(self.covariance + 1e-9 * np.eye(len(self.mean))), float
        )


@dataclass(frozen=True)
class Fit:
    """N equally weighted draws of the unknowns z (N, k), given n readings.

    predicted (N, n): what each draw says the readings should be, SI; before (n,): what the
    scenario as it stood said; log_evidence: how well the prior foretold the readings (ln of the
    mean likelihood); numerical_error: largest change of a prediction on refining once, over the
    draws farthest out, relative to it plus 1 mg/m2.
    """

    scenario: Scenario
    seen: tuple[Observation, ...]
    unknowns: tuple[Known, ...]
    z: Array
    predicted: Array
    before: Array
    log_evidence: float
    solves: int
    numerical_error: float

    @cached_property
    def sample(self) -> Sample:
        """The draws as factors, for `washsim.band.solve_band`."""
        return unknowns.sample(self.unknowns, self.z)

    @cached_property
    def belief(self) -> Belief:
        """The normal with the draws' mean and covariance."""
        names = tuple(one.name for one in self.unknowns)
        size = len(names)
        return Belief(names, self.z.mean(axis=0), np.cov(self.z.T).reshape(size, size))

    @cached_property
    def narrowed(self) -> dict[str, float]:
        """Of each unknown: spread of its z now over that before any reading, best known first."""
        spread = dict(zip(self.belief.names, self.z.std(axis=0), strict=True))
        return dict(sorted(spread.items(), key=lambda pair: pair[1]))

    @property
    def told(self) -> list[str]:
        """Names of the unknowns that narrowed or moved worth telling, best known first."""
        moved = dict(zip(self.belief.names, np.abs(self.belief.mean), strict=True))
        return [n for n, left in self.narrowed.items() if left < _TOLD or moved[n] > _MOVED]

    def factor(self, name: str, shares: tuple[float, ...] = (0.05, 0.5, 0.95)) -> Array:
        """(len(shares),) quantiles of an unknown's factor."""
        return np.quantile(self.sample.of(name), shares)


def free_layers(scenario: Scenario) -> tuple[Known, ...]:
    """The scenario's unknowns, and the hindrance of layers that the user described.

    A stated paper is taken as said when it is washed; readings may correct it. Its band is that
    of the base in the tables, up to free diffusion.
    """
    datum = tables.datum("papers.explanation.both.base_hindrance")
    found = list(unknowns.unknowns(scenario))
    known = {one.name for one in found}
    for layer in scenario.sheet.material.layers:
        name = f"{layer.name}.hindrance"
        high = min(datum.high / datum.value, 1 / layer.hindrance)
        if name not in known and high > 1.0:
            low = datum.low / datum.value
            label = f"hindrance of the {layer.name}"
            found.append(Unknown(name=name, label=label, low=low, high=high, datum=datum))
    return tuple(found)


def fit(
    scenario: Scenario,
    seen: tuple[Observation, ...],
    *,
    free: tuple[Known, ...] | None = None,
    belief: Belief | None = None,
    draws: int = DRAWS,
    seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Fit:
    """Draws of the scenario's unknowns (or those named free) that agree with what was seen.

    belief: what is thought of them before; else the bands of the tables, whatever the sheet carries
    as learnt. draws: a power of 2. progress is called with the share done, 0 to 1. The same seed
    gives the same draws.
    """
    if not seen:
        raise InputError("readings: expected at least one, got none")
    scenario = untold(scenario)
    free = free_layers(scenario) if free is None else free
    names = tuple(one.name for one in free)
    if not free:
        raise InputError("fit: this scenario leaves nothing unknown that a reading could tell")
    start = Belief(names, np.zeros(len(names)), np.eye(len(names)))
    prior = start if belief is None else belief.about(names)

    def look(run: Run) -> Array:
        return np.maximum(predict(run, seen), _LEAST)

    def likelihood(u: Array) -> tuple[Array, Array]:
        z = prior.mean + u @ prior.root.T
        logs = np.log(observe(scenario, unknowns.sample(free, z), look, nodes))
        return log_likelihood(logs, seen), logs

    u = unknowns.latent(free, draws, seed)
    wide = unknowns.sample(free, prior.mean + u @ prior.root.T)
    nodes, _ = nodes_for(scenario, wide, see=look)
    errors = np.array([np.hypot(one.own, one.shared) for one in seen])
    try:
        cloud = _led(u, likelihood, errors, np.random.default_rng(seed), progress)
    except ArithmeticError:
        raise InputError(
            "readings: expected some that the bands of the unknowns allow, got ones far outside; "
            "look for what is wrong with them, or with the scenario"
        ) from None
    z = prior.mean + cloud.draws @ prior.root.T
    sample = unknowns.sample(free, z)
    return Fit(
        scenario=scenario,
        seen=seen,
        unknowns=free,
        z=z,
        predicted=np.exp(cloud.seen),
        before=observe(scenario, NOMINAL, look, nodes)[0],
        log_evidence=cloud.log_evidence,
        solves=cloud.calls,
        numerical_error=_numerical_error(scenario, sample, look, nodes),
    )


def _led(
    start: Array,
    likelihood: Callable[[Array], tuple[Array, Array]],
    errors: Array,
    rng: np.random.Generator,
    progress: Callable[[float], None] | None,
) -> Cloud:
    """By weighing, or where many exact readings leave too little to hit, by tempering."""
    tell = progress or (lambda share: None)
    cloud = weighed(start, likelihood, errors, rng, lambda share: tell(0.5 * share))
    if cloud is None:
        cloud = tempered(start, likelihood, rng, lambda share: tell(0.5 + 0.5 * share))
    tell(1.0)
    return cloud


def _numerical_error(
    scenario: Scenario, sample: Sample, look: Callable[[Run], Array], nodes: Nodes
) -> float:
    """Largest change of what is seen of the draws farthest out, on refining once."""
    rungs = ladder(scenario.settings.nodes, scenario.sheet.material, rough=True)
    finer = rungs[rungs.index(nodes) + 1 :] if nodes in rungs else []
    if not finer:
        return 0.0
    extreme = sample.part(farthest(sample))
    coarse, fine = (observe(scenario, extreme, look, rung) for rung in (nodes, finer[0]))
    return float(np.max(np.abs(coarse - fine) / (fine + 1e-6)))


def effective_diffusivity(scenario: Scenario, sample: Sample) -> Array:
    """(M,) m2/s: of one even layer, as thick as the scenario's sheet, that would wash as fast.

    Thickness^2 over (what the layers hold per concentration) times (their resistance in a row),
    at the temperature of the wash. Held fixer is not counted, nor the film. Exact for one layer;
    of several, a figure to compare by.
    """
    free = scenario.water.free_diffusivity(scenario.water.temperature)
    storage, resistance = np.zeros(sample.members), np.zeros(sample.members)
    layers = scenario.sheet.material.layers
    for layer in layers:

        def of(name: str, layer=layer) -> Array:  # type: ignore[no-untyped-def]
            return getattr(layer, name) * sample.of(f"{layer.name}.{name}")

        thickness, porosity = of("thickness"), of("porosity")
        storage += thickness * porosity * layer.retardation
        resistance += thickness / (porosity * of("hindrance") * free)
    return sum(layer.thickness for layer in layers) ** 2 / (storage * resistance)


def untold(scenario: Scenario) -> Scenario:
    """The scenario without what its sheet carries as learnt: fits begin from the tables, or from a
    belief, as the same drops would count twice."""
    return replace(scenario, sheet=replace(scenario.sheet, learnt=None))


def fitted_scenario(found: Fit) -> Scenario:
    """The scenario with its paper as learnt: as it stands the middle one of draws, all in its band.

    What was learnt of the sink is left to the tables' bands: the next evening may have another.
    """
    scenario = found.scenario
    layers = {layer.name for layer in scenario.sheet.material.layers}
    names = [
        one.name
        for one in found.unknowns
        if one.name in OF_WHOLE or one.name.rpartition(".")[0] in layers
    ]
    if not names:
        return scenario
    thinned = found.sample.part(np.linspace(0, len(found.z) - 1, LEARNT).round().astype(int))
    paper = Sample(
        members=LEARNT,
        factors={name: np.array([float(f"{x:.3g}") for x in thinned.of(name)]) for name in names},
    )
    nodes, _ = nodes_for(scenario, paper)
    order = np.argsort(observe(scenario, paper, ends, nodes).max(axis=1), kind="stable")
    numbers = tuple(
        Number(name=name, factors=" ".join(f"{x:.3g}" for x in paper.of(name)[order]))
        for name in names
    )
    count = len(found.seen)
    learnt = Learnt(
        paper=scenario.sheet.paper,
        explanation=scenario.sheet.explanation,
        basis=f"{count} reading{'s' if count > 1 else ''}",
        numbers=numbers,
    )
    return replace(scenario, sheet=replace(scenario.sheet, learnt=learnt))
