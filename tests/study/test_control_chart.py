"""Control charts against the handbook's examples; each run rule on points that show it and points that just do not."""

import json
from math import sqrt

import numpy as np
import pytest
from commands_rig import midspan
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ReadingsError
from midspan.study.control_chart import D2, RULES, checks_until_seen, individuals_chart, weighted_mean
from places import DATA

STUDIES = json.loads((DATA / "studies.json").read_text(encoding="utf-8"))
SINGLE, WEIGHTED = STUDIES["individuals"], STUDIES["weighted_mean"]


def test_individuals_of_the_handbook() -> None:
    """e-Handbook, 6.3.2.2: centre, mean moving range and limits; it rounds d2 to 1.128."""
    chart = individuals_chart(SINGLE["readings"])
    assert chart.centre == pytest.approx(SINGLE["centre"], abs=5e-3)
    assert np.mean(chart.ranges) == pytest.approx(SINGLE["mean_moving_range"], abs=5e-5)
    rounding = D2 / SINGLE["d2"]
    half = (chart.limits[1] - chart.centre) * rounding
    assert [chart.centre - half, chart.centre + half] == pytest.approx(SINGLE["limits"], abs=5.1e-5)
    assert chart.signals == ()


def test_weighted_mean_of_the_handbook() -> None:
    """e-Handbook, 6.3.2.4: limits to four places, means to the 0.005 that its rounding leaves, no signal."""
    chart = individuals_chart(WEIGHTED["readings"], centre=WEIGHTED["centre"], sigma=WEIGHTED["sigma"])
    mean = weighted_mean(chart, WEIGHTED["weight"], settled=True)
    assert [mean.low[0], mean.high[0]] == pytest.approx(WEIGHTED["limits"], abs=1.1e-4)
    assert mean.means == pytest.approx(WEIGHTED["means"], abs=5e-3)
    assert mean.signals == ()


def test_limits_of_the_weighted_mean_widen_from_one_reading_to_the_settled_ones() -> None:
    """Compare with Lucas and Saccucci (1990).

    The first limit is sigma times weight, later ones follow weight / (2 - weight).
    """
    chart = individuals_chart([0.0] * 60, centre=0.0, sigma=1.0)
    mean = weighted_mean(chart, 0.25)
    assert mean.high[0] == pytest.approx(3 * 0.25)
    assert mean.high[-1] == pytest.approx(3 * sqrt(0.25 / 1.75), rel=1e-6)


def test_range_limit_of_the_handbook() -> None:
    """e-Handbook, 6.3.2.1: D4 of two readings is 3.267 times their mean range."""
    chart = individuals_chart(SINGLE["readings"])
    assert chart.range_limit / np.mean(chart.ranges) == pytest.approx(STUDIES["range_of_two"]["d4"], abs=5e-4)


@pytest.mark.parametrize(("shift", "printed"), STUDIES["checks_until_seen"]["by_shift"].items())
def test_average_checks_until_a_shift_is_seen(shift: str, printed: float) -> None:
    """e-Handbook, 6.3.2.3.1, where 371 and 44 are rounded up."""
    assert checks_until_seen(float(shift)) == pytest.approx(printed, rel=2.5e-3)


SHOWN = {
    "beyond the limits": ([3.01], [2.99]),
    "2 of 3 beyond two sigma on one side": ([2.1, 0.0, 2.1], [2.1, 0.0, -2.1]),
    "4 of 5 beyond one sigma on one side": ([1.1, 1.1, 0.0, 1.1, 1.1], [1.1, 1.1, 0.0, 1.1, 0.9]),
    "8 in a row on one side": ([-0.1] * 8, [0.1, *[-0.1] * 7]),
    "6 in a row rising or falling": ([-0.3, -0.2, -0.1, 0.1, 0.2, 0.3], [-0.3, -0.2, -0.1, 0.1, 0.1, 0.3]),
    "14 in a row alternating": ([0.1, -0.1] * 7, [*[0.1, -0.1] * 6, 0.1, 0.2]),
    "15 in a row within one sigma": ([0.9, -0.9, 0.5] * 5, [*[0.9, -0.9, 0.5] * 4, 0.9, -0.9, 1.1]),
    "8 in a row beyond one sigma on both sides": ([1.1, -1.1] * 4, [*[1.1, -1.1] * 3, 1.1, -0.9]),
}


