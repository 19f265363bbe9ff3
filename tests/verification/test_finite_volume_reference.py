"""The finite-volume reference agrees with the closed forms and with the digits of a second script.

The model is second order in space, so N and 2N cells extrapolate to fourth order; what is left then is LSODA at
rtol 1e-9. Tolerances are set from these two.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import linalg, sparse

from tests.references import cases, closed_forms, finite_volume, layered
from tests.references.finite_volume import Phase, Vessel

source = pytest.mark.source


@source("transfer-matrix roots against eigenvalues of the finite-volume matrix")
@pytest.mark.parametrize(
    ("front", "back", "flow"),
    [(3e-6, 3e-6, 0.0), (3e-6, 0.0, 0.0), (0.0, 2e-6, 1e-4), (math.inf, 5e-7, 1e-3)],
)
def test_bath_rates_against_matrix(front: float, back: float, flow: float) -> None:
    sheet, area, per_area = cases.three_layers(cells=(10, 10, 60)), 0.7, 5e-3
    phase = Phase(
        duration=1.0,
        bath=Vessel(volume=per_area * area, flow=flow * area),
        diffusivity=0.9888e-9,
        film_front=front,
        film_back=back,
    )
    spectra = []
    for mesh in (sheet, sheet.refined()):
        matrix, _ = finite_volume.rate_matrix(mesh, phase, area, per_area * area)
        keep = [finite_volume.WATER, *finite_volume.cell_places(mesh.widths.size)]
        values = np.sort(
            -np.linalg.eigvals(sparse.csr_matrix(matrix).toarray()[np.ix_(keep, keep)]).real
        )
        spectra.append(values[values > 1e-9][:6])
    exact = layered.bath_decay_rates(
        sheet.layers, front, back, 0.9888e-9, 6, volume_per_area=per_area, flow_per_area=flow
    )
    found = [finite_volume.richardson(*pair) for pair in zip(*spectra, strict=True)]
    # sixth mode: 60 cells, error (k dx)^4 after extrapolation
    assert found == pytest.approx([float(r) for r in exact], rel=2e-5, abs=0.0)


@source("Crank 1975 eq. 4.18, against the finite volumes")
def test_finite_volumes_slab() -> None:
    ends = []
    for cells in (50, 100, 200):
        phases = [
            cases.fixing(300.0),
            Phase(duration=1800.0, bath=0.0, diffusivity=cases.PORE_DIFFUSIVITY),
        ]
        ends.append(finite_volume.run(cases.slab(cells), phases).residual[-1])
    exact = cases.FULL_LOAD * closed_forms.slab_fixed_then_washed(
        cases.in_slab_time(300), cases.in_slab_time(1800)
    )
    errors = [abs(end - exact) for end in ends]
    assert [math.log2(a / b) for a, b in itertools.pairwise(errors)] == pytest.approx(
        [2.0, 2.0], abs=0.02
    )
    assert finite_volume.richardson(*ends[1:]) == pytest.approx(exact, rel=2e-7, abs=0.0)


@source("Crank 1975 eq. 4.18 mirrored, against the finite volumes")
def test_finite_volumes_one_face() -> None:
    wash = Phase(duration=3600.0, bath=0.0, diffusivity=cases.PORE_DIFFUSIVITY, film_back=0.0)
    ends = [
        finite_volume.run(cases.slab(n), [cases.fixing(300.0), wash]).residual[-1]
        for n in (100, 200)
    ]
    exact = cases.FULL_LOAD * closed_forms.slab_one_face_washed(
        cases.in_slab_time(300), cases.in_slab_time(3600)
    )
    assert finite_volume.richardson(*ends) == pytest.approx(exact, rel=1e-7, abs=0.0)


@source("Crank 1975 eq. 4.37, against the finite volumes")
@pytest.mark.parametrize("alpha", [1.0, 9.0])
def test_finite_volumes_limited_bath(alpha: float) -> None:
    area, seconds = 0.7, 0.5 * (cases.THICKNESS / 2) ** 2 / cases.PORE_DIFFUSIVITY  # tau = 0.5
    # load to equilibrium (tau 30 leaves e^-74), then a closed bath without film
    volume = alpha * layered.holdup(cases.slab().layers) * area
    bath = Phase(duration=seconds, bath=Vessel(volume=volume), diffusivity=cases.PORE_DIFFUSIVITY)
    phases = [cases.fixing(60 * seconds), bath]
    ends = [finite_volume.run(cases.slab(n), phases, area=area).residual[-1] for n in (100, 200)]
    released = closed_forms.limited_bath_uptake(alpha, 0.5) * alpha / (1 + alpha)
    assert finite_volume.richardson(*ends) == pytest.approx(
        cases.FULL_LOAD * (1 - released), rel=1e-7, abs=0.0
    )


@source("Crank 1975 ch. 14, first-order reversible reaction, against the finite volumes")
def test_finite_volumes_held_fixer() -> None:
    held, release = 0.15, math.log(2.0) / 600.0
    layer = layered.Layer(
        thickness=cases.THICKNESS, porosity=0.25 / 0.35, hindrance=1.0, held=held, release=release
    )
    wash = Phase(duration=1800.0, bath=0.0, diffusivity=cases.PORE_DIFFUSIVITY)
    mobile, bound = closed_forms.slab_with_release(
        300.0,
        1800.0,
        thickness=cases.THICKNESS,
        porosity=layer.porosity,
        pore_diffusivity=cases.PORE_DIFFUSIVITY,
        held=held,
        release=release,
    )
    ends = []
    for cells in (100, 200):
        sheet = finite_volume.FiniteVolumeSheet(layers=(layer,), cells=(cells,))
        ends.append(finite_volume.run(sheet, [cases.fixing(300.0), wash]))
    both = (ends[0].residual[-1], ends[1].residual[-1])
    in_pool = [
        float(h.held @ s)
        for h, s in zip(ends, (cases.slab(100).widths, cases.slab(200).widths), strict=True)
    ]
    assert finite_volume.richardson(*both) == pytest.approx(
        cases.FIXER * (mobile + bound), rel=1e-6, abs=0.0
    )
    assert finite_volume.richardson(*in_pool) == pytest.approx(
        cases.FIXER * bound, rel=1e-6, abs=0.0
    )


@source("quick release is retardation: porosity R = porosity + K; the project's working notes")
def test_quick_release_is_retardation() -> None:
    quick = closed_forms.slab_with_release(
        300.0,
        1800.0,
        thickness=cases.THICKNESS,
        porosity=0.7,
        pore_diffusivity=cases.PORE_DIFFUSIVITY,
        held=0.35,
        release=1e3,
    )
    slower = closed_forms.slab_fixed_then_washed(
        cases.in_slab_time(300) / 1.5, cases.in_slab_time(1800) / 1.5
    )
    # release is fast, not instant
    assert sum(quick) == pytest.approx(1.05 * cases.THICKNESS * slower, rel=1e-5, abs=0.0)


@source("transfer-matrix rate of sheet and running bath, against the finite volumes' late decay")
def test_finite_volumes_running_tail() -> None:
    area, sheet = 0.7, cases.three_layers()
    vessel = Vessel(volume=5e-3, flow=5e-5, efficiency=0.6)
    phase = Phase(
        duration=5400.0, bath=vessel, diffusivity=0.9888e-9, film_front=3e-6, film_back=5e-7
    )
    load = Phase(duration=300.0, bath=967.0, diffusivity=0.9888e-9)
    slopes = []
    for mesh in (sheet, sheet.refined()):
        history = finite_volume.run(mesh, [load, phase], area=area)
        late = history.time > 3900.0
        slopes.append(-np.polyfit(history.time[late], np.log(history.residual[late]), 1)[0])
    exact = layered.bath_decay_rates(
        sheet.layers,
        3e-6,
        5e-7,
        0.9888e-9,
        1,
        volume_per_area=5e-3 / area,
        flow_per_area=3e-5 / area,
    )[0]
    assert finite_volume.richardson(*slopes) == pytest.approx(float(exact), rel=1e-6, abs=0.0)


@source("first-order release: a covered sheet whose retention is switched off, exp(-k t)")
def test_finite_volumes_retention_switched_off() -> None:
    held = layered.Layer(thickness=1e-4, porosity=0.7, hindrance=1.0, held=0.2, release=1e-2)
    freed = layered.Layer(thickness=1e-4, porosity=0.7, hindrance=1.0, held=0.0, release=5e-3)
    sheet = finite_volume.FiniteVolumeSheet(layers=(held,), cells=(20,))
    soak = Phase(duration=36000.0, bath=1000.0, diffusivity=1e-10)
    covered = Phase(
        duration=300.0, bath=0.0, diffusivity=1e-10, film_front=0.0, film_back=0.0, layers=(freed,)
    )
    history = finite_volume.run(sheet, [soak, covered])
    assert history.held == pytest.approx(200.0 * math.exp(-1.5), rel=1e-7, abs=0.0)
    assert history.residual[-1] == pytest.approx(0.9 * 1000.0 * 1e-4, rel=1e-9, abs=0.0)


@source(
    "stirred tank exp(-q t / V), and two exchanging pools by the matrix exponential (scipy.linalg.expm)"
)
@pytest.mark.parametrize(("dead", "dead_time"), [(0.0, math.inf), (0.3, 400.0)])
def test_finite_volumes_vessel_alone(dead: float, dead_time: float) -> None:
    # the film of one sheet, its faces then covered, is all the fixer in 5 L running at 2 L/min, 60 % used
    vessel = Vessel(volume=5e-3, flow=2e-3 / 60, efficiency=0.6, dead=dead, dead_time=dead_time)
    wash = Phase(
        duration=600.0, bath=vessel, diffusivity=1e-11, film_front=0.0, film_back=0.0, carry=50e-6
    )
    history = finite_volume.run(cases.slab(10), [cases.fixing(60.0), wash])
    volume, swap = 5.05e-3, 0.6 * 2e-3 / 60
    into_dead = 0.0 if dead == 0.0 else 1.0 / dead_time
    from_live = into_dead * dead / (1.0 - dead)
    pools = np.array(
        [[-swap / (1.0 - dead) / volume - from_live, from_live], [into_dead, -into_dead]]
    )
    start = cases.FIXER * 50e-6 / volume
    assert history.water[-1] == pytest.approx(
        (linalg.expm(600.0 * pools) @ [start, start])[0], rel=1e-7, abs=0.0
    )
    if dead == 0.0:
        left = closed_forms.stirred_tank(swap, volume, 600.0)
        assert history.water[-1] == pytest.approx(start * left, rel=1e-7, abs=0.0)
    assert history.time_below(cases.FIXER) == 0.0
    assert math.isnan(history.time_below(1.0, history.starts[1]))


@source("conservation of matter; ideal mixing as the long-time limit, closed_forms.puddle_changes")
def test_finite_volumes_ledger_and_floor() -> None:
    held = 0.25e-3 * cases.BATCH_AREA
    phases = [
        cases.fixing(9e4),
        *(
            cases.washing(900.0, Vessel(volume=10e-3, puddle=1e-3, dead=0.2, dead_time=600.0))
            for _ in range(2)
        ),
    ]
    history = finite_volume.run(cases.slab(50), phases, area=cases.BATCH_AREA, every=600.0)
    ideal = cases.FULL_LOAD * closed_forms.puddle_changes(held, 10e-3, 1e-3, 2)
    assert history.residual[-1] == pytest.approx(ideal, rel=1e-7, abs=0.0)
    film = Phase(
        duration=600.0,
        bath=Vessel(volume=2e-3, flow=2e-5, inflow=3.0, tray="next", dead=0.1, dead_time=60.0),
        diffusivity=cases.PORE_DIFFUSIVITY,
        film_front=1e-5,
        film_back=1e-6,
        carry=60e-6,
    )
    back = Phase(duration=60.0, bath=cases.FIXER, diffusivity=cases.PORE_DIFFUSIVITY, carry=60e-6)
    again = finite_volume.run(
        cases.slab(50), [*phases, film, back], area=cases.BATCH_AREA, every=600.0
    )
    # LSODA keeps the linear invariant to rounding; the scale is the whole load of the batch
    assert abs(again.imbalance) < 1e-11 * cases.FULL_LOAD * cases.BATCH_AREA
    share = 60e-6 / (
        10e-3 + 60e-6
    )  # share of the fixer's strength that 60 mL/m2 of film gives 10 L under 1 m2
    for carry, strength in ((0.0, 0.0), (60e-6, share)):
        rinse = Phase(
            duration=5.0, bath=Vessel(volume=10e-3), diffusivity=cases.PORE_DIFFUSIVITY, carry=carry
        )
        rinsed = finite_volume.run(cases.slab(50), [cases.fixing(300.0), rinse])
        assert rinsed.water[rinsed.starts[1]] == pytest.approx(
            cases.FIXER * strength, rel=1e-14, abs=0.0
        )


@source(
    "the project's working notes, coupled slab mode: three digits of a second script, 200 cells, exact in time"
)
@pytest.mark.parametrize(
    ("washes", "residual"),
    [
        (cases.running(20.0, 4.0, 60.0), 0.00241),
        (cases.running(20.0, 1.0, 60.0), 0.0157),
        # those 4 L count the 0.3 L puddle: 3.7 L are poured on it (4 L poured give 0.00373)
        (cases.changes(3.7, [10.0] * 6, puddle_litres=0.3), 0.00393),
    ],
    ids=["running-4", "running-1", "six-changes"],
)
def test_coupled_slab_mode(washes: list[Phase], residual: float) -> None:
    ends = [cases.coupled(washes, cells, every=60.0).residual[-1] for cells in (100, 200)]
    # half a unit of the third digit
    assert finite_volume.richardson(*ends) == pytest.approx(residual, rel=2.5e-3, abs=0.0)
