"""A cycle as people and programs see it: the whole screen, and the numbers of its JSON."""

import json

import pytest
from gauges import identify
from midspan.measurement.cycle_bound import Noise, repeatability
from midspan.measurement.cycle_cost import cycle_cost
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import DEEP, STANDARD, CycleSettings
from midspan.measurement.cycle_time import AssumedShaft, cycle_seconds
from midspan.report.cycle_text import cycle_json, cycle_story
from screens import printed, screen
from synthetic import paper_calibration

CAL, GAUGE, USUAL = paper_calibration(travel={"clearance_mm": 6.5}), identify(), Noise()


def cost(settings=STANDARD, noise=USUAL, **more):
    return cycle_cost(settings, CAL, GAUGE, noise, **more)


def test_a_cycle_on_screen(snapshot):
    settings = CycleSettings(readings_per_turn=44, zero_in_middle=True, back_and_forth=True, press_mm_s=12.5)
    assert screen(printed(cycle_story(cost(settings)))) == snapshot
    assert screen(printed(cycle_story(cost(DEEP, Noise(spread_thou=0.0))))) == snapshot


def test_json_has_the_same_numbers():
    told = json.loads(cycle_json(cost(feeding_s=4.0)))
    assert CycleSettings.model_validate(told["settings"]) == STANDARD
    steps = cycle_steps(CAL, GAUGE, STANDARD)
    assert told["cycle_s"] == pytest.approx(sum(cycle_seconds(steps, GAUGE, CAL, AssumedShaft())))
    assert told["cycle_s"] == pytest.approx(sum(told["seconds"].values()))
    assert told["shafts_an_hour"] == pytest.approx(3600 / (told["cycle_s"] + 4.0))
    as_run = STANDARD.model_copy(update={"readings_per_turn": told["readings_per_turn"]})
    assert told["readings_per_turn"] == pytest.approx(42, rel=0.1)
    assert told["scatter"]["side_deg"] == repeatability(as_run, CAL).side_deg
    assert json.loads(cycle_json(cost(noise=Noise(spread_thou=0.0))))["scatter"]["side_deg"] is None


def test_turning_back_takes_the_time_of_a_turn_again_and_makes_no_more_of_the_result():
    forth, both = cost(), cost(CycleSettings(back_and_forth=True))
    for phase in ("LIGHT", "FULL", "LIGHT_AGAIN"):
        assert both.seconds[f"{phase}_BACK"] == pytest.approx(forth.seconds[phase])
    assert both.repeatability == forth.repeatability
    assert both.sampled_share < forth.sampled_share
