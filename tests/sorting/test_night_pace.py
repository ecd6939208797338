"""How many shafts an hour a night sorts, by the clock of the simulated gauge, whose converter filters as a real one."""

import pytest
from midspan.measurement.cycle_cost import FEEDING_S
from midspan.measurement.cycle_settings import STANDARD
from midspan.wire.records import Phase
from virtual_night import sorted_night

SHAFTS, AN_HOUR = 24, 280
HOST_S = 0.1  # a shaft, for which the gauge waits: verdict and journal (tests/bench/night.py measures it)


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    return sorted_night(tmp_path_factory.mktemp("night"), SHAFTS, STANDARD)


def test_a_new_gauge_sorts_280_shafts_an_hour_check_standards_included(night):
    assert len(night.runs) == SHAFTS + 3  # a check standard at the beginning, after twelve, and at the end
    assert night.shafts_an_hour(HOST_S) >= AN_HOUR


def test_check_standards_are_measured_by_the_plan_of_the_shafts_that_they_guard(night):
    assert {run.label for run in night.runs} == {"", "invented bar"}
    lengths = [dict(run.segments)[Phase.FULL] for run in night.runs]
    assert max(lengths) - min(lengths) <= 3  # the converter's clock is not the motor's, and it loses readings


def test_feeding_takes_as_long_as_a_plan_reckons(night):
    feeding_s = (night.seconds - night.in_state["RUNNING"]) / len(night.runs)
    assert feeding_s + HOST_S == pytest.approx(FEEDING_S, abs=0.2)
