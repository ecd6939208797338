"""Likely twins on invented stocks; the comparison never sees which shafts are the same."""

import math

import numpy as np
import pytest
from midspan.measurement.result import evaluate
from midspan.sets.fingerprint import BOW, EVENNESS, fingerprints, repeats_of, together
from midspan.sets.likeness import likely_same
from synthetic import Gauge, Shaft, paper_calibration, raw_run
from twins_rig import BOW_SD, SPINE_SD, UNEVEN_SD, bound, coefficients, even, lots, matched, mixed


def measured(stock, rng, noise=1.0):
    """Return the fingerprints of shafts as measured, however they were put in."""
    return fingerprints(*coefficients(stock, rng, noise))


def repeated(rng, times, noise=1.0):
    """Return how well a gauge repeats by a check standard that is even and straight, as most are."""
    bar = np.full(times, 500.0), np.full(times, 0.3), np.zeros(times), np.zeros(times)
    return repeats_of([measured(bar, rng, noise).traits])


def questioned(likeness):
    """Return every shaft that is in a likely pair."""
    return {shaft for pair in likeness.pairs for shaft in pair}


STOCKS = [matched, mixed, lots, bound, even]


@pytest.mark.slow
@pytest.mark.parametrize("noise", [1.0, 10.0, 100.0])
@pytest.mark.parametrize("stock", STOCKS)
def test_at_most_one_in_a_thousand_different_shafts_is_questioned(stock, noise):
    found = shafts = 0
    for n, seeds in ((1000, 10), (10_000, 1)):
        for seed in range(seeds):
            rng = np.random.default_rng(seed)
            different = measured(stock(rng, n), rng, noise)
            found += len(questioned(likely_same(different, repeated(rng, 30, noise))))
            shafts += n
    assert found <= 1e-3 * shafts


@pytest.mark.slow
@pytest.mark.parametrize("stock", [matched, even])
def test_at_most_one_in_a_thousand_of_a_hundred_thousand_is_questioned(stock):
    rng = np.random.default_rng(11)
    assert len(questioned(likely_same(measured(stock(rng, 100_000), rng), repeated(rng, 30)))) <= 100


@pytest.mark.slow
@pytest.mark.parametrize(("stock", "n"), [(matched, 1000), (matched, 10_000), (mixed, 100_000), (lots, 1000)])
def test_a_shaft_that_comes_again_is_found(stock, n):
    rng = np.random.default_rng(5)
    there = stock(rng, n)
    again = [column[: n // 5] for column in there]
    found = likely_same(together([measured(there, rng), measured(again, rng)]), repeated(rng, 30))
    true = {(i, n + i) for i in range(n // 5)}
    assert len(true & set(found.pairs)) > 0.9 * len(true)
    # Nearly all others are reported as unsure, not passed over in silence.
    silent = [pair for pair in true - set(found.pairs) if not set(pair) <= set(found.unsure) | questioned(found)]
    assert len(silent) < 0.02 * len(true)


def test_where_the_gauge_parts_no_shafts_it_says_so():
    rng = np.random.default_rng(2)
    there = matched(rng, 500)
    found = likely_same(together([measured(there, rng, 100)] * 2), repeated(rng, 30, 100))
    assert len(found.pairs) == 0
    assert len(found.unsure) > 990
    few = measured(matched(rng, 6), rng)
    assert likely_same(few, repeated(rng, 30)).unsure == tuple(range(6))


@pytest.mark.parametrize("nights", [2, 3, 5])
def test_few_repeats_and_several_nights_are_enough_for_a_small_stock(nights):
    rng = np.random.default_rng(8)
    there = mixed(rng, 36)
    found = likely_same(together([measured(there, rng) for _ in range(nights)]), repeated(rng, 4))
    true = {(i + 36 * a, i + 36 * b) for i in range(36) for b in range(nights) for a in range(b)}
    assert set(found.pairs) <= true
    assert len(found.pairs) > 0.95 * len(true)


def test_what_is_repeated_is_pooled_over_shafts():
    rng = np.random.default_rng(4)
    bars = [
        measured((np.full(5, s), np.full(5, 1.0), np.full(5, 0.1), np.zeros(5)), rng).traits
        for s in np.linspace(300, 700, 400)
    ]
    found = repeats_of([*bars, bars[0][:1]])
    assert found.dof == 1600
    assert found.sd[[0, EVENNESS, BOW]] == pytest.approx(np.array([SPINE_SD, UNEVEN_SD, BOW_SD]) / 500, rel=0.06)
    assert repeats_of([]) is repeats_of([bars[0][:1]]) is None


def test_a_straight_standard_says_as_much_of_the_bow_as_a_bent_one():
    rng = np.random.default_rng(4)
    straight = repeats_of(
        [measured((np.full(4000, 500.0), np.full(4000, 1.0), np.zeros(4000), np.zeros(4000)), rng).traits]
    )
    assert straight.sd[BOW] == pytest.approx(BOW_SD / 500, rel=0.05)


def test_traits_stay_however_the_shaft_was_put_in():
    """Raw runs of a paper gauge with its own elastica: the same shaft turned, and end for end."""
    lain = [(0, 1), (70, 1), (200, 1), (31, -1), (290, -1)]
    shafts = [
        Shaft(498.0, 5.0, end * 30.0 + turn, 0.1, end * 85.0 + turn, number=i) for i, (turn, end) in enumerate(lain)
    ]
    rng = np.random.default_rng(6)
    results = evaluate([raw_run(shaft, Gauge(), rng) for shaft in shafts], paper_calibration())
    curves, surfaces = zip(*((result.curve_thou, result.surface_mm) for result in results), strict=True)
    found = fingerprints(np.array(curves), np.array(surfaces))
    assert (np.ptp(found.traits[:, [0, EVENNESS, BOW]], axis=0) < [4e-5, 4e-5, 4e-7]).all()
    between = np.abs(np.angle(found.waves[:, 0, 1] * np.conj(found.waves[:, 1, 0]) ** 2)) / 2
    assert between == pytest.approx(np.full(5, math.radians(35.0)), abs=4e-3)  # the bow lies 55 from the stiff side
    assert 500 * found.traits[:, 0].mean() == pytest.approx(500 * math.log(498.0), abs=0.05)


def test_results_that_say_the_same_to_the_last_bit_are_likely_one():
    rng = np.random.default_rng(9)
    found = likely_same(together([measured(mixed(rng, 40), rng)] * 2), repeated(rng, 3))
    assert set(found.pairs) == {(i, 40 + i) for i in range(40)}
