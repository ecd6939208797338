"""Two results of one thing: E_n against a published example, and how often sound results are accused."""

import json
import math

import numpy as np
import pytest
from midspan.base.errors import ConversionError
from midspan.uncertainty.comparison import Compared, agreement_of
from places import DATA

PUBLISHED = json.loads((DATA / "en_scores.json").read_text(encoding="utf-8"))


def test_e_n_is_what_the_published_example_prints() -> None:
    """Take U as twice the standard deviation, on both sides, as the example does."""
    batch, printed = PUBLISHED["batch"], PUBLISHED["printed_e_n"]
    u = float(np.std(batch, ddof=1))
    found = [agreement_of(x, u, PUBLISHED["reference"], PUBLISHED["deviation_of_all_100"], k=2.0).e_n for x in batch]
    assert found[: len(printed)] == pytest.approx(printed, abs=5e-4)


def test_one_pair_of_sound_results_in_twenty_is_beyond_one() -> None:
    rng = np.random.default_rng(4)
    first, second = rng.normal(500, 0.3, 20_000), rng.normal(500, 0.4, 20_000)
    held = np.mean([agreement_of(a, 0.3, b, 0.4).holds for a, b in zip(first, second, strict=True)])
    assert held == pytest.approx(0.95, abs=0.005)


def test_a_cause_that_both_share_does_not_count() -> None:
    """Compare results that share 0.4 of uncertainty: what is left is 0.3 of the first and nothing of the second."""
    found = agreement_of(501.0, 0.5, 500.0, 0.4, covariance=0.16)
    assert found.u == pytest.approx(0.3)
    assert found.e_n == pytest.approx(1 / (1.959964 * 0.3))


def test_the_limit_itself_disagrees() -> None:
    """Follow ISO 13528:2022, 9.7.2: an E_n of 1 is a signal already."""
    assert not Compared(2.0, 1.0, 2.0).holds
    assert not Compared(-2.0, 1.0, 2.0).holds
    assert Compared(1.999, 1.0, 2.0).holds


def test_exact_results_agree_only_where_they_are_equal() -> None:
    assert agreement_of(5.0, 0.0, 5.0, 0.0).holds
    assert agreement_of(4.0, 0.0, 5.0, 0.0).e_n == -math.inf


def test_what_cannot_be_uncertainties_is_refused() -> None:
    with pytest.raises(ConversionError):
        agreement_of(1.0, -0.1, 1.0, 0.1)
    with pytest.raises(ConversionError) as caught:
        agreement_of(1.0, 0.1, 1.0, 0.1, covariance=0.02)
    assert caught.value.code == "covariance"
