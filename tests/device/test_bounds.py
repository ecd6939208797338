"""The whole conversion against the Cramer-Rao bound: it neither loses nor invents information of the readings.

The bound is that of bench/efficiency.py: Fisher information of the paper gauge's own forward model with every
nuisance (bow, ovality, height, slip, hysteresis, zeros, creep) unknown (S. M. Kay, Estimation Theory, 1993, 3.7-3.9).
"""

import numpy as np
import pytest
from bench.efficiency import TRUE, bounds
from midspan.measurement.result import evaluate
from scipy.stats import chi2
from synthetic import Gauge, paper_calibration, raw_run

pytestmark = pytest.mark.slow

SHAFTS = 1000
AIM = 0.95  # efficiency, bound over variance: the design's aim


@pytest.fixture(scope="module")
def bound():
    """Return the least standard deviations of spine, spread (thou) and stiff side (degrees) for a newton of noise."""
    return np.array(bounds(1.0))


@pytest.mark.parametrize("noise_g", [0.042, 0.2])
def test_mean_spine_spread_and_stiff_side_reach_the_bound(noise_g, bound):
    noise_n = noise_g * 9.80665e-3
    rng = np.random.default_rng(round(1000 * noise_g))
    runs = [raw_run(TRUE, Gauge(noise_n=noise_n), rng) for _ in range(SHAFTS)]
    errors = np.array(
        [
            (
                result.spine_thou - TRUE.spine_thou,
                result.spread_thou - TRUE.spread_thou,
                (result.stiff_side_deg - TRUE.stiff_side_deg + 90) % 180 - 90,
            )
            for result in evaluate(runs, paper_calibration())
        ]
    )
    scatter = errors.std(axis=0, ddof=1) / (bound * noise_n)
    low, high = np.sqrt(chi2.ppf([5e-5, 1 - 5e-5], SHAFTS - 1) / (SHAFTS - 1))
    assert (scatter > low).all()
    assert (scatter < high / np.sqrt(AIM)).all()
    assert np.abs(errors.mean(axis=0) / (bound * noise_n)).max() < 4 / np.sqrt(SHAFTS)


def test_the_bound_goes_with_the_noise(bound):
    # ... and the reported scatter with it, which holds the two noise levels above together.
    assert np.array(bounds(0.004)) == pytest.approx(0.004 * bound, rel=1e-6)
