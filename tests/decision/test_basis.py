"""What a verdict is made by, kept as text and completed when bands or a plan are named later."""

import json
from dataclasses import replace

import pytest
from midspan.decision.bands import Bands
from midspan.decision.basis import Basis, basis_of_bands, completed, content_of

WHOLE = Basis(
    bands={"bin": [{"name": "500", "spine_thou": [495.0, 505.0]}]},
    crack_hysteresis_pct=1.5,
    standard="bar 2",
    assigned_thou=402.5,
    u_assigned_thou=0.11,
    night=7,
    person="Ada",
)
BANDS = Bands.model_validate({"bin": [{"name": "500", "spine_thou": [495.0, 505.0], "spread_max_thou": 6}]})


@pytest.mark.parametrize("basis", [Basis(), WHOLE])
def test_a_basis_comes_back_from_its_text(basis):
    assert Basis.from_json(basis.as_json()) == basis


def test_the_text_of_the_same_rules_is_the_same():
    names = list(json.loads(WHOLE.as_json()))
    assert names == sorted(names)
    assert set(names) == set(Basis.__slots__)


def test_a_text_of_fewer_rules_leaves_the_others_open_and_unknown_ones_out():
    assert Basis.from_json('{"night": 3, "weather": "rain"}') == Basis(night=3)


def test_bands_are_kept_as_they_were_written():
    assert basis_of_bands(BANDS) == Basis(
        bands={"bin": [{"name": "500", "spine_thou": [495.0, 505.0], "spread_max_thou": 6.0}]}
    )
    assert basis_of_bands(None) == Basis()
    simple = Bands.model_validate({"rule": {"kind": "simple"}, "bin": [{"name": "a", "spine_thou": [400, 500]}]})
    assert Bands.model_validate(content_of(simple)) == simple  # a guard spelled out would be refused


NAMED = Basis(bands={"bin": []}, crack_hysteresis_pct=2.0, standard="bar 9")


def test_a_verdict_by_bands_alone_takes_all_of_a_plan():
    known = Basis(bands=WHOLE.bands, crack_hysteresis_pct=1.0)
    assert completed(known, NAMED) is NAMED


@pytest.mark.parametrize("role", [{"night": 7}, {"person": "Ada"}, {"standard": "bar 2"}])
def test_what_a_night_or_a_person_judged_by_stays_but_for_the_bands(role):
    known = Basis(bands=WHOLE.bands, crack_hysteresis_pct=1.0, **role)
    assert completed(known, NAMED) == replace(known, bands={"bin": []})


def test_bands_named_alone_change_the_bands_alone():
    known = Basis(bands=WHOLE.bands, crack_hysteresis_pct=1.0)
    assert completed(known, Basis(bands={"bin": []})) == replace(known, bands={"bin": []})
