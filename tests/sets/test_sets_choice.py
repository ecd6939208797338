"""Choosing matched sets: against trying everything, published instances, and rules that no choice may break."""

import json
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from midspan.sets.choose import choose, limits_that_block
from midspan.sets.limits import QUANTITIES, Limits
from midspan.sets.search_bounds import least_for_each
from midspan.sets.search_exact import exact
from midspan.sets.search_one_quantity import most_sets, tightest
from places import DATA
from pydantic import ValidationError

pytestmark = pytest.mark.slow

MATCHING = json.loads((DATA / "matching.json").read_text(encoding="utf-8"))
NAMES = tuple(quantity.name for quantity in QUANTITIES)


def limited(number, *windows):
    """Return limits on the first quantities."""
    return Limits(number=number, **dict(zip(NAMES, windows, strict=False)))


def all_sets(values, limits):
    """Return every set that keeps within the limits, with its cost: written out, without the code under test."""
    windows, weights = limits.windows, 0.1 ** np.array([NAMES.index(name) for name in limits.names])
    found = []
    for members in combinations(range(len(values)), limits.number):
        ranges = [max(values[i][a] for i in members) - min(values[i][a] for i in members) for a in range(len(windows))]
        if all(width <= window + 1e-9 for width, window in zip(ranges, windows, strict=True)):
            cost = sum(w * width / window for w, width, window in zip(weights, ranges, windows, strict=True))
            found.append((frozenset(members), cost))
    return found


def best_of_all(sets, used=frozenset()):
    """Return the most disjoint sets, and the least cost of as many, by trying every choice."""
    best = (0, 0.0)
    for i, (members, cost) in enumerate(sets):
        if not members & used:
            count, rest = best_of_all(sets[i + 1 :], used | members)
            best = min(best, (-(count + 1), rest + cost))
    return -best[0], best[1]


def stock(rng, number, quantities):
    """Return invented shafts: spine, spread, weight, runout."""
    drawn = [rng.normal(500, 1.5, number), rng.gamma(4, 0.6, number), rng.normal(310, 4, number)]
    return np.round(np.column_stack([*drawn, rng.gamma(3, 1.3, number)])[:, :quantities], 2)


WINDOWS = (2.0, 1.5, 6.0, 4.0)


@pytest.mark.parametrize("quantities", [1, 2, 3, 4])
@pytest.mark.parametrize(("shafts", "number"), [(8, 2), (9, 3), (10, 4)])
def test_a_small_stock_is_divided_as_well_as_by_trying_everything(shafts, number, quantities):
    rng = np.random.default_rng(100 * shafts + quantities)
    seen = set()
    for _ in range(6):
        values, limits = stock(rng, shafts, quantities), limited(number, *WINDOWS[:quantities])
        choice = choose(values, limits)
        most, cost = best_of_all(all_sets(values, limits))
        assert (len(choice.sets), choice.most) == (most, most)
        assert choice.cost == pytest.approx(cost, abs=1e-6)
        assert choice.least_cost == pytest.approx(cost, abs=1e-6)
        assert choice.is_best
        seen.add(most)
    assert len(seen) > 1 or seen == {shafts // number} or quantities > 2


@pytest.mark.parametrize("number", [6, 12])
def test_the_narrowest_group_of_published_values_is_found(number):
    published = MATCHING["check_standard"]
    values = np.array(published["values"])
    wanted = published["narrowest"][str(number)]
    total, (members,) = tightest(values, number, 1.0, 1)
    assert total == pytest.approx(wanted, abs=1e-9)
    if number == 12:
        assert sorted(values[members]) == published["of_twelve"]
    # In thousandths, so that the window is a permitted limit: wide enough for one set, then not.
    thousandths = values[:, None] * 1000
    assert len(choose(thousandths, limited(number, 1000 * wanted)).sets) >= 1
    assert choose(thousandths, limited(number, 1000 * wanted - 0.5)).most == 0


@pytest.mark.parametrize(("scale", "sets"), [(5 / 6, 1), (5 / 6 - 1e-4, 0)])
def test_two_quantities_are_matched_at_once(scale, sets):
    invented = MATCHING["two_quantities"]
    values = np.array(invented["points"]) * 1000
    windows = np.array(invented["tolerances"]) * 1000 * scale
    choice = choose(values, limited(invented["choose"], *windows))
    assert len(choice.sets) == choice.most == sets
    for members in choice.sets:
        assert values[members].tolist() == (1000 * np.array(invented["members"])).tolist()


def test_one_quantity_is_exact_for_any_stock():
    values = np.random.default_rng(3).normal(500, 2, 24)
    limits = limited(4, 1.2)
    choice = choose(values[:, None], limits)
    assert choice.is_best
    assert len(choice.sets) == choice.most == most_sets(values, 4, 1.2)
    again = exact(values[:, None] / 1.2, np.ones(1), 4, [], choice.most, 0.0)  # HiGHS on the same
    assert (len(again.sets), again.least_cost) == (choice.most, pytest.approx(choice.cost, abs=1e-6))


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10**6), st.integers(20, 150), st.sampled_from([2, 3, 6, 12]), st.integers(1, 4))
def test_no_choice_breaks_a_limit_uses_a_shaft_twice_or_claims_too_much(seed, shafts, number, quantities):
    values = stock(np.random.default_rng(seed), shafts, quantities)
    limits = limited(number, *WINDOWS[:quantities])
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("midspan.sets.choose.EXACT_PAIRS", 60)
        choice = choose(values, limits)
    used = [int(i) for members in choice.sets for i in members]
    assert len(used) == len(set(used)) == number * len(choice.sets)
    assert all(limits.allow(values[members]) for members in choice.sets)
    assert choice.cost == pytest.approx(sum(limits.cost(values[members]) for members in choice.sets))
    assert len(choice.sets) <= choice.most
    assert choice.least_cost <= choice.cost
    means = [values[members, 0].mean() for members in choice.sets]
    assert means == sorted(means)