def names_at_the_end(z):
    """Return the rules that the last of these standardised points completes."""
    chart = individuals_chart(z, centre=0.0, sigma=1.0)
    return {signal.rule.name for signal in chart.signals if signal.at == len(z) - 1}


def test_every_rule_has_an_example_and_a_source() -> None:
    assert [rule.name for rule in RULES] == list(SHOWN)
    assert all("19" in rule.source for rule in RULES)


@pytest.mark.parametrize("name", SHOWN)
def test_run_rules(name: str) -> None:
    """Rules of the Western Electric handbook (1956) and of L. S. Nelson (1984), mirrored as well."""
    shown, just_not = SHOWN[name]
    for sign in (1, -1):
        assert name in names_at_the_end([sign * z for z in shown])
        assert name not in names_at_the_end([sign * z for z in just_not])


@pytest.mark.slow
@given(st.lists(st.floats(-4, 4), min_size=3, max_size=25), st.sampled_from([25.4, 1e-3, -1.0]), st.floats(-900, 900))
def test_unit_origin_and_direction_change_no_signal(z, factor, origin) -> None:
    z = [round(value, 2) + 0.005 for value in z]  # keeps every point off the limits
    plain = individuals_chart(z, centre=0.0, sigma=1.0)
    other = individuals_chart([value * factor + origin for value in z], centre=origin, sigma=abs(factor))
    assert [(s.rule.name, s.at) for s in other.signals] == [(s.rule.name, s.at) for s in plain.signals]
    assert weighted_mean(other).signals == weighted_mean(plain).signals


@pytest.mark.slow
def test_the_weighted_mean_sees_a_lasting_shift_sooner() -> None:
    """Shift 400 histories by one sigma: single readings take 44 on average, the weighted mean (0.2) about ten."""
    rng = np.random.default_rng(8)
    single, weighted = [], []
    for _ in range(400):
        chart = individuals_chart(rng.normal(1.0, 1.0, 400).tolist(), centre=0.0, sigma=1.0)
        single.append(min(s.at for s in chart.signals if s.rule.name == "beyond the limits") + 1)
        weighted.append(weighted_mean(chart).signals[0] + 1)
    assert np.mean(single) == pytest.approx(43.9, rel=0.15)
    assert 7 < np.mean(weighted) < 13


def test_a_jump_between_two_readings_is_seen() -> None:
    chart = individuals_chart([0.0, 0.2, -0.1, 2.0, -2.0, 0.1], centre=0.0, sigma=1.0)
    assert chart.wide_ranges == (4,)


@pytest.mark.parametrize(("values", "code"), [([500.0] * 10, "no_scatter"), ([500.0], "too_few")])
def test_a_stuck_gauge_and_too_few_readings_are_refused(values, code) -> None:
    with pytest.raises(ReadingsError) as caught:
        individuals_chart(values)
    assert caught.value.code == code


@pytest.fixture
def history(tmp_path):
    """A table of 40 readings that shift by five sigma at reading 31."""
    rng = np.random.default_rng(4)
    values = rng.normal(500, 0.05, 40) + 0.25 * (np.arange(40) >= 30)
    path = tmp_path / "bar.csv"
    path.write_text("value\n" + "\n".join(f"{value:.3f}" for value in values), encoding="utf-8")
    return path


@pytest.mark.slow
def test_the_command_says_since_when_and_what_to_do(history, snapshot) -> None:
    picture = history.with_suffix(".pdf")
    done = midspan("study", "chart", "--csv", history, "--baseline", "30", "--picture", picture)
    assert done.stdout.replace(str(picture.parent), "FOLDER") == snapshot
    assert picture.read_bytes().startswith(b"%PDF")


def test_the_command_lets_a_good_gauge_go_on(history, snapshot) -> None:
    good = history.with_name("good.csv")
    good.write_text("\n".join(history.read_text(encoding="utf-8").splitlines()[:25]), encoding="utf-8")
    assert midspan("study", "chart", "--csv", good).stdout == snapshot
