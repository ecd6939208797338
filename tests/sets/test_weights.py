"""Weights: units by name, wrong units noticed, and tables that are refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ReadingsError
from midspan.base.shown_units import WeightUnit
from midspan.sets.weights import PLAUSIBLE_GR, weight_of, weights_in

GRAM_PER_GRAIN = 0.06479891  # exact: NIST SP 811 (2008), appendix B.8


def test_grains_and_grams_of_one_shaft_are_one_weight():
    grains, grams = weight_of("300.0", "grains", "x"), weight_of("19.44", "grams", "x")
    assert grains.weight_g == pytest.approx(300 * GRAM_PER_GRAIN, rel=1e-12)
    assert grams.weight_g == 19.44
    # Half the last digit either way, rectangular: a twelfth of its square (JCGM 100:2008, 4.3.7).
    assert grains.u_weight_g**2 == pytest.approx((0.1 * GRAM_PER_GRAIN) ** 2 / 12)
    assert grams.u_weight_g**2 == pytest.approx(0.01**2 / 12)
    assert weight_of("300", "grains", "x").u_weight_g == pytest.approx(10 * grains.u_weight_g)
    assert weight_of("30000e-2", "grains", "x").u_weight_g == pytest.approx(grains.u_weight_g / 10)


@given(st.floats(*PLAUSIBLE_GR))
def test_no_shaft_weighs_as_much_in_one_unit_as_in_the_other(grains):
    assert weight_of(repr(grains), "grains", "x").weight_g == pytest.approx(grains * GRAM_PER_GRAIN)
    with pytest.raises(ReadingsError, match="grains") as caught:
        weight_of(repr(grains), "grams", "x")
    assert caught.value.code == "implausible"
    with pytest.raises(ReadingsError, match="grams") as caught:
        weight_of(f"{grains * GRAM_PER_GRAIN:.6f}", WeightUnit.GRAINS, "x")
    assert caught.value.code == "implausible"


@pytest.mark.parametrize(
    ("text", "unit", "code", "numbers"),
    [
        ("0", "grains", "implausible", ["0", "90", "900"]),
        ("5000", "grams", "implausible", ["5000", "5.83", "58.3"]),
        ("-310", "grains", "implausible", ["-310", "90", "900"]),
        ("310", "ounces", "unit", []),
        ("nan", "grains", "", []),
        ("31O", "grains", "", ["31O"]),
    ],
)
def test_what_is_no_weight_is_refused(text, unit, code, numbers):
    with pytest.raises(ReadingsError) as caught:
        weight_of(text, unit, "shaft 3")
    assert caught.value.code == code
    assert [value for value in ["shaft 3", *numbers] if value not in str(caught.value)] == []


@pytest.mark.parametrize(
    ("table", "code", "named"),
    [
        ("shaft,weight\n1,310\n", "column", ["weight_gr", "weight_g"]),
        ("shaft,weight_gr,weight_g\n1,310,20.1\n", "column", ["weight_gr", "weight_g"]),
        ("weight_gr\n310\n", "", ["shaft"]),
        ("shaft,weight_gr\n1,310\n2,20.1\n", "implausible", ["line 3", "20.1 grains"]),
        ("shaft,weight_gr\n1,310\n1,311\n", "twice", ["line 3", "shaft 1"]),
        ("shaft,weight_gr\n1,\n", "", ["line 2", "weight_gr"]),
    ],
)
def test_a_table_that_is_not_clear_is_refused(tmp_path, table, code, named):
    (tmp_path / "weights.csv").write_text(table, encoding="utf-8")
    with pytest.raises(ReadingsError) as caught:
        weights_in(tmp_path / "weights.csv")
    assert caught.value.code == code
    assert [value for value in ["weights.csv", *named] if value not in str(caught.value)] == []


def test_a_table_with_a_decimal_comma(tmp_path):
    (tmp_path / "weights.csv").write_text("Shaft;Weight_g\nblue-1;20,1\n2;19,9\n", encoding="utf-8")
    found = weights_in(tmp_path / "weights.csv")
    assert {name: weight.weight_g for name, weight in found.items()} == {"blue-1": 20.1, "2": 19.9}
