"""The numbers that ship: each whole, in a known unit, inside its band, and with its standing."""

from __future__ import annotations

import math
from importlib.resources import files

import pytest

from washsim import tables
from washsim.errors import DataError

NAMES = sorted(
    path.name.removesuffix(".toml")
    for path in (files("washsim") / "data").iterdir()
    if path.name.endswith(".toml") and path.name != "sources.toml"
)
DATA = [pytest.param(one, id=one.path) for name in NAMES for one in tables.data(name)]
SOURCES = sorted(tables.table("sources"))


def test_there_are_tables():
    assert {"papers", "liquids", "limits"} <= set(NAMES)
    assert len(DATA) >= 100


@pytest.mark.parametrize("one", DATA)
def test_value_lies_in_its_band(one):
    assert all(math.isfinite(x) for x in (one.low, one.value, one.high))
    assert one.low <= one.value <= one.high


@pytest.mark.parametrize("one", DATA)
def test_unit_is_known(one):
    assert math.isfinite(one.si)


@pytest.mark.parametrize("one", DATA)
def test_standing_and_note(one):
    assert one.standing in tables.STANDINGS
    assert one.note.strip()
    if one.standing in ("source", "library"):
        assert one.source
    if one.source:
        assert one.source in SOURCES
        assert tables.source(one.source).citation in one.origin
    if one.standing == "memory":
        assert one.note.startswith("From memory")
    if one.standing == "practice":
        assert one.note.startswith("Common practice, no source")
        assert not one.source
    # an estimate is never certain to the last digit
    if one.standing in ("estimate", "memory", "practice"):
        assert one.low < one.high


# methods and comparisons are scenario blocks, read and checked as such, not data
@pytest.mark.parametrize("name", [x for x in NAMES if x not in ("methods", "comparisons")])
def test_every_number_is_a_datum(name):
    """No bare number hides beside the data, but coefficients of series that say their source."""

    def bare(node, path):
        if isinstance(node, dict):
            if "value" in node and "standing" in node:
                return []
            if "source" in node:
                assert node["source"] in SOURCES, path
                return []
            return [x for key, child in node.items() for x in bare(child, f"{path}.{key}")]
        if isinstance(node, list):
            return [x for child in node for x in bare(child, path)]
        number = isinstance(node, int | float) and not isinstance(node, bool)
        return [path] if number else []

    assert bare(tables.table(name), name) == []


@pytest.mark.parametrize("key", SOURCES)
def test_a_source_can_be_cited(key):
    one = tables.source(key)
    for text in (one.author, one.title, one.kind, one.note):
        assert text.strip()
    assert 1800 < int(one.year) < 2100
    assert one.citation == f"{one.author}, {one.title}, {one.year}"
    # no addresses: pages move, authors and titles stay
    assert "http" not in repr(one)
    assert "www." not in repr(one)


def test_si_of_some_data():
    # by hand: g/m2 to kg/m2, um to m, degrees to kelvin, money per m3 as it is
    for path, factor, offset in (
        ("limits.target.film_limit.value", 1e-3, 0),
        ("papers.fibre_double.layer.base.thickness", 1e-6, 0),
        ("limits.caution.temperature_high", 1, 273.15),
        ("limits.caution.temperature_step", 1, 0),
        ("limits.cost.water_price", 1, 0),
        ("liquids.thiosulfate.molar_mass", 1e-3, 0),
        ("liquids.water.soft_tap.release_half_life", 60, 0),
        ("limits.silver.sewer_example", 1e-3, 0),
        ("limits.caution.wet_hours_notice", 3600, 0),
    ):
        one = tables.datum(path)
        assert one.si == pytest.approx(one.value * factor + offset, rel=1e-15)


@pytest.mark.parametrize(
    "path", ["papers.none", "papers.fibre_double.label.more", "limits.target.film_limit", "none.a"]
)
def test_what_is_not_there(path):
    with pytest.raises(DataError, match=r"^data"):
        tables.datum(path)
