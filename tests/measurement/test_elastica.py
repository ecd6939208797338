"""The bending law against handbooks, beam libraries, published series and an independent integration."""

import json
from math import inf, nan

import numpy as np
import pytest
import synthetic
from anastruct import SystemElements
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConversionError
from midspan.base.units import OLDER, STANDARD, Convention
from midspan.measurement import elastica
from midspan.measurement.conversion import LARGEST_SHEAR_SHARE
from places import DATA
from Pynite import FEModel3D

PUBLISHED = json.loads((DATA / "beams.json").read_text())
TUBES = PUBLISHED["tubes"]["cases"]
SPAN_MM = PUBLISHED["tubes"]["span_mm"]
LOAD_N = PUBLISHED["tubes"]["load_n"]
SMALL_LOAD_N = LOAD_N / 10_000  # the elastica departs from the line by less than 1e-9 here
NAMES = [tube["name"] for tube in TUBES]

supports = st.sampled_from(["normal", "vertical", 0.5])
spans_mm = st.floats(300.0, 900.0)
loads_n = st.floats(0.01, 30.0)
groups = st.floats(1e-4, 4.3)  # P L^2 / EI, nearly up to a deflection of a tenth of the span


def second_moment_mm4(tube):
    """Return the second moment of area of a tube, mm4."""
    return np.pi / 64 * 25.4**4 * (tube["outer_in"] ** 4 - tube["inner_in"] ** 4)


def stiffness_n_mm2(tube):
    """Return the bending stiffness EI of a tube, N mm2."""
    return tube["young_mpa"] * second_moment_mm4(tube)


# Properties


@pytest.mark.slow
@given(spans_mm, loads_n, groups, supports)
def test_deflection_to_stiffness_and_back(span_mm, load_n, group, support):
    stiffness = load_n * span_mm**2 / group
    deflection = elastica.deflection_mm(load_n, span_mm, stiffness, support)
    found = elastica.stiffness_between((0.0, load_n), deflection, span_mm, support)
    assert float(found) == pytest.approx(stiffness, rel=2e-12)
    assert float(elastica.deflection_mm(load_n, span_mm, found, support)) == pytest.approx(float(deflection), rel=2e-12)


@pytest.mark.slow
@given(spans_mm, loads_n, groups, st.floats(0.0, 0.8), supports)
def test_travel_between_two_loads_to_stiffness(span_mm, load_n, group, share, support):
    stiffness = load_n * span_mm**2 / group
    low, high = elastica.deflection_mm([share * load_n, load_n], span_mm, stiffness, support)
    found = elastica.stiffness_between((share * load_n, load_n), high - low, span_mm, support)
    # The difference of two near deflections loses digits to rounding in proportion.
    assert float(found) == pytest.approx(stiffness, rel=2e-12 / (1 - share))


@given(spans_mm, loads_n, st.floats(1e-4, 3.5), st.floats(1.0001, 1.05), supports)
def test_more_load_more_span_or_less_stiffness_bends_more(span_mm, load_n, group, more, support):
    stiffness = load_n * span_mm**2 / group
    bent = elastica.deflection_mm(load_n, span_mm, stiffness, support)
    assert elastica.deflection_mm(load_n * more, span_mm, stiffness, support) > bent
    assert elastica.deflection_mm(load_n, span_mm * more, stiffness, support) > bent
    assert elastica.deflection_mm(load_n, span_mm, stiffness / more, support) > bent


@given(spans_mm, loads_n, st.floats(1e-6, 1e-2), supports)
def test_small_loads_follow_the_handbook_line(span_mm, load_n, group, support):
    stiffness = load_n * span_mm**2 / group
    bent = float(elastica.deflection_mm(load_n, span_mm, stiffness, support))
    line = load_n * span_mm**3 / (48 * stiffness)
    assert 0 <= bent / line - 1 + 1e-14 < 11 * (group / 48) ** 2 + 2e-14


