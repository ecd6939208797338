"""Two samples compared, against published worked examples and against scipy and statistics as reference libraries."""

import math
import statistics

import numpy as np
import pytest
from midspan.base.errors import ReadingsError
from midspan.study.two_samples import SampleSummary, distribution_gap, paired, shares_below, variance_ratio, welch
from scipy import stats

# NIST/SEMATECH e-Handbook, 7.3.1: times to assemble a device by an old and a new process; readings, means, t and the
# degrees of freedom from memory.
OLD = [32.0, 37, 35, 28, 41, 44, 35, 31, 34, 38, 42]
NEW = [36.0, 31, 30, 31, 34, 36, 29, 32, 31]


def with_moments(rng, number, mean, sd):
    """Return values with exactly this mean and standard deviation."""
    drawn = rng.normal(size=number)
    return mean + sd * (drawn - drawn.mean()) / drawn.std(ddof=1)


def test_assembly_times_of_the_handbook():
    old, new, found = SampleSummary.of(OLD), SampleSummary.of(NEW), welch(OLD, NEW)
    assert (old.number, round(old.mean, 4), round(old.sd, 4)) == (11, 36.0909, 4.9082)
    assert (new.number, round(new.mean, 4)) == (9, 32.2222)
    assert -found.difference / found.u == pytest.approx(2.269, abs=1e-3)
    assert found.dof == pytest.approx(15.533, abs=1e-3)
    # Beyond the upper critical value of Student's t for 15 degrees of freedom and 5 % on one side, 1.753.
    assert -found.difference / found.u > 1.753
    reference = stats.ttest_ind(NEW, OLD, equal_var=False)
    assert found.difference / found.u == pytest.approx(reference.statistic)
    assert (found.dof, found.p) == pytest.approx((reference.df, reference.pvalue))
    assert found.is_beyond(found.expanded()) == (reference.pvalue < 0.05)


def test_mileages_of_the_handbook():
    # NIST/SEMATECH e-Handbook, 1.3.5.3 (AUTO83B): 249 and 79 cars; numbers from memory.
    rng = np.random.default_rng(1)
    first, second = with_moments(rng, 249, 20.14458, 6.41470), with_moments(rng, 79, 30.48101, 6.10771)
    found = welch(second, first)
    assert found.difference / found.u == pytest.approx(-12.94627, abs=2e-4)
    assert found.dof == pytest.approx(136.8750, abs=1e-3)


def test_ratio_of_variances_of_the_handbook():
    # NIST/SEMATECH e-Handbook, 1.3.5.9 (ceramic strength): 240 of each, F = 1.123037; critical 0.7756 and 1.2894 for
    # 5 % on both sides; numbers from memory.
    rng = np.random.default_rng(2)
    batch1, batch2 = with_moments(rng, 240, 688.9987, 65.54909), with_moments(rng, 240, 611.1559, 61.85425)
    found = variance_ratio(batch2, batch1)
    assert found.ratio == pytest.approx(1.123037, abs=1e-6)
    assert not found.is_told
    assert found.ratio / np.array([found.high, found.low]) == pytest.approx([0.7756, 1.2894], abs=2e-4)


@pytest.mark.parametrize("seed", range(5))
def test_scatter_is_compared_as_scipy_does(seed):
    rng = np.random.default_rng(seed)
    these, others = rng.normal(500, 1, 14), rng.normal(500, 1 + seed, 23)
    found = variance_ratio(these, others)
    ratio = statistics.variance(others) / statistics.variance(these)
    assert found.ratio == pytest.approx(ratio)
    assert found.p == pytest.approx(2 * min(stats.f.cdf(ratio, 22, 13), stats.f.sf(ratio, 22, 13)))
    assert (found.low < 1 < found.high) == (found.p > 0.05)
    assert found.p_any_shape == pytest.approx(stats.levene(these, others, center="median").pvalue)


def test_a_long_tail_alone_is_no_other_scatter():
    bell, tailed = stats.norm.ppf((np.arange(40) + 0.5) / 40), stats.norm.ppf((np.arange(40) + 0.5) / 40)
    tailed[-1] = 7.0
    found = variance_ratio(bell, tailed)
    assert (found.p < 0.05, found.is_told) == (True, False)


def test_pairs_cancel_what_differs_between_things():
    rng = np.random.default_rng(4)
    before = rng.normal(500, 8, 12)
    after = before + 0.6 + rng.normal(0, 0.2, 12)
    found, reference = paired(before, after), stats.ttest_rel(after, before)
    assert found.difference / found.u == pytest.approx(reference.statistic)
    assert (found.dof, found.p) == pytest.approx((11, reference.pvalue))
    assert found.is_beyond(found.expanded())
    apart = welch(before, after)
    assert not apart.is_beyond(apart.expanded())


def test_no_number_of_values_averages_a_calibration_out():
    rng = np.random.default_rng(5)
    first, second = rng.normal(500, 1, 20_000), rng.normal(500.3, 1, 20_000)
    sure, unsure = welch(first, second), welch(first, second, u_shared=0.3)
    assert sure.is_beyond(sure.expanded())
    assert not unsure.is_beyond(unsure.expanded())
    assert unsure.expanded() == pytest.approx(1.96 * 0.3, rel=0.01)
    assert distribution_gap(first, second).is_told
    assert not distribution_gap(first, second, allowed_shift=0.6).is_told


def test_ranges_hold_the_truth_in_95_of_100_cases():
    # Shafts of two unlike batches, a calibration of its own for each: the coverage of the range is counted.
    rng, held, trials = np.random.default_rng(6), 0, 4000
    for _ in range(trials):
        first = rng.normal(500, 1.0, 8) + rng.normal(0, 0.3)
        second = rng.normal(501, 3.0, 15) + rng.normal(0, 0.3)
        found = welch(first, second, u_shared=math.hypot(0.3, 0.3))
        held += abs(found.difference - 1.0) <= found.expanded()
    assert held / trials == pytest.approx(0.95, abs=0.012)


@pytest.mark.parametrize("seed", range(3))
def test_distributions_are_compared_as_by_counting(seed):
    rng = np.random.default_rng(seed)
    these, others = rng.normal(0, 1, 30), rng.normal(0.5 * seed, 2, 50)
    at = np.r_[these, others]
    by_counting = max(abs((these <= x).mean() - (others <= x).mean()) for x in at)
    assert distribution_gap(these, others).gap == pytest.approx(by_counting)
    assert np.abs(shares_below(these, at) - shares_below(others, at)).max() == pytest.approx(by_counting)
    assert distribution_gap(these, others).p == pytest.approx(stats.ks_2samp(these, others).pvalue)


def test_values_without_scatter():
    same = welch([5.0, 5.0], [5.0, 5.0])
    assert (same.difference, same.p, same.is_beyond(same.expanded())) == (0.0, 1.0, False)
    assert variance_ratio([5.0, 5.0], [5.0, 6.0]) is None
    assert welch([5.0, 5.0], [6.0, 6.0]).p == 0.0
    for few in ([], [5.0]):
        with pytest.raises(ReadingsError) as caught:
            welch(few, [5.0, 6.0])
        assert caught.value.code == "too_few"
