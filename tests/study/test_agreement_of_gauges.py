"""Comparisons of gauges: sound ones are seldom called off, one that is off is named, with the cause that fits.

The gauges here are a model of the test's own: causes with known patterns over soft and stiff shafts, drawn anew.
"""

import numpy as np
import pytest
from midspan.base.errors import ReadingsError
from midspan.study.agreement import Visit, agreement

TRUE_THOU = np.array([300.0, 400.0, 500.0, 700.0, 1000.0])
SHAFTS = ("a", "b", "c", "d", "e")
OWN_U = 0.04
# What one standard uncertainty of each cause does: a force scale and a span go with the spine, a zero and the frame's
# compliance do not, and the supports' friction goes with the square of the bend.
PATTERNS = {
    "force scale": 3e-4 * TRUE_THOU,
    "frame compliance": np.full(5, 0.12),
    "axial friction": 0.15 * (TRUE_THOU / 500) ** 2,
}


def visit(name, random, errors=None, shafts=slice(None)):
    """Return what a gauge finds, with its causes drawn from their uncertainties or given as multiples of them."""
    drawn = {cause: random.standard_normal() for cause in PATTERNS} | (errors or {})
    off = sum(size * PATTERNS[cause] for cause, size in drawn.items())
    found = TRUE_THOU + off + OWN_U * random.standard_normal(5)
    shares = {cause: pattern[shafts] for cause, pattern in PATTERNS.items()}
    kept = SHAFTS[shafts]
    return Visit(name, kept, found[shafts], np.full(len(kept), OWN_U), shares)


@pytest.mark.parametrize("number", [2, 3, 5])
def test_sound_gauges_are_seldom_called_off(number):
    random = np.random.default_rng(number)
    rounds = [agreement([visit(f"gauge {i}", random) for i in range(number)]) for _ in range(400)]
    called = np.mean([bool(found.off) for found in rounds])
    assert called <= 0.05 + 3 * (0.05 * 0.95 / 400) ** 0.5
    beyond = np.mean([abs(each.e_n) > 1 for found in rounds for each in found.standings])
    assert 0.03 < beyond < 0.07  # E_n of sound gauges: 95 %, ISO 13528:2022, 9.7


@pytest.mark.parametrize(
    ("cause", "sigmas"), [("force scale", 14.0), ("frame compliance", 17.0), ("axial friction", -12.0)]
)
def test_a_gauge_that_is_off_is_named_with_what_makes_it_so(cause, sigmas):
    random = np.random.default_rng(3)
    named = causes = 0
    for _ in range(100):
        others = [visit(name, random) for name in ("attic", "club", "hand bench")]
        found = agreement([*others, visit("shop", random, {cause: sigmas})])
        named += bool(found.off) and found.off[0].instrument == "shop"
        causes += bool(found.off) and cause in {each.name for each in found.off[0].causes}
        (shop,) = (each for each in found.standings if each.instrument == "shop")
        assert shop.mean_thou * sigmas > 0
    assert named == 100
    assert causes >= 95


def test_of_two_gauges_that_differ_both_are_named():
    random = np.random.default_rng(5)
    found = agreement([visit("attic", random), visit("shop", random, {"force scale": 15.0})])
    assert {each.instrument for each in found.off} == {"attic", "shop"}


def test_a_second_calibration_of_a_gauge_counts_as_the_same_gauge():
    random = np.random.default_rng(6)
    visits = [visit("attic", random), visit("attic", random), visit("shop", random), visit("club", random)]
    found = agreement(visits)
    assert [each.instrument for each in found.standings] == ["attic", "shop", "club"]


def test_gauges_that_share_some_shafts_are_compared_by_these():
    random = np.random.default_rng(7)
    visits = [visit("attic", random, shafts=slice(0, 3)), visit("shop", random, shafts=slice(2, 5))]
    found = agreement(visits)
    assert [each.shafts for each in found.standings] == [("c",), ("c",)]
    assert found.shafts == SHAFTS


def test_what_cannot_be_compared_is_refused():
    random = np.random.default_rng(8)
    with pytest.raises(ReadingsError) as alone:
        agreement([visit("attic", random), visit("attic", random)])
    with pytest.raises(ReadingsError) as apart:
        agreement([visit("attic", random, shafts=slice(0, 2)), visit("shop", random, shafts=slice(3, 5))])
    assert (alone.value.code, apart.value.code) == ("one_instrument", "no_common_shaft")
