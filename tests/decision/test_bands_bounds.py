"""How far each figure of a bands file may go, from both sides, and how bins join into stretches."""

import pytest
from midspan.decision.bands import EXAMPLE, Bands
from pydantic import ValidationError

JUST = 1e-9
BIN = {"name": "500", "spine_thou": [495.0, 505.0]}
RULE = {"kind": "guarded both ways"}


def taken(content):
    """Return True if a bands file is taken, False if it is refused."""
    try:
        Bands.model_validate(content)
    except ValidationError:
        return False
    return True


@pytest.mark.parametrize(
    ("content", "least", "most"),
    [
        (lambda value: {"bin": [BIN], "rule": {**RULE, "guard": value}}, 0.0, 4.0),
        (lambda value: {"bin": [BIN], "rule": {"coverage_factor": value}}, 1.0, 4.0),
        (lambda value: {"bin": [{**BIN, "spread_max_thou": value}]}, 0.01, 500.0),
        (lambda value: {"bin": [{**BIN, "runout_max_thou": value}]}, 0.01, 1000.0),
        (lambda value: {"bin": [{**BIN, "hysteresis_max_pct": value}]}, 0.01, 100.0),
    ],
    ids=["guard", "coverage_factor", "spread_max_thou", "runout_max_thou", "hysteresis_max_pct"],
)
def test_the_last_value_is_taken_and_the_next_is_refused(content, least, most):
    assert [taken(content(value)) for value in (least, most)] == [True, True]
    assert [taken(content(value)) for value in (least - JUST, most * (1 + JUST))] == [False, False]


@pytest.mark.parametrize(
    ("ends", "expected"),
    [([50.0, 60.0], True), ([50.0 - JUST, 60.0], False), ([4900.0, 5000.0], True), ([4900.0, 5000.001], False),
     ([500.0, 500.0], False), ([500.0, 500.001], True)],
)  # fmt: skip
def test_a_band_lies_where_spines_do_and_has_room(ends, expected):
    assert taken({"bin": [{**BIN, "spine_thou": ends}]}) is expected


@pytest.mark.parametrize(("length", "expected"), [(0, False), (1, True), (32, True), (33, False)])
def test_the_name_of_a_bin_has_a_length(length, expected):
    assert taken({"bin": [{**BIN, "name": "a" * length}]}) is expected


def test_a_file_has_one_bin_at_least():
    assert not taken({"bin": []})


@pytest.mark.parametrize(("kind", "expected"), [("simple", False), ("guarded acceptance", True)])
def test_only_a_guarded_rule_takes_a_guard(kind, expected):
    assert taken({"bin": [BIN], "rule": {"kind": kind, "guard": 0.5}}) is expected
    assert taken({"bin": [BIN], "rule": {"kind": kind}})


@pytest.mark.parametrize(("start", "expected"), [(505.0, True), (504.999, False), (506.0, True)])
def test_bins_adjoin_and_do_not_overlap(start, expected):
    other = {"name": "510", "spine_thou": [start, 515.0]}
    assert taken({"bin": [BIN, other]}) is expected
    assert taken({"bin": [other, BIN]}) is expected


def test_two_bins_have_two_names():
    assert not taken({"bin": [BIN, {**BIN, "spine_thou": [600.0, 610.0]}]})


def test_bins_that_adjoin_make_one_stretch():
    ends = [(530.0, 540.0), (400.0, 410.0), (410.0, 420.0), (420.0, 431.0), (500.0, 510.0)]
    bands = Bands.model_validate({"bin": [{"name": str(low), "spine_thou": [low, high]} for low, high in ends]})
    assert [(each.low_thou, each.high_thou) for each in bands.in_order] == sorted(ends)
    found = [(stretch.low_thou, stretch.high_thou) for stretch in bands.stretches]
    assert found == [(400.0, 431.0), (500.0, 510.0), (530.0, 540.0)]


@pytest.mark.parametrize(
    ("spine", "name"), [(495.0, "500"), (504.999, "500"), (505.0, "510"), (515.0, None), (494.0, None)]
)
def test_a_band_holds_its_low_end_only(spine, name):
    found = Bands.model_validate(EXAMPLE).bin_of(spine)
    assert (found and found.name) == name


def test_a_rule_and_a_bin_that_say_nothing_have_their_defaults():
    bands = Bands.model_validate({"bin": [BIN]})
    assert (bands.rule.kind, bands.rule.guard, bands.rule.coverage_factor) == ("guarded both ways", 1.0, 2.0)
    (only,) = bands.bin
    assert (only.spread_max_thou, only.runout_max_thou, only.hysteresis_max_pct) == (None, None, None)
