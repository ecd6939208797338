"""The scatter between cycles of the standard plan on the real device code, with fresh noise each time.

A standard deviation of n cycles that truly is sigma exceeds sigma sqrt(q / (n - 1)) once in a million times, with q the
quantile of chi square of n - 1 degrees of freedom (common practice). So no test here fails by chance, and each one sees
a scatter of three times what it allows.
"""

import math

import numpy as np
import pytest
from midspan.measurement.cycle_bound import Noise, repeatability
from midspan.measurement.cycle_settings import STANDARD
from repeated_cycles import GAUGE, QUANTITIES, repeated_cycles, scatter
from scipy import stats

pytestmark = pytest.mark.slow

CYCLES, CHANCE = 12, 1e-6
MOST = {"spine_thou": 0.02, "spread_thou": 0.05, "stiff_side_deg": 0.5}  # what a sorting plan may scatter by
INTERVAL_US = 12_315  # of the simulated converter, which runs 1.5 % fast
KINDS = [(300.0, 0.4), (500.0, 0.0), (1000.0, 0.0), (1000.0, 0.4)]  # spine, thou, and bow, mm


def surely(dof):
    """Return how far above the truth a standard deviation of so many degrees of freedom hardly ever comes."""
    return math.sqrt(stats.chi2.ppf(1 - CHANCE, dof) / dof)


@pytest.fixture(scope="module")
def found():
    """Scatter of each kind of shaft, all with a spread of 3 thou."""
    return {
        (spine, bow): scatter(repeated_cycles({"spine_thou": spine, "spread_thou": 3.0, "bow_mm": bow,
                                               "stiff_side_deg": 34.0, "bow_deg": 200.0}, STANDARD, CYCLES))
        for spine, bow in KINDS
    }  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_the_standard_plan_scatters_no_more_than_sorting_bears(found, kind):
    for name, most in MOST.items():
        assert 0 < found[kind][name] <= most * surely(CYCLES - 1), name


def test_bowed_shafts_together_scatter_no_more_than_the_bound(found):
    """The bound takes noise to pass through the filter, the simulated gauge's does not: it scatters by half as much."""
    bowed = [kind for kind in KINDS if kind[1]]  # the runout of a straight shaft is all noise
    ratios = []
    for kind in bowed:
        bound = repeatability(STANDARD, GAUGE, Noise(0.0004, kind[0], 3.0, kind[1]), INTERVAL_US)
        allowed = (bound.spine_thou, bound.spread_thou, bound.side_deg, bound.runout_mm)
        ratios.append([found[kind][name] / most for name, most in zip(QUANTITIES, allowed, strict=True)])
    pooled = np.sqrt(np.mean(np.square(ratios), axis=0))
    assert (pooled > 0.2).all()
    assert (pooled <= surely(len(bowed) * (CYCLES - 1))).all(), pooled