@given(spans_mm, loads_n, groups, supports)
def test_inches_and_pounds_give_the_same_ratios(span_mm, load_n, group, support):
    stiffness = load_n * span_mm**2 / group
    span_in, load_lbf = span_mm / 25.4, load_n / 4.4482216152605
    metric = elastica.deflection_mm(load_n, span_mm, stiffness, support) / span_mm
    imperial = elastica.deflection_mm(load_lbf, span_in, load_lbf * span_in**2 / group, support) / span_in
    assert float(imperial) == pytest.approx(float(metric), rel=1e-13)


@pytest.mark.slow
@given(st.floats(100.0, 1500.0), st.floats(500.0, 900.0), st.floats(2.0, 9.0), supports)
def test_conversion_to_another_convention_and_back(spine_thou, span_mm, load_n, support):
    other = Convention("bench", span_mm, load_n)
    spine_mm = spine_thou * 0.0254
    if spine_mm / STANDARD.span_mm * (load_n / STANDARD.load_n) * (span_mm / STANDARD.span_mm) ** 2 > 0.085:
        return
    there = elastica.convert_deflection(spine_mm, STANDARD, other, support)
    assert float(elastica.convert_deflection(there, other, STANDARD, support)) == pytest.approx(spine_mm, rel=5e-12)


@pytest.mark.slow
@given(st.floats(0.05, 4.0), st.floats(0.0, 0.8), st.sampled_from([1e-8, 1e-3, 1e3, 1e8]), supports)
def test_another_unit_of_force_gives_the_same_shaft(group, share, unit, support):
    low, high = elastica.deflection_ratio([share * group, group], support)
    here = elastica.flexibility_between((share * group, group), high - low, support)
    there = elastica.flexibility_between((share * group * unit, group * unit), high - low, support)
    assert float(there * unit) == pytest.approx(float(here), rel=1e-13)
    assert float(here) == pytest.approx(1.0, rel=2e-12 / (1 - share))


def test_a_measurement_at_the_convention_itself_is_the_answer():
    assert float(elastica.convert_deflection(12.7, STANDARD, STANDARD)) == pytest.approx(12.7, rel=1e-14)


@given(groups, supports)
def test_the_derivative_is_the_slope_of_the_ratio(group, support):
    _, slope = elastica.ratio_and_slope(group, support)
    step = 1e-5 * group
    either_side = elastica.deflection_ratio([group - step, group + step], support)
    assert float(slope) == pytest.approx(float(np.diff(either_side)[0]) / (2 * step), rel=1e-8)


@pytest.mark.parametrize("group", [nan, inf, -inf, 4.7, 1e300])
@pytest.mark.parametrize("support", ["normal", "vertical"])
def test_what_is_no_arrow_shaft_is_refused(group, support):
    with pytest.raises(ConversionError) as caught:
        elastica.deflection_ratio(group, support)
    assert str(caught.value) == elastica.OUT_OF_RANGE


@pytest.mark.parametrize(
    ("loads", "travel_mm"),
    [
        ((0.0, 8.6), nan),
        ((0.0, nan), 12.7),
        ((nan, 8.6), 12.7),
        ((0.0, 8.6), 0.0),
        ((0.0, 8.6), -12.7),
        ((0.0, -8.6), 12.7),
        ((8.6, 0.9), 12.7),
        ((8.6, 8.6), 12.7),
        ((-8.6, -0.9), 12.7),
        ((0.0, inf), 12.7),
        ((-inf, 8.6), 12.7),
        ((0.0, 8.6), inf),
    ],
)
def test_force_that_does_not_rise_with_travel_is_refused(loads, travel_mm):
    with pytest.raises(ConversionError) as caught:
        elastica.stiffness_between(loads, travel_mm, SPAN_MM)
    assert str(caught.value) == elastica.NOT_RISING


@pytest.mark.parametrize("travel_mm", [80.0, 300.0, 1e6])
def test_a_deflection_beyond_a_tenth_of_the_span_is_refused(travel_mm):
    with pytest.raises(ConversionError):
        elastica.stiffness_between((0.0, 8.6), travel_mm, SPAN_MM)


def test_one_wrong_shaft_among_many_is_not_passed_over():
    with pytest.raises(ConversionError):
        elastica.deflection_ratio([0.1, nan, 0.2])


