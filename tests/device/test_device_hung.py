"""A loop of the device that hangs stops the head soon and by a ramp; the watchdog's reset then brings the head home."""

from __future__ import annotations

import pytest
from device_rig import CYCLE, Rig, board, standard_steps
from rehearsal_rig import world

FACE = board.Board
PIECES_S = 0.050  # of motion that may wait before the ramp (board-side promise in SPEC.md)
AT_N = 3.0  # while it deepens
TOO_FAST_STEPS_S = 4500  # for a motor to be halted at once: more than the speed of homing, less than that of deepening


def hanging(hang_s: float, watchdog_ms: int = 3000) -> Rig:
    """Return a gauge whose loop hangs when the head presses, with a motor that loses steps without a ramp."""
    truths = {"hang_at_n": AT_N, "hang_s": hang_s, "watchdog_ms": watchdog_ms, "pull_in_steps_s": TOO_FAST_STEPS_S}
    rig = Rig({"gauge": truths, "shafts": [{"number": 1}]})
    rig.ready()
    rig.begin(standard_steps())
    return rig


def until_pressed(rig: Rig) -> int:
    """Run until the loop is about to hang; return where the press then is, in microsteps."""
    at = rig.board.press.steps()
    while rig.board.mechanics.head()[1] < AT_N:
        at = rig.board.press.steps()
        rig.step()
    return at


def test_a_hung_loop_costs_a_short_way_and_no_step() -> None:
    rig = hanging(1.0)
    at = until_pressed(rig)  # the last turn took as long as the loop hung
    speed = CYCLE["press_speed"]
    way = speed * (PIECES_S + FACE.INTERVAL_US / 1e6) + speed**2 / (2 * FACE.PRESS_ACCELERATION)
    assert 0 < rig.board.press.steps() - at <= way
    assert rig.board.press.lost == 0
    rig.run_to("FAULTED")
    assert rig.faults() == ["CELL_SILENT"]  # its readings of that second are lost; the home switch found no lost step
    assert rig.board.mechanics.head()[1] == 0.0


def test_the_watchdog_resets_a_hung_device_which_then_brings_the_head_home() -> None:
    rig = hanging(60.0, watchdog_ms=400)
    with pytest.raises(world.Reset):
        until_pressed(rig)
    assert rig.board.mechanics.head()[1] > AT_N
    again = Rig(before=rig.board)
    again.ready()
    assert again.board.mechanics.head()[1] == 0.0
    assert again.faults() == []
