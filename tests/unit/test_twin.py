"""A scenario's twin for notebooks says what the declarations say, and moves the scenario."""

from __future__ import annotations

import pytest

from washsim import files
from washsim.errors import InputError
from washsim.units import celsius, litre
from washsim_dashboard.twin import twin

DEMO = files.example("demo")
SPANS = {
    "vessels.tray.volume_l": (1, 10, 0.5),
    "water.temperature_c": (4, 30, 1),
    "steps.1.baths": (1, 12, 1),
}


def test_it_begins_as_the_scenario_and_moves_with_its_numbers():
    mine = twin(DEMO, SPANS)
    assert mine.scenario == DEMO
    mine.param.update(vessels_tray_volume_l=2.5, water_temperature_c=12, steps_1_baths=3)
    expected = {"vessels.tray.volume": 2.5 * litre, "water.temperature": celsius(12)}
    assert mine.scenario == DEMO.but(expected | {"steps.1.baths": 3})


def test_two_twins_do_not_share_their_numbers():
    one, other = twin(DEMO, SPANS), twin(DEMO.but({"steps.1.baths": 2}), SPANS)
    one.steps_1_baths = 9
    assert (other.steps_1_baths, other.scenario.steps[0].baths) == (2, 2)


def test_a_number_outside_its_span_is_refused_and_one_outside_begins_at_its_end():
    mine = twin(DEMO, {"vessels.tray.volume_l": (5, 10, 1)})
    assert mine.vessels_tray_volume_l == 5
    with pytest.raises(ValueError, match="10"):
        mine.vessels_tray_volume_l = 11


@pytest.mark.parametrize("key", ["vessels.tray.volume", "sheet.paper", "nothing"])
def test_what_is_no_number_of_the_scenario_is_refused(key):
    with pytest.raises(InputError, match="expected"):
        twin(DEMO, {key: (1, 2, 1)})