# Against the outside


@pytest.mark.parametrize("tube", TUBES, ids=NAMES)
def test_handbook_tubes(tube):
    # Source in beams.json: P L^3 / 48 EI.
    expected = tube["deflection_mm"] * SMALL_LOAD_N / LOAD_N
    assert float(elastica.deflection_mm(SMALL_LOAD_N, SPAN_MM, stiffness_n_mm2(tube))) == pytest.approx(
        expected, rel=1e-9
    )


def pynite_deflection_mm(tube):
    """Return the midspan deflection of two beam elements on a pin and a roller, mm."""
    model = FEModel3D()
    second = second_moment_mm4(tube)
    area = np.pi / 4 * 25.4**2 * (tube["outer_in"] ** 2 - tube["inner_in"] ** 2)
    shear_mpa = tube["young_mpa"] / 2 / (1 + tube["poisson"])
    model.add_material("tube", tube["young_mpa"], shear_mpa, tube["poisson"], 1e-9)
    model.add_section("round", area, second, second, 2 * second)
    for name, x in (("A", 0.0), ("B", SPAN_MM / 2), ("C", SPAN_MM)):
        model.add_node(name, x, 0.0, 0.0)
    model.add_member("left", "A", "B", "tube", "round")
    model.add_member("right", "B", "C", "tube", "round")
    model.def_support("A", True, True, True, True, False, False)
    model.def_support("C", False, True, True, False, False, False)
    model.add_node_load("B", "FY", -SMALL_LOAD_N)
    model.analyze_linear()
    return -model.nodes["B"].DY["Combo 1"]


def anastruct_deflection_mm(tube):
    """Return the midspan deflection of two beam elements on a hinge and a roller, mm."""
    system = SystemElements(EI=stiffness_n_mm2(tube), EA=1e12)
    system.add_element(location=[[0, 0], [SPAN_MM / 2, 0]])
    system.add_element(location=[[SPAN_MM / 2, 0], [SPAN_MM, 0]])
    system.add_support_hinged(node_id=1)
    system.add_support_roll(node_id=3)
    system.point_load(node_id=2, Fy=-SMALL_LOAD_N)
    system.solve()
    return abs(system.get_node_displacements(node_id=2)["uy"])


@pytest.mark.parametrize("tube", TUBES, ids=NAMES)
@pytest.mark.parametrize(
    # anastruct rounds its element matrices, which costs it a few digits.
    ("solver", "tolerance"),
    [(pynite_deflection_mm, 1e-9), (anastruct_deflection_mm, 1e-7)],
    ids=["PyNiteFEA", "anastruct"],
)
def test_independent_beam_libraries(tube, solver, tolerance):
    bent = float(elastica.deflection_mm(SMALL_LOAD_N, SPAN_MM, stiffness_n_mm2(tube)))
    assert bent == pytest.approx(solver(tube), rel=tolerance)


@pytest.mark.parametrize("support", ["normal", "vertical"])
def test_first_coefficient_of_the_large_deflection_series(support):
    # Source in beams.json: 72/7 and 108/35. Extrapolated from two small loads to none.
    above, below = PUBLISHED["large_deflection"]["first_coefficient"][support]
    line = np.array([1e-3, 2e-3])
    near, far = (elastica.deflection_ratio(48 * line, support) / line - 1) / line**2
    assert (4 * near - far) / 3 == pytest.approx(above / below, rel=1e-7)


@pytest.mark.parametrize("support", ["normal", "vertical"])
def test_published_table_of_large_deflections(support):
    # Source in beams.json.
    table = PUBLISHED["large_deflection"]
    line = np.array(table["line_over_span"])
    assert elastica.deflection_ratio(48 * line, support) / line == pytest.approx(np.array(table[support]), rel=1e-10)


