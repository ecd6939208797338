"""Shafts that join a set: against trying every choice, and the reason when no shaft fits."""

import re
from itertools import combinations

import numpy as np
import pytest
from midspan.sets.complete import joining, why_none
from midspan.sets.limits import QUANTITIES, Limits

NAMES = tuple(quantity.name for quantity in QUANTITIES)
WINDOWS = (2.0, 1.5, 6.0, 4.0)


def drawn(rng, number, quantities):
    """Return invented shafts: spine, spread, weight, runout."""
    columns = [rng.normal(500, 1.2, number), rng.gamma(4, 0.5, number), rng.normal(310, 3, number)]
    return np.round(np.column_stack([*columns, rng.gamma(3, 1.2, number)])[:, :quantities], 2)


@pytest.mark.slow
@pytest.mark.parametrize("quantities", [1, 2, 4])
@pytest.mark.parametrize("wanted", [1, 2, 3])
def test_the_best_is_found_as_by_trying_everything(quantities, wanted):
    rng, found, none = np.random.default_rng(10 * quantities + wanted), 0, 0
    limits = Limits(number=4, **dict(zip(NAMES, WINDOWS[:quantities], strict=False)))
    for _ in range(70):
        stock, there = drawn(rng, 9, quantities), drawn(rng, 3, quantities)
        every = [np.r_[there, stock[list(some)]] for some in combinations(range(len(stock)), wanted)]
        costs = [limits.cost(values) for values in every if limits.allow(values)]
        picked = joining(there, stock, wanted, limits)
        if not costs:
            assert len(picked) == 0
            assert why_none(there, stock, limits)
            none += 1
            continue
        found += 1
        assert len(set(picked)) == wanted
        together = np.r_[there, stock[picked]]
        assert limits.allow(together)
        # The distance from the mean weighs a ten-thousandth of a limit's width a shaft.
        assert limits.cost(together) <= min(costs) + 3e-4
    assert found > 3


def test_of_shafts_that_make_a_set_no_wider_the_nearest_to_its_mean_is_taken():
    there = np.array([[499.0], [501.0]])
    stock = np.array([[499.1], [500.2], [500.9], [501.2]])
    limits = Limits(number=4, spine_thou=3.0)
    assert joining(there, stock, 1, limits).tolist() == [1]
    assert joining(there, stock, 2, limits).tolist() == [0, 1] or joining(there, stock, 2, limits).tolist() == [1, 2]


def test_the_nearest_is_taken_however_little_it_is_nearer():
    there = np.array([[499.9, 499.9], [499.8, 500.3], [499.7, 500.0]])
    stock = np.array([[501.2, 500.3], [500.2, 501.4], [499.8, 500.7], [499.5, 500.1],
                      [500.6, 499.5], [499.5, 499.9], [501.0, 498.8], [499.6, 500.7]])  # fmt: skip
    # By trying all 56: 2, 3, 5 make the set no wider, but 7 is nearer to the mean of 499.8 than 5.
    assert joining(there, stock, 3, Limits(number=6, spine_thou=2.0, spread_thou=2.0)).tolist() == [2, 3, 7]


def test_a_large_stock_is_no_burden():
    rng = np.random.default_rng(4)
    limits = Limits(number=12, spine_thou=2.0, spread_thou=1.5, weight_gr=6.0)
    there, stock = rng.normal([500, 2, 310], [0.4, 0.3, 1.2], (12, 3)), drawn(rng, 3000, 3)
    picked = joining(there, stock, 12, limits)
    assert len(set(picked)) == 12
    assert limits.allow(np.r_[there, stock[picked]])
    assert limits.cost(np.r_[there, stock[picked]]) == pytest.approx(limits.cost(there))


@pytest.mark.parametrize(
    ("there", "stock", "quantity", "numbers"),
    [
        ([[500.0, 2.0]], [[503.2, 2.0], [507.0, 9.0]], "spine", ["3.200", "2", "1.200"]),
        ([[500.0, 2.0]], [[500.5, 5.0]], "spread", ["3.000", "1.5", "1.500"]),
        ([[500.0, 2.0], [503.0, 2.0]], [[501.0, 2.0]], "spine", ["3.000"]),
        ([[500.0, 2.0]], [[498.2, 2.0], [501.8, 2.0]], "", []),  # each fits alone, not both together
    ],
)
def test_the_limit_that_keeps_all_out_is_named_with_its_numbers(there, stock, quantity, numbers):
    limits = Limits(number=3, spine_thou=2.0, spread_thou=1.5)
    there, stock = np.array(there), np.array(stock)
    assert len(joining(there, stock, 2, limits)) == 0
    reason = why_none(there, stock, limits)
    assert quantity in reason
    assert re.findall(r"\d+(?:\.\d+)?", reason) == numbers
