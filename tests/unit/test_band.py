"""The band: every member is the scenario with other numbers, and what is said of them all."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from washsim import __main__ as cli
from washsim import band, files, pictures, side_by_side, unknowns
from washsim.solve import solve
from washsim.unknowns import NOMINAL, Sample


def test_without_doubt_the_band_is_the_run() -> None:
    scenario = files.example("hold_and_changes").but({"sheet.count": 3})
    found = band.solve_band(scenario, NOMINAL)
    run = solve(scenario)
    # the run asks for one rung of nodes more than the band, to be right to 1e-4 and 1 mg/m2 on top
    np.testing.assert_allclose(
        found.residual[0], np.maximum(run.residual, 0.0), rtol=1e-4, atol=1e-10
    )
    assert found.minutes_to_target(0.5) == pytest.approx(run.minutes_to_target, rel=1e-3)


@pytest.mark.parametrize(
    ("layer", "name", "factor"),
    [(2, "hindrance", 2.0), (2, "thickness", 1.2), (1, "porosity", 0.8), (0, "hindrance", 1.5)],
)
def test_a_factor_on_a_layer_is_a_paper_with_that_layer(
    layer: int, name: str, factor: float
) -> None:
    scenario = files.example("demo")
    paper = scenario.sheet.material
    layers = list(paper.layers)
    layers[layer] = replace(layers[layer], **{name: factor * getattr(layers[layer], name)})
    sheet = replace(scenario.sheet, paper="own", layers=tuple(layers), explanation="own")
    told = solve(scenario.but(sheet=sheet))
    key = f"{layers[layer].name}.{name}"
    found = band.solve_band(scenario, Sample(members=1, factors={key: np.array([factor])}))
    assert found.worst[0] == pytest.approx(told.worst_residual, rel=1e-3)


@pytest.mark.parametrize(
    ("factor", "changes"),
    [
        ({"carry_over": 2.0}, {"handling.carry_over": 120e-6}),
        ({"stock": 1.2}, {"fixing.stock": 1.2 * 453.9}),
        ({"release": 0.5, "held_pool": 3.0}, None),
        ({"exchange": 0.8}, {"vessels.washer.exchange_efficiency": 0.8 * 0.7}),
    ],
    ids=str,
)
def test_a_factor_is_a_scenario_with_that_number(factor: dict, changes: dict | None) -> None:
    scenario = files.example("running") if "exchange" in factor else files.example("demo")
    if "exchange" in factor:
        scenario = scenario.but({"vessels.washer.exchange_efficiency": 0.7})
    if changes is None:
        layers = tuple(
            replace(x, retention=3 * x.retention, release_half_life=0.5 * x.release_half_life)
            for x in scenario.sheet.material.layers
        )
        sheet = replace(scenario.sheet, paper="own", layers=layers, explanation="own")
        changes = {"sheet": sheet}
    told = solve(scenario.but(changes))
    sample = Sample(members=1, factors={k: np.array([v]) for k, v in factor.items()})
    assert band.solve_band(scenario, sample).worst[0] == pytest.approx(
        told.worst_residual, rel=1e-3
    )


def test_members_are_followed_through_pieces_of_their_own() -> None:
    """Currents cut an interval to each member's own measure; each is seen at its own moment."""
    scenario = files.example("still").but({"sheet.explanation": "saturating"})
    sample = unknowns.draw(scenario, 64).part(slice(0, 3))
    found = band.solve_band(scenario, sample)
    washing = found.times > max(found.nominal.run.left_fixer)
    for member in range(3):
        alone = band.solve_band(scenario, sample.part(slice(member, member + 1)))
        # pieces in which films change by a third are good to a hundredth
        np.testing.assert_allclose(
            found.residual[member][:, washing], alone.residual[0][:, washing], rtol=0.01, atol=1e-7
        )


def test_percentiles_of_a_draw_are_the_tables_band() -> None:
    known = {one.name: one for one in unknowns.unknowns(files.example("demo"))}
    one = known["base.hindrance"]
    z = stats.norm.ppf([0.05, 0.5, 0.95])
    datum = one.datum
    np.testing.assert_allclose(datum.value * one.factor(z), [datum.low, datum.value, datum.high])


def test_draws_are_standard_normal() -> None:
    z = unknowns.latent(unknowns.unknowns(files.example("demo")), 256)
    # Sobol points fill the range evenly: far closer to the distribution than chance would be
    assert max(stats.kstest(column, "norm").statistic for column in z.T) < 0.02


def test_chance_is_the_share_of_a_known_distribution() -> None:
    scenario = files.example("slab").but({"fixing.thiosulfate": None})
    only = next(one for one in unknowns.unknowns(scenario) if one.name == "stock")
    sample = unknowns.sample((only,), unknowns.latent((only,), 256))
    # residual is proportional to the fixer: choose the target so that z = 0.8 just meets it
    limit = solve(scenario).worst_residual * float(only.factor(np.array(0.8)))
    target = replace(scenario.target, preset="own", residual=limit)
    found = band.solve_band(scenario.but(target=target), sample)
    # 256 even points: the share is known to a point on either side
    assert found.chance == pytest.approx(stats.norm.cdf(0.8), abs=1.5 / 256)


