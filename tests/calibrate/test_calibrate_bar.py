"""Reference bars: expected deflection against beams of handbooks, and a comparison that never corrects."""

import math
import re

import numpy as np
import pytest
from midspan.base.errors import ReadingsError
from midspan.calibrate.reference_bar import RoundBar, assigned, check_bar
from synthetic import LOAD_N, SPAN_MM, ratio_for


def test_a_stiff_bar_by_the_handbook():
    # Roark's Formulas for Stress and Strain, 7th ed., table 8.1: P L^3 / 48 E I, small deflections; modulus of carbon
    # steel 29.0e6 psi = 199.9 GPa after MIL-HDBK-5J, from memory
    bar = RoundBar("steel 12 mm", 12.0, 0.0, 199.9, 0.0)
    inertia = math.pi * 12.0**4 / 64
    small = LOAD_N * SPAN_MM**3 / (48 * 199_900 * inertia) / 0.0254
    assert bar.expected().spine_thou == pytest.approx(small, rel=1e-5)


@pytest.mark.parametrize("diameter", [4.0, 4.8, 6.0])
def test_a_soft_bar_by_another_integration_of_the_elastica(diameter):
    stiffness = 205e3 * math.pi * diameter**4 / 64
    expected = ratio_for(LOAD_N * SPAN_MM**2 / stiffness) * SPAN_MM / 0.0254
    found = RoundBar("bar", diameter, 0.0, 205.0, 0.0).expected()
    assert found.spine_thou == pytest.approx(expected, rel=1e-6)


def test_a_tube_is_the_difference_of_two_rods():
    tube = RoundBar("tube", 8.0, 0.0, 70.0, 0.0, 6.0)
    rods = [RoundBar("rod", d, 0.0, 70.0, 0.0).stiffness_n_mm2 for d in (8.0, 6.0)]
    assert tube.stiffness_n_mm2 == pytest.approx(rods[0] - rods[1])
    with pytest.raises(ReadingsError) as caught:
        RoundBar("tube", 6.0, 0.0, 70.0, 0.0, 8.0).expected()
    assert re.findall(r"\d+", str(caught.value)) == ["8", "6"]


@pytest.mark.slow
def test_its_uncertainty_against_trials():
    # JCGM 101: the spread of 4000 bars drawn from the distributions of diameters and modulus
    rng = np.random.default_rng(1)
    bar = RoundBar("tube", 7.5, 0.01, 72.0, 0.7, 6.2, 0.01)
    drawn = [
        RoundBar("t", rng.normal(7.5, 0.01), 0.0, rng.normal(72.0, 0.7), 0.0, rng.normal(6.2, 0.01)).expected()
        for _ in range(4000)
    ]
    assert bar.expected().u_spine_thou == pytest.approx(np.std([expected.spine_thou for expected in drawn]), rel=0.05)


def test_agreement_and_bias():
    bar = assigned("bar 3", 500.0, 0.15, "hand bench")
    good = check_bar(bar, [500.1, 500.3, 500.2], [0.2, 0.2, 0.2])
    assert good.figures["bias_thou"] == pytest.approx(0.2)
    # E_n by its definition: bias over the root of the sum of squares of both U (here with the mean's scatter)
    u = math.hypot(0.2, 0.15, 0.1 / math.sqrt(3))
    assert good.figures["en_ratio"] == pytest.approx(0.2 / (2 * u))
    assert [remark.code for remark in good.remarks] == ["agrees"]
    bad = check_bar(bar, [502.0, 502.1], [0.2, 0.2])
    assert bad.figures["en_ratio"] > 1
    assert [remark.code for remark in bad.remarks] == ["disagrees"]
    assert bad.section == {}


def test_a_check_gives_the_calibration_file_nothing():
    assert check_bar(assigned("b", 500.0, 0.1, "x"), [510.0], [0.2]).section == {}


def test_quite_another_bar_is_refused():
    with pytest.raises(ReadingsError) as caught:
        check_bar(assigned("b", 500.0, 0.1, "x"), [300.0], [0.2])
    assert (caught.value.code, re.findall(r"\d+\.\d", str(caught.value))) == ("another_bar", ["300.0", "500.0"])


@pytest.mark.parametrize(("spine_thou", "u_spine_thou"), [(math.nan, 0.1), (0.0, 0.1), (500.0, 0.0)])
def test_an_assigned_value_and_its_uncertainty_are_above_zero(spine_thou, u_spine_thou):
    with pytest.raises(ReadingsError):
        assigned("b", spine_thou, u_spine_thou, "x")
