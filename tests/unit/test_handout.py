"""The handout of an evening says what its run says."""

from __future__ import annotations

import math
import re

import pytest

from washsim import files
from washsim.errors import InputError
from washsim.solve import solve
from washsim.units import us_gallon
from washsim_dashboard import handout, share

EVENING = files.example("hold_and_changes")


def cells(page: str) -> list[list[str]]:
    """The rows of its table, as text."""
    rows = re.findall(r"<tr>(.*?)</tr>", page)
    return [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in rows]


def test_its_table_has_the_steps_their_water_and_what_they_leave():
    result = solve(EVENING)
    head, *rows = cells(handout.of_evening(EVENING, "metric"))
    assert "water, L" in head
    assert [row[1] for row in rows] == ["fixing", "hold", "5 baths"]
    assert sum(float(row[4] or 0) for row in rows) == pytest.approx(1e3 * result.litres_total, 0.05)
    assert float(rows[-1][-1]) == pytest.approx(1e3 * result.worst_residual, rel=0.05)
    assert float(rows[-1][3]) == round(result.run.timeline.stages[-1].stop / 60)


def test_its_halvings_and_its_us_measures():
    result = solve(EVENING)
    page = handout.of_evening(EVENING, "us")
    halvings = math.log2(max(result.load) / EVENING.target.limit)
    assert f"{halvings:.1f} halvings" in page
    assert 2 ** -float(f"{halvings:.1f}") * max(result.load) == pytest.approx(
        EVENING.target.limit, rel=0.05
    )
    taken = sum(float(row[4] or 0) for row in cells(page)[1:])
    assert taken == pytest.approx(result.litres_total / us_gallon, rel=0.05)
    assert "68 °F" in page


def test_a_hostile_title_is_text():
    page = handout.of_evening(EVENING.but(title="<script>alert(1)</script>"), "metric")
    assert "<script>alert" not in page


def test_an_address_that_is_no_scenario_is_refused_in_a_sentence():
    with pytest.raises(InputError):
        handout.of_evening(share.unpack("nonsense"), "metric")
