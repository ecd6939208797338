"""Where the feeder's feet and stays stand."""

from __future__ import annotations

from frame.dimensions import Frame
from frame.trays import bounds

HOPPER_FRONT = 577.0  # of the feet where few places would let them stand further back
STAY, STAY_DEEP = 20.0, 32.0  # profile; its middle under the hopper's floor
STAYS_AT = (60.0, 440.0)  # along the slope from the step
LID_FRONT = 51.0  # the side plates' rear edge over the lid's lower edge, before its front
FRONT_STAY_Z = -76.0
FOOT_BLOCK = (44.0, 44.0, 25.0)  # along x, y and z


def foot_y(frame: Frame) -> float:
    """Return where the front feet stand: before the last tray, which comes out beside them."""
    return max(HOPPER_FRONT, bounds(frame, int(frame.feeder.places))[1] + FOOT_BLOCK[1] / 2 + 10)


def front_stay(frame: Frame) -> tuple[float, float]:
    """Return where the front stay lies in y and z: before the end wall."""
    return foot_y(frame) + 9, FRONT_STAY_Z


def front_y(frame: Frame) -> float:
    """Return where the side plates end."""
    return foot_y(frame) + FOOT_BLOCK[1] / 2 + 1
