"""No plan drives the gauge past the device's own limits: what could is refused by name before anything moves."""

from __future__ import annotations

from typing import Any

import pytest
from device_rig import PLAN, Rig, board, plan, records
from hypothesis import event, given, settings
from hypothesis import strategies as st

FACE = board.Board
LIMITS = {
    "light_count": (1, FACE.COUNT_LIMIT - 1),
    "full_count": (PLAN["light_count"] + 1, FACE.COUNT_LIMIT),
    "clearance_steps": (0, PLAN["travel_steps"]),
    "travel_steps": (PLAN["clearance_steps"], FACE.PRESS_LIMIT),
    "takeup_steps": (0, FACE.PRESS_LIMIT),
    "seat_steps": (0, 2**20),
    "turn_steps": (1, 2**20),
    "turn_again_steps": (1, 2**20),
    "zero_readings": (1, 1000),
    "settle_readings": (0, 100),
    "press_speed": (1, FACE.PRESS_SPEED_MAX),
    "approach_speed": (1, FACE.PRESS_SPEED_MAX),
    "rotate_speed": (1, FACE.ROTATE_SPEED_MAX),
}
NEWTON_COUNT = 1070 / 0.00980665


def checked(**changes: int) -> plan.Plan:
    """Return the standard plan with changes after the device's check, in the order of the schema's fields."""
    values = list((PLAN | changes).values())
    return plan.Plan(values, FACE)


@pytest.mark.parametrize("field", LIMITS)
def test_each_field_is_refused_by_name_just_outside_its_range(field: str) -> None:
    low, high = LIMITS[field]
    partner = {"full_count": FACE.COUNT_LIMIT} if field == "light_count" else {}
    for value in (low, high):
        assert getattr(checked(**partner, **{field: value}), field) == value
    for value in (low - 1, high + 1):
        with pytest.raises(plan.RefusalError) as refusal:
            checked(**partner, **{field: value})
        named = {"travel_steps": "clearance_steps", "light_count": "full_count"}  # of two that disagree, the second
        assert refusal.value.args[0] == records.OUT_OF_RANGE
        assert refusal.value.args[1] in (field, named.get(field))


def test_the_reply_names_the_field() -> None:
    rig = Rig()
    rig.run_to("IDLE")
    rig.greet()
    reply = rig.ask("CyclePlan", **(PLAN | {"travel_steps": FACE.PRESS_LIMIT + 1}))
    assert (reply["refusal"], reply["field"]) == ("OUT_OF_RANGE", "travel_steps")
    assert rig.ask("Command", order="MEASURE", shaft=1)["refusal"] == "NO_PLAN"


def test_a_plan_that_could_overflow_the_buffer_is_refused() -> None:
    rig = Rig()
    rig.run_to("IDLE")
    rig.greet()
    for slow in ({"rotate_speed": 20}, {"approach_speed": 100}, {"press_speed": 100}, {"turn_steps": 2**20}):
        assert rig.ask("CyclePlan", **(PLAN | slow))["refusal"] == "BUFFER_TOO_SMALL"
    assert rig.ask("CyclePlan", **PLAN)["refusal"] is None


def ranged(field: str) -> st.SearchStrategy[int]:
    """Draw the usual value most often, else a value near it, anywhere, or at an end."""
    low, high = LIMITS[field]
    usual = PLAN[field]
    near = st.integers(max(low, usual // 3), min(high, usual * 3))
    return st.one_of(st.just(usual), st.just(usual), near, near, st.integers(low, high), st.just(high))


PLANS = st.fixed_dictionaries({field: ranged(field) for field in PLAN})
SHAFT = st.fixed_dictionaries(
    {
        "number": st.just(1),
        "spine_thou": st.sampled_from([150.0, 300.0, 500.0, 1500.0]),
        "fault": st.sampled_from([None, None, None, "absent", "soft", "stiff_jam"]),
    }
)


class Watch:
    """Watch over limits that no plan may exceed, in every turn of the loop."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.deepest = self.highest = 0
        self.force_n = self.over_s = 0.0

    def run(self, seconds: float) -> None:
        until_us = self.rig.board.now_us + int(1e6 * seconds)
        while self.rig.state not in ("HOLDING", "FAULTED") and self.rig.board.now_us < until_us:
            before_us = self.rig.board.now_us
            self.rig.step()
            press = self.rig.device.cycle.press
            self.deepest = max(self.deepest, press.position())
            self.highest = min(self.highest, press.position())
            over = self.rig.board.mechanics._force_n * NEWTON_COUNT > 1.01 * FACE.COUNT_LIMIT
            if over and not press.rising():
                self.over_s += (self.rig.board.now_us - before_us) / 1e6


@pytest.mark.slow
@settings(max_examples=60)
@given(PLANS, SHAFT)
def test_no_plan_goes_past_the_limits(values: dict[str, int], shaft: dict[str, Any]) -> None:
    rig = Rig({"shafts": [shaft]})
    rig.run_to("IDLE")
    rig.greet()
    refusal = rig.ask("CyclePlan", **values)["refusal"]
    event(f"plan refused: {refusal}")
    if refusal is not None:
        return
    most = rig.device.answers.plan.most_readings(rig.board.INTERVAL_US * 15 // 16)
    rig.ask("Command", order="MEASURE", shaft=1)
    watch = Watch(rig)
    watch.run(400)
    assert rig.state in ("HOLDING", "FAULTED")
    assert watch.highest >= 0
    assert watch.deepest <= min(values["travel_steps"], FACE.PRESS_LIMIT)
    assert watch.over_s < 0.06  # two readings and the time between them
    rig.run(0.2)
    end = rig.last("EndOfShaft")
    event(f"cause: {end['cause']}")
    assert end["cause"] != "BUFFER_FULL"
    assert end["cause"] != "INTERNAL"
    assert end["readings"] <= most
    assert rig.device.held.used() <= most * plan.READING_BYTES