@pytest.mark.parametrize("support", ["normal", "vertical"])
def test_departure_of_common_spines_from_the_line(support):
    # Source in beams.json, given to two digits after the point; the spine here is that of the line.
    table = PUBLISHED["departure_from_the_line"]
    line = np.array(table["spine_thou"]) * 0.0254 / SPAN_MM
    percent = 100 * (elastica.deflection_ratio(48 * line, support) / line - 1)
    assert percent == pytest.approx(np.array(table[f"{support}_percent"]), abs=0.01)


@pytest.mark.parametrize(("support", "vertical"), [("normal", 0.0), ("vertical", 1.0)])
def test_an_independent_integration_agrees(support, vertical):
    # Runge-Kutta (normal) and Simpson (vertical) of synthetic.py against quadrature and series.
    group = np.linspace(0.05, 4.3, 60)
    assert synthetic.ratio_for(group, vertical) == pytest.approx(elastica.deflection_ratio(group, support), rel=2e-12)


@pytest.mark.parametrize("support", ["normal", "vertical"])
def test_the_series_loses_nothing_against_the_quadrature(support):
    # Truncation of the Chebyshev series; the quadrature itself is held to the table above.
    curve = {"normal": elastica._normal_curve, "vertical": elastica._vertical_curve}[support]
    group, ratio = curve(np.linspace(0.005, 0.27, 500))
    assert ratio[-1] > 0.09
    inside = ratio < elastica.LARGEST_RATIO
    assert elastica.deflection_ratio(group[inside], support) == pytest.approx(ratio[inside], rel=1e-14)


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 1.0])
def test_supports_between_mix_the_deflections_of_both_bounds(share):
    group = np.linspace(0.05, 4.3, 60)
    normal, vertical = (synthetic.ratio_for(group, bound) for bound in (0.0, 1.0))
    expected = (1 - share) * normal + share * vertical
    assert elastica.deflection_ratio(group, share) == pytest.approx(expected, rel=2e-12)


def cowper(poisson, inner_over_outer):
    """Return the shear coefficient of a hollow circle; source in beams.json."""
    m2 = inner_over_outer**2
    ring = (1 + m2) ** 2
    return 6 * (1 + poisson) * ring / ((7 + 6 * poisson) * ring + (20 + 12 * poisson) * m2)


def test_shear_coefficients_of_cowper():
    table = PUBLISHED["shear_coefficients"]
    assert round(cowper(table["poisson"], 1.0), 3) == table["thin_tube"]
    assert round(cowper(table["poisson"], 0.0), 3) == table["solid_bar"]


def test_shear_of_real_tubes_stays_below_the_budgets_bound():
    # Shear deflection P L / 4 kappa G A (Cowper 1966) over bending P L^3 / 48 EI, on the standard span.
    shares = []
    for tube in TUBES:
        outer, inner = 25.4 * tube["outer_in"], 25.4 * tube["inner_in"]
        kappa = cowper(tube["poisson"], inner / outer)
        second_over_area = (outer**2 + inner**2) / 16
        shares.append(24 * (1 + tube["poisson"]) * second_over_area / (kappa * SPAN_MM**2))
    assert max(shares) == pytest.approx(0.00085, abs=0.00001)  # of metal
    # Unidirectional carbon has an E / G of about 25 (common practice, no source). A thin tube of 7 mm is the worst.
    carbon = 24 / 2 * 25 * (3.4**2 / 2) / (cowper(0.3, 1.0) * SPAN_MM**2)
    assert max(shares) < carbon < LARGEST_SHEAR_SHARE < 1.2 * carbon


# Friction and rims, against numbers computed apart from this project (friction_and_rims.json)

HELD = json.loads((DATA / "friction_and_rims.json").read_text())
DEPARTURES = dict(zip(HELD["columns"], np.transpose(HELD["relative_departure"]), strict=True))
LINE = np.array(HELD["delta_lin_over_L"])


@pytest.mark.parametrize(
    ("column", "support", "rim"),
    [("vertical", "vertical", 0.0), ("normal", "normal", 0.0), ("rho/L 0.01", "normal", 0.01),
     ("rho/L 0.02", "normal", 0.02)],
)  # fmt: skip
def test_rims_shorten_the_span_as_an_integration_elsewhere_has_it(column, support, rim):
    expected = LINE * (1 + DEPARTURES[column])
    assert elastica.deflection_ratio(48 * LINE, support, rim) == pytest.approx(expected, rel=2e-8)
    assert elastica.ratio_over_rims(48 * LINE, support, rim) == pytest.approx(expected, rel=2e-8)