def test_the_bounds_hold_for_every_set_there_is():
    rng = np.random.default_rng(11)
    bounded = 0
    for quantities in (2, 3, 4):
        for _ in range(20):
            values, limits = stock(rng, 14, quantities), limited(3, *WINDOWS[:quantities])
            least = least_for_each(values / limits.windows, limits.importance, 3)
            for members, cost in all_sets(values, limits):
                assert cost >= least[sorted(members)].max() - 1e-9
                bounded += cost < 2 * least[sorted(members)].max()
    assert bounded > 100  # the bounds are close enough to mean something


def test_the_order_of_the_stock_does_not_matter():
    rng = np.random.default_rng(5)
    values, limits = rng.normal([500, 3, 310], [2, 1, 3], (120, 3)), limited(12, 2.0, 2.5, 9.0)
    first = choose(values, limits)
    mixed = rng.permutation(len(values))
    again = choose(values[mixed], limits)
    assert len(first.sets) >= 2
    assert [set(mixed[members]) for members in again.sets] == [set(members) for members in first.sets]


def test_more_and_tighter_sets_than_by_going_along_sorted_spine():
    values, limits = stock(np.random.default_rng(8), 400, 3), limited(12, *WINDOWS[:3])
    order, plain, i = np.argsort(values[:, 0]), 0, 0
    while i + 12 <= len(order):
        fits = limits.allow(values[order[i : i + 12]])
        plain, i = plain + fits, i + (12 if fits else 1)
    assert len(choose(values, limits).sets) > plain + 5


# What blocks


def test_the_limit_that_blocks_is_named_with_what_it_would_have_to_be():
    rng = np.random.default_rng(21)
    helped = 0
    for quantities in (1, 2, 3):
        for _ in range(20):
            values, limits = stock(rng, 9, quantities), limited(4, *(0.3 * w for w in WINDOWS[:quantities]))
            if choose(values, limits).most:
                continue
            for name, needed in limits_that_block(values, limits).items():
                wide = limits.model_copy(update={name: 1e3 if needed is None else needed})
                fresh = Limits.model_validate(wide.model_dump())
                assert bool(all_sets(values, fresh)) is (needed is not None)
                if needed is not None:
                    tight = Limits.model_validate({**wide.model_dump(), name: needed - 2e-4})
                    assert not all_sets(values, tight)
                    helped += 1
    assert helped > 10


def test_too_few_shafts_are_no_matter_of_limits():
    assert limits_that_block(np.array([[500.0], [500.1]]), limited(3, 1.0)) == {"spine_thou": None}
    assert choose(np.zeros((0, 2)), limited(3, 1.0, 1.0)).sets == ()


@pytest.mark.parametrize(
    "wrong", [{"number": 1}, {"spine_thou": 0.0}, {"spine_thou": float("nan")}, {"weight_gr": -5.0}]
)
def test_limits_that_mean_nothing_are_refused(wrong):
    with pytest.raises(ValidationError):
        Limits.model_validate({"number": 12, "spine_thou": 3.0} | wrong)
