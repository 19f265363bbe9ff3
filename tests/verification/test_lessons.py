"""Each lesson's key figure against a closed form, another solver or an invariant; one test a lesson."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from ht import conv_free_immersed as ht
from scipy import integrate, optimize

from tests.references import cases, closed_forms, finite_volume, multi_sheet
from tests.references.layered import Layer
from washsim import currents, lessons, tables
from washsim.liquids import density, viscosity
from washsim.units import celsius
from washsim.vessels import Water

source = pytest.mark.source
HELD = 0.25  # L/m2, liquid in the text-book sheet
SHEET = cases.SHEET_AREA
FULL = cases.FULL_LOAD
TARGET = cases.TARGET
CLEAN = 5e-4
"""Relative. 2000 L renewed each minute are clean water but for a backlog of 2e-4, see the stories."""
SECOND = 1 / 60
"""Minutes. What a log-linear reading between the finite volumes' 5 s outputs may be off is far less;
their 200 cells are good to 3e-4 of a residual, 0.1 s here."""


def figures(name: str) -> dict[str, float]:
    return dict(lessons.answer(name).figures)


def minutes(name: str) -> dict[str, float | None]:
    return {run: found.minutes_to_target for run, found in lessons.answer(name).results.items()}


def clean_minutes(fix_s: float, faces: int = 2) -> float:
    """Minutes to the target of the text-book sheet in clean water, Crank eq. 4.18."""
    scaled = closed_forms.time_to_fraction(TARGET / FULL, cases.in_slab_time(fix_s), faces)
    return scaled / cases.in_slab_time(60.0)


def root(left: Callable[[float], float], target: float, low: float, high: float) -> float:
    """Minutes at which left(seconds) falls to the target."""
    return (
        optimize.brentq(lambda t: math.log(left(t) / target), 60 * low, 60 * high, xtol=1e-9) / 60
    )


@source("derived: the list of lessons")
def test_every_lesson_has_a_check_here():
    tested = {name.removeprefix("test_lesson_") for name in globals() if "test_lesson_" in name}
    assert tested == set(lessons.names())


@source("another solver: finite volumes, tests/references; invariant: more water never harms")
def test_lesson_stream():
    found = minutes("stream")
    for run, flow in {"A": 4, "B": 10, "C": 1}.items():
        other = cases.coupled(cases.running(20, flow, 90))
        assert found[run] == pytest.approx(cases.minutes_to(other), abs=SECOND)
    still = cases.coupled(cases.changes(4, [15] * 6))
    assert found["D"] == pytest.approx(cases.minutes_to(still), abs=SECOND)
    # no flow beats clean water at bare faces
    assert clean_minutes(300) < found["B"] < found["A"] < found["C"]


@source("law of equilibrium washing, Hickman and Spencer 1922 as quoted in reviews: (1 + E)^-n")
def test_lesson_one_litre():
    found = figures("one_litre")
    left = [FULL * closed_forms.cross_current(1 / n / (HELD * SHEET), n) for n in (1, 2, 3, 4)]
    for name, expected in zip(("one", "two", "three", "four"), left, strict=True):
        # a quarter of an hour leaves nothing to balance that floats could show
        assert found[name] == pytest.approx(expected, rel=1e-6)
    assert lessons.answer("one_litre").number == pytest.approx(left[0] / left[3], rel=1e-6)


@source("derived: fixer shared evenly over all liquid, load held / (held + water)")
def test_lesson_strip():
    found = figures("strip")
    for name, area in {"strip": 0.005, "batch": 14 * SHEET}.items():
        held = HELD * area
        assert found[name] == pytest.approx(FULL * held / (held + 5), rel=1e-6)
    assert lessons.answer("strip").choice == 3


@source("another solver: multi_sheet, even grid and Radau; invariant: exchange goes both ways")
def test_lesson_guest():
    found = figures("guest")
    before, peak = guest_by_radau()
    # 120 even intervals, second order: 1e-4 of a residual by halving them
    assert found["before"] == pytest.approx(before, rel=5e-4)
    # the highest of outputs 10 s apart lies below the true top by less than this
    assert found["peak"] == pytest.approx(peak, rel=5e-4)
    # never above what all the guest's fixer in the water at once could give
    bound = HELD * FULL * SHEET / 10
    assert found["before"] < found["rinsed"] < found["peak"] < found["before"] + bound


def guest_by_radau() -> tuple[float, float]:
    """Residual of a washed sheet when the guest comes, and its highest afterwards, g/m2."""
    layer = Layer(thickness=cases.THICKNESS, porosity=HELD * 1e-3 / cases.THICKNESS, hindrance=1.0)
    fixer = multi_sheet.Tub(volume=math.inf, diffusivity=3e-11, film=0.1, concentration=100e3)
    tray = multi_sheet.Tub(volume=10e-3, diffusivity=3e-11, film=cases.FILM, flow=2e-3 / 60)
    seven, guest = (
        multi_sheet.Print(layers=(layer,), intervals=(120,), area=area)
        for area in (7 * SHEET, SHEET)
    )
    bench = multi_sheet.Bench([seven, guest], [fixer, tray])
    bench.place(0, 0)
    bench.run(300)
    bench.lift(0, 0.0)
    bench.place(0, 1)
    bench.run(75 * 60 - 300)
    bench.place(1, 0)
    bench.run(300)
    bench.lift(1, 0.0)
    bench.place(1, 1)
    before = seven.residual
    seen = []
    for _ in range(180):
        bench.run(10)
        seen.append(seven.residual)
    return before, max(seen)


@source(
    "Crank 1975 eq. 4.53 (slab behind surface films); ht's McAdams and Churchill and Chu on finite "
    "differences by SciPy's LSODA"
)
def test_lesson_sink():
    found = figures("sink")
    film = tables.datum("liquids.stirring.rocking.film").si
    # the tub's own floor, 1.6e-4 g/m2, is allowed for; the rest is its slow filling
    expected = soaked_in_films(film, cases.THICKNESS / 2)
    assert found["rocked"] == pytest.approx(expected, rel=5e-4)
    hung, free = soaked_in_currents("hanging")
    level, _ = soaked_in_currents("face_down")
    # from the grid: a fall in residual of 1e-3 is 5e-5 of the time, the films' kinks more
    assert [found["hung"], found["level"]] == pytest.approx([hung, level], rel=3e-4)
    assert found["free"] == pytest.approx(free, rel=2e-3)
    assert lessons.answer("sink").choice == 2


def soaked_in_currents(lying: str) -> tuple[float, float]:
    """Minutes to the target of a soaked sheet in still water, and what is left after an hour.

    On 160 even intervals, whose faces are nodes; 2000 L stay clear but for their floor.
    """
    warm, intervals = celsius(20), 160
    porosity, dx = HELD * 1e-3 / cases.THICKNESS, cases.THICKNESS / intervals
    uneven = currents.uneven_excess("ammonium", warm)
    free, nu = Water().free_diffusivity(warm), viscosity(warm) / density(warm)
    width, height = 0.203, 0.254
    rim = width * height / (2 * (width + height))

    def flux(excess: float, way: str) -> float:
        length = height if way == "hangs" else rim
        strength = max(abs(excess), uneven)
        rayleigh = currents.rayleigh(strength, "ammonium", length, warm)
        if way == "hangs":
            sherwood = ht.Nu_vertical_plate_Churchill(nu / free, rayleigh * free / nu)
        elif way == "falls":
            sherwood = ht.Nu_horizontal_plate_McAdams(nu / free, rayleigh * free / nu, True)
        else:
            # above 1e10 the library returns the other law for this one
            sherwood = 0.27 * rayleigh**0.25
        return sherwood * free / length * excess

    ways = ("hangs", "hangs") if lying == "hanging" else ("falls", "stays")
    floor = FULL * SHEET / (HELD * SHEET + 2000)
    size = np.full(intervals + 1, porosity * dx)
    size[[0, -1]] /= 2

    def slope(_: float, c):
        flow = np.zeros(intervals + 2)
        flow[1:-1] = porosity * cases.PORE_DIFFUSIVITY / dx * (c[:-1] - c[1:])
        flow[0] = -flux(c[0] - floor, ways[0])
        flow[-1] = flux(c[-1] - floor, ways[1])
        return (flow[:-1] - flow[1:]) / size

    soaked, band = np.full(intervals + 1, FULL / HELD), {"lband": 1, "uband": 1}
    done = integrate.solve_ivp(
        slope, (0.0, 5400.0), soaked, "LSODA", dense_output=True, rtol=1e-7, atol=1e-9, **band
    )

    def left(seconds: float) -> float:
        return float(1e3 * size @ done.sol(seconds))

    return root(left, TARGET, 10, 89), left(3600.0)


def soaked_in_films(film: float, way: float) -> float:
    """Minutes to the target of a soaked sheet, longest way to a face `way`, in 2000 L."""
    porosity = HELD * 1e-3 / cases.THICKNESS
    biot = film * way / (porosity * cases.PORE_DIFFUSIVITY)
    floor = FULL * HELD * SHEET / (HELD * SHEET + 2000)

    def left(seconds: float) -> float:
        tau = cases.PORE_DIFFUSIVITY * seconds / way**2
        return (FULL - floor) * closed_forms.slab_film_remaining(biot, tau) + floor

    return root(left, TARGET, 10, 400)


@source("Crank 1975 eq. 4.18 and ch. 14 (diffusion with first-order release); IAPWS for the cold")
def test_lesson_suspects():
    found = minutes("suspects")
    cold = cases.viscosity_time_factor(celsius(7))
    slow, held = slow_minutes(), held_minutes()
    expected = {
        "A": slow,
        "B": held,
        "C": slow_minutes(thickness=2.0),
        "D": held_minutes(thickness=2.0),
        "E": cold * slow,
        "F": cold * held,
        "G": slow_minutes(strength=2.0),
        "H": held_minutes(strength=2.0),
    }
    for run, minute in expected.items():
        # the viscosity of another library is good to 1e-4 here
        assert found[run] == pytest.approx(minute, rel=1e-3 if run in "EF" else CLEAN)
    assert lessons.answer("suspects").choice == 0


SOAK = 7200.0


def slow_minutes(thickness: float = 1.0, strength: float = 1.0) -> float:
    square = thickness**2
    fraction = TARGET / (FULL * thickness * strength)
    scaled = closed_forms.time_to_fraction(fraction, cases.in_slab_time(SOAK) / square)
    return scaled * square / cases.in_slab_time(60.0)


def held_minutes(thickness: float = 1.0, strength: float = 1.0) -> float:
    length = thickness * cases.THICKNESS

    def left(seconds: float) -> float:
        # the soak is long enough to fill it whatever the rate, so one rate serves for both
        mobile, held = closed_forms.slab_with_release(
            50 * 3600.0,
            seconds,
            thickness=length,
            porosity=HELD * 1e-3 / cases.THICKNESS,
            pore_diffusivity=1.1e-9,
            held=0.11,
            release=math.log(2) / 360,
        )
        return strength * cases.FIXER * (mobile + held)

    return root(left, TARGET, 20, 120)


@source("Crank, The Mathematics of Diffusion, 2nd ed., 1975, eq. 4.18")
def test_lesson_minute_or_five():
    saved = clean_minutes(300) - clean_minutes(60)
    # each of the two times is good to CLEAN of a time constant of 6.9 min
    assert lessons.answer("minute_or_five").number == pytest.approx(saved, abs=0.01)
    found = figures("minute_or_five")
    for name, seconds in {"load_a": 60, "load_b": 300}.items():
        load = FULL * closed_forms.slab_fixed_then_washed(cases.in_slab_time(seconds), 0)
        assert found[name] == pytest.approx(load, rel=1e-4)
    halving = math.log(2) * cases.THICKNESS**2 / (math.pi**2 * cases.PORE_DIFFUSIVITY) / 60
    assert found["halving"] == pytest.approx(halving, rel=1e-3)


@source("IAPWS viscosity by the chemicals library; Crank 1975 eq. 4.18; D times viscosity over T")
def test_lesson_winter():
    found, factor = figures("winter"), cases.viscosity_time_factor(celsius(7))
    assert lessons.answer("winter").number == pytest.approx(factor, rel=1e-3)
    assert found["cold"] == pytest.approx(factor * clean_minutes(300), rel=1e-3)
    # litres x kg/L x kJ/kg/K x K; the litres counted by hand
    for name, litres in {"heat": 24, "heat_tap": 20 + 4 * 60}.items():
        assert found[name] == pytest.approx(litres * 0.9982 * 4.184 * 13 / 3600, rel=2e-3)


@source("derived from Crank 1975 eq. 4.17: a covered face is the mirror plane of a double sheet")
def test_lesson_covered():
    found = figures("covered")
    assert found["free"] == pytest.approx(clean_minutes(300), rel=CLEAN)
    assert found["covered"] == pytest.approx(clean_minutes(300, faces=1), rel=CLEAN)
    times = cases.in_slab_time(300), cases.in_slab_time(3600)
    one_face = FULL * closed_forms.slab_one_face_washed(*times)
    assert found["left"] == pytest.approx(one_face, rel=CLEAN)


@source("Crank 1975 eq. 4.18, late in the wash a single exponential")
def test_lesson_honest_test():
    late = 30 * 60 * math.pi**2 * cases.PORE_DIFFUSIVITY / cases.THICKNESS**2
    # half an hour of backlog in the tub, 2e-4 a time constant, beside the numerical error
    assert lessons.answer("honest_test").number == pytest.approx(math.exp(late), rel=2e-3)
    # the point of the lesson: none of them shows, even to the sharpest eye that is likely
    sharpest = tables.datum("limits.spot_test.visible_low").low
    assert figures("honest_test")["a"] < sharpest


@source("Kremser, Ind. Eng. Chem. 22, 1930; invariant: no water washes like clean water")
def test_lesson_bucket():
    found = figures("bucket")
    each = 1 / (HELD * SHEET)
    fresh = FULL * closed_forms.cross_current(each / 3, 3)
    passed = FULL * closed_forms.counter_current(each, 3)
    assert found["fresh"] == pytest.approx(fresh, rel=1e-6)
    # the tenth print comes within (1/78)^2 of the steady state; the series says 3e-6
    assert found["passed"] == pytest.approx(passed, rel=1e-4)
    for name, stays in {"four": 4, "seven": 7}.items():
        clean = closed_forms.slab_fixed_then_washed(
            cases.in_slab_time(300), cases.in_slab_time(stays * 8 * 60)
        )
        assert found[name] > FULL * clean


@source("Crank 1975 eq. 4.53 for the coated print; another solver, finite volumes, for the fibre")
def test_lesson_coated():
    found = minutes("coated")
    fixing = lessons.answer("coated").results["A"].scenario.fixing
    fixer, film = fixing.concentration, tables.datum("liquids.stirring.rocking.film").si
    target = 1e-3 * 14  # g/m2
    # coated: 25 um of emulsion, back sealed, full to the brim after two minutes; 10 s in the air
    biot = film * 25e-6 / (0.85 * 0.5 * cases.LAYER_FREE_DIFFUSIVITY)

    def left(seconds: float) -> float:
        tau = 0.5 * cases.LAYER_FREE_DIFFUSIVITY * seconds / 25e-6**2
        return 1e3 * 25e-6 * 0.85 * fixer * closed_forms.slab_film_remaining(biot, tau)

    assert found["A"] == pytest.approx(root(left, target, 0.2, 5) + 10 * SECOND, rel=1e-3)
    fibre = fibre_by_finite_volumes(1e3 * fixer, fixing.free_diffusivity, film)
    # 200 cells, second order: 1e-3 of a residual in the worst layer, 0.3 s
    assert found["B"] == pytest.approx(cases.minutes_to(fibre, target, phase=1), abs=SECOND)
    assert found["A"] < found["C"] < found["B"]


def fibre_by_finite_volumes(fixer: float, diffusivity: float, film: float) -> finite_volume.History:
    """Default double weight, two minutes fixed, 10 s in the air, then a tub: g/m3, m2/s, m/s."""
    tub = finite_volume.Vessel(volume=2.0)
    phases = [
        finite_volume.Phase(
            duration=seconds,
            bath=bath,
            diffusivity=free,
            film_front=through,
            film_back=through,
        )
        for seconds, bath, free, through in (
            (120.0, fixer, diffusivity, film),
            (10.0, fixer, diffusivity, 0.0),
            (2700.0, tub, cases.LAYER_FREE_DIFFUSIVITY, film),
        )
    ]
    return finite_volume.run(cases.three_layers(), phases, area=SHEET, every=5.0)


@source("derived: litres x density x heat capacity x rise; finite volumes for what is left")
def test_lesson_bill():
    found = figures("bill")
    for run, litres in {"a": 20 + 4 * 60, "b": 6 * 4}.items():
        assert found[f"litres_{run}"] == pytest.approx(litres, rel=1e-12)
        assert found[f"price_{run}"] == pytest.approx(4e-3 * litres, rel=1e-12)
        heat = litres * 0.9982 * 4.184 * 10 / 3600
        assert found[f"heat_{run}"] == pytest.approx(heat, rel=2e-3)
    other = cases.coupled(cases.changes(4, [10] * 6))
    assert found["left_b"] == pytest.approx(other.residual[-1], rel=1e-3)
    # 1 g/L of silver in the sheets' liquid, at most all of it shared out at once
    held = 14 * SHEET * HELD
    assert found["silver_b"] < 1e3 * held / (held + 4)