@pytest.mark.parametrize(
    ("column", "friction"),
    [("mu 0.1 loading", 0.1), ("mu 0.1 unloading", -0.1), ("mu 0.2 loading", 0.2), ("mu 0.2 unloading", -0.2)],
)
def test_reactions_that_lean_bend_the_shaft_as_an_integration_elsewhere_has_it(column, friction):
    angle = elastica._angle_of(48 * LINE, lambda a: elastica._inclined_curve(a, friction)[0], 1e-9, 0.9)
    ratio = elastica._inclined_curve(angle, friction)[1]
    assert ratio == pytest.approx(LINE * (1 + DEPARTURES[column]), rel=2e-8)


def test_small_friction_changes_the_deflection_by_half_the_difference_of_both_ways():
    # Of the table's 0.1 either way; what is left is of the third order in friction.
    both = (DEPARTURES["mu 0.1 loading"] - DEPARTURES["mu 0.1 unloading"]) / 0.2
    assert elastica.ratio_by_friction(48 * LINE) / LINE == pytest.approx(both, rel=4e-3)


def test_rims_take_13_and_a_half_times_their_height_at_first_order():
    # The series of friction_and_rims.json: -13.5 (rho / L) (d / L), and -2.4 friction (d / L).
    group = np.array([0.005, 0.01])
    loss = elastica.ratio_by_rim(group, "normal", 0.0) / (group / 48) ** 2
    assert loss == pytest.approx([-13.5, -13.5], rel=1e-4)
    assert elastica.ratio_by_friction(group) / (group / 48) ** 2 == pytest.approx([-2.4, -2.4], rel=1e-4)


@pytest.mark.parametrize("support", ["normal", "vertical", 0.3])
@pytest.mark.parametrize("rim", [0.003, 0.03])
def test_the_series_over_rims_is_the_law_of_every_load(support, rim):
    group = np.linspace(0.01, 4.0, 200)
    ratio, slope = elastica.ratio_and_slope(group, support, rim)
    assert ratio == pytest.approx(elastica.ratio_over_rims(group, support, rim), rel=3e-7 if rim > 0.01 else 1e-11)
    step = 1e-5
    higher, lower = (elastica.deflection_ratio(group + part, support, rim) for part in (step, -step))
    assert slope == pytest.approx((higher - lower) / (2 * step), rel=1e-8)
    more, less = (elastica.deflection_ratio(group, support, rim + part) for part in (step, -step))
    assert elastica.ratio_by_rim(group, support, rim) == pytest.approx((more - less) / (2 * step), rel=1e-6)


@pytest.mark.parametrize("rim", [0.004, 0.02])
def test_a_step_by_step_integration_over_rims_agrees(rim):
    """Compare with the Runge-Kutta of synthetic.py."""
    ratio = np.linspace(0.001, 0.08, 40)
    group = 48 * ratio * synthetic.leaning_law(rim, 0.0)(ratio)
    assert elastica.deflection_ratio(group, "normal", rim) == pytest.approx(ratio, rel=1e-8)
    low, high = (elastica.deflection_ratio(load * 0.1, "normal", rim) for load in (0.9, 8.5))
    back = elastica.flexibility_between((0.9, 8.5), high - low, "normal", rim)
    assert float(back) == pytest.approx(0.1, rel=1e-9)


def test_pounds_and_thou_of_the_two_conventions_belong_together():
    # 26 / 0.520 in = 50 lb; the same shaft reads 0.630 in by the standard (small deflections; common practice).
    # The exact shaft reads a little more, by the departure from the line: a quarter of a percent.
    standard_in = float(elastica.convert_deflection(0.520 * 25.4, OLDER)) / 25.4
    assert 0.0 < standard_in / (0.520 * 1.2115065999 * 1.000035) - 1 < 0.0025