def test_last_crossing_of_an_exponential() -> None:
    times = np.linspace(0, 3600, 100)
    rates = np.array([1e-3, 2e-3, 1e-5])
    found = band.last_crossing(times, np.exp(-rates[:, None] * times), 0.1)
    np.testing.assert_allclose(found, [np.log(10) / 1e-3, np.log(10) / 2e-3, np.inf], rtol=1e-12)


def test_quicker_release_in_the_aid_leaves_less() -> None:
    scenario = files.example("aid")
    sample = Sample(members=3, factors={"aid": np.array([0.3, 1.0, 3.0])})
    worst = band.solve_band(scenario, sample).worst
    assert worst[0] < worst[1] < worst[2]


def test_quantiles_are_in_order_and_only_of_washing_sheets() -> None:
    found = band.solve_band(files.example("demo"), unknowns.draw(files.example("demo"), 32))
    low, middle, high = found.quantile((0.05, 0.5, 0.95))
    begun = found.times >= min(found.nominal.run.left_fixer)
    assert np.all(np.isnan(low[~begun]))
    assert np.all(low[begun] <= middle[begun])
    assert np.all(middle[begun] <= high[begun])
    assert np.quantile(found.worst, 0.5) == pytest.approx(middle[-1])


def test_work_can_be_called_off() -> None:
    class Enough(Exception):
        pass

    def stop(share: float) -> None:
        raise Enough

    with pytest.raises(Enough):
        band.solve_band(files.example("demo"), progress=stop)


def test_a_doubtful_evening_in_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["simulate", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["band"]
    again = band.solve_band(files.example("demo"))
    assert found["chance"] == again.chance
    low, middle, high = found["worst_residual_g_m2"]
    assert low < middle < high
    # the middle of what is drawn is near the scenario as it stands, not equal: bands are skew
    assert found["minutes_to_target"][0] < found["minutes_to_target"][2]
    assert cli.main(["simulate", "--json", "--no-band"]) == 0
    assert json.loads(capsys.readouterr().out)["band"] is None


def test_bands_edges_enclose_the_middle_in_the_picture() -> None:
    found = band.solve_band(files.example("demo"))
    drawn = pictures.curves(found.nominal, found)
    low, high = drawn.worst_band_g_m2
    washing = np.isfinite(low)
    assert washing.sum() > 250
    assert np.all(low[washing] <= high[washing])
    assert high[-1] == pytest.approx(1e3 * np.quantile(found.worst, 0.95))


def test_time_to_spare_is_what_can_be_left_out() -> None:
    scenario = files.example("slab")
    found = band.solve_band(scenario, NOMINAL)
    spare = found.minutes_to_spare
    assert spare is not None
    shorter = scenario.but({"steps.1.duration": scenario.steps[0].duration - 60 * spare})
    # a wash that ends when the target is met ends at the target; curves are cut in 300 outputs
    assert solve(shorter).worst_residual == pytest.approx(scenario.target.limit, rel=2e-3)


def test_draws_together_agree_in_what_is_shared() -> None:
    demo = files.example("demo")
    running = files.with_method(demo, "slots")
    one, other = unknowns.draw_together((demo, running))
    shared = one.factors.keys() & other.factors.keys()
    assert "base.hindrance" in shared
    assert "exchange" in other.factors.keys() - one.factors.keys()
    for name in shared:
        np.testing.assert_array_equal(one.factors[name], other.factors[name])
    alone = unknowns.draw(demo)
    (same,) = unknowns.draw_together((demo,))
    assert alone.factors.keys() == same.factors.keys()
    np.testing.assert_array_equal(alone.factors["stock"], same.factors["stock"])


def test_doubts_side_by_side_are_counted_draw_by_draw() -> None:
    """Counted one by one here, by a plain loop."""
    scenarios = (files.example("demo"), files.example("demo").but({"steps.1.baths": 3}))
    draws = unknowns.draw_together(scenarios, count=64)
    bands = [band.solve_band(*pair) for pair in zip(scenarios, draws, strict=True)]
    spans, met, first = side_by_side.doubts(bands)
    minutes = [one.crossings.max(axis=1) - one.nominal.run.left_fixer[0] for one in bands]
    for arm, found in enumerate(bands):
        low, high = sorted(1e3 * found.worst)[3], sorted(1e3 * found.worst)[-4]
        shown = [float(text) for text in spans.values[arm].split(" to ")]
        # one digit is shown, and a quantile lies between two draws
        assert shown == pytest.approx([low, high], rel=0.5)
        under = sum(left <= found.scenario.target.limit for left in found.worst)
        assert met.values[arm] == f"{100 * under / 64:.0f}"
        ahead = [
            minutes[arm][i] < np.inf and minutes[arm][i] - minutes[1 - arm][i] < 30
            for i in range(64)
        ]
        assert first.values[arm] == f"{100 * sum(ahead) / 64:.0f}"
    assert [row.what for row in (spans, met, first)] == list(side_by_side.DOUBTS)
