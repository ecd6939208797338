"""A doubt that measuring again can or cannot settle: advice, verdict, and the way of the shaft in a night."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from midspan.decision.bands import EXAMPLE, Bands
from midspan.decision.decision import Outcome, judge
from midspan.decision.repeat import RENEWED, renewed_thou, repeat_helps
from midspan.measurement.result_form import ResultKind
from midspan.measurement.spine_budget import CAUSES
from midspan.sorting.plan import EXAMPLE as PLAN
from midspan.sorting.plan import SortPlan
from midspan.sorting.routing import Judged, route_of
from midspan.store.transit import Transit, TransitStage, WayStep

BANDS = Bands.model_validate(EXAMPLE)


def a_shaft(spine_thou, renewed, kept):
    """Return a shaft whose u has a part that a repeat renews and one from the calibration, thou."""
    shares = {name: 0.0 for name, _ in CAUSES} | {"scatter of the readings": renewed, "force scale": kept}
    u = float(np.hypot(renewed, kept))
    return SimpleNamespace(
        kind=ResultKind.GAUGE, spine_thou=spine_thou, u_spine_thou=u, spread_thou=1.0, u_spread_thou=0.01,
        spread_floor_thou=0.1, runout_mm=0.05, u_runout_mm=0.002, hysteresis_pct=0.2, u_hysteresis_pct=0.02,
        faults=(), doubts=(), u_causes=tuple(shares.values()), sensitivities=(1.0,) * len(shares),
    )  # fmt: skip


def test_the_part_that_a_repeat_renews():
    assert {name for name, _ in CAUSES} >= {name for name in RENEWED if "zero" in name or "scatter" in name}
    assert renewed_thou(a_shaft(500.0, 0.03, 0.4)) == pytest.approx(0.03)
    assert renewed_thou(SimpleNamespace()) is None


def test_a_doubt_by_the_calibration_is_not_measured_again():
    scatter, calibration = judge(a_shaft(495.1, 0.25, 0.05), BANDS), judge(a_shaft(495.1, 0.003, 0.25), BANDS)
    assert (scatter.outcome, scatter.repeat_helps) == (Outcome.DOUBTFUL, True)
    assert (calibration.outcome, calibration.repeat_helps) == (Outcome.DOUBTFUL, False)
    assert scatter.reasons != calibration.reasons
    transit = Transit(1, 1, "HOPPER", None, 0, (WayStep(TransitStage.JUDGED, 1),))
    plan = SortPlan.model_validate({**PLAN, "sort": {**PLAN.get("sort", {}), "measure_again": 1}})
    doubtful = Judged(Outcome.DOUBTFUL, None, 0.1)
    assert route_of(doubtful, transit, plan, {}).again
    assert not route_of(replace(doubtful, repeat_helps=False), transit, plan, {}).again


@pytest.mark.parametrize(("beyond", "renewed"), [(0.3, 0.2), (-0.45, 0.05), (0.0, 0.1), (0.1, 0.3)])
def test_the_chance_is_that_of_a_second_measurement(beyond, renewed):
    # The first error is unknown: value 2 less value 1 is the difference of two independent errors.
    rng = np.random.default_rng(1)
    second = beyond + rng.normal(0, renewed, 100_000) - rng.normal(0, renewed, 100_000)
    assert repeat_helps(beyond, 0.5, renewed) == (np.mean(abs(second) > 0.5) >= 0.05)
