"""Where a shaft is on its way through the feeder, and where fork, gate and lift are meanwhile."""

from __future__ import annotations

import numpy as np
from frame import escapement, feeder
from frame.dimensions import Frame
from frame.rolling import Point, Surfaces, height

from model import fork, gate, lift
from model.checks.shaft_ways import ShaftAt

STEP_MM = 2.0  # along y, between the places of a shaft that rolls


def _rolling(start: Point, end: Point, radius: float, on: Surfaces) -> list[Point]:
    """Return the places of a shaft's axis that rolls over edges, a fall among them."""
    count = max(2, int(abs(end[0] - start[0]) / STEP_MM) + 1)
    y = np.linspace(start[0], end[0], count)
    return [(float(a), float(b)) for a, b in zip(y, height(y, radius, on), strict=True)]


def coming(frame: Frame, diameter: float) -> list[ShaftAt]:
    """Return the places of a shaft that the fork lifts, and that rolls down the ramp into the nip."""
    move = fork.motions(frame)[0].carry
    lifted = escapement.lifted(frame, diameter)[:-1]
    places = [ShaftAt(at.axis, move(at.angle_deg)) for at in lifted if at.axis[0] > frame.feeder.fork_y]
    floor = feeder.rollers(frame).with_(Surfaces(lines=(feeder.finger(frame), escapement.rail_edge(frame)[:2])))
    start = frame.feeder.fork_y - 1, 0.0
    return places + [ShaftAt(at) for at in _rolling(start, (0.0, 0.0), diameter / 2, floor)]


def going(frame: Frame, diameter: float) -> list[ShaftAt]:
    """Return the places of a shaft that the gate lifts, and that rolls off its fingers onto the first flap."""
    move = gate.motions(frame)[0].carry
    places = [ShaftAt(at.axis, move(at.angle_deg)) for at in feeder.carried_out(frame, diameter)]
    raised = float(frame.feeder.gate_swing)
    flap = feeder.first_flap(frame)
    edge = feeder.finger(frame, raised)
    floor = Surfaces(lines=(edge, flap))
    start = edge[1][0] + diameter / 2 + 1, 0.0
    return places + [ShaftAt(at, move(raised)) for at in _rolling(start, flap[-1], diameter / 2, floor)]


def coming_back(frame: Frame, diameter: float) -> list[ShaftAt]:
    """Return the places of the check standard that the lift raises, and that rolls off its arms into the nip."""
    move = lift.motions(frame)[0].carry
    carried = feeder.carried_back(frame, diameter)
    places = [ShaftAt(at.axis, move(at.angle_deg)) for at in carried]
    up = float(frame.feeder.lift_swing)
    floor = feeder.rollers(frame).with_(Surfaces(lines=(feeder.arms(frame, up)[:3], feeder.finger(frame))))
    return places + [ShaftAt(at, move(up)) for at in _rolling(carried[-1].axis, (0.0, 0.0), diameter / 2, floor)]
