"""Openings of the lid against how far a finger, a hand or an arm reaches through them."""

from __future__ import annotations

from dataclasses import dataclass
from math import dist, hypot

from frame.dimensions import Frame
from frame.escapement import face, on_slope
from frame.feeder import arms, finger, point
from frame.feeder_places import LID_FRONT, front_y
from frame.rolling import Point
from frame.selector import axle, pitch_along

# ISO 13857, reaching through slots and round holes by persons of 14 years and above, from memory: look the table up in
# the edition that holds where you live. Width of the opening up to which a row holds, distance to keep, mm.
SLOT_REACH = ((4, 2), (6, 10), (8, 20), (10, 80), (12, 100), (20, 120), (120, 850))
ROUND_REACH = ((4, 2), (6, 5), (8, 5), (10, 20), (12, 80), (40, 120), (120, 850))

COUPLING_RADIUS, COUPLING_TO_PLATE = 12.5, 30.0  # of the gate's servo, and from its horn to the side plate
LID_SIDES_TO = 35.0  # y to which the lid's sides reach with a feeder


def reach_mm(width_mm: float, *, is_round: bool = False) -> float:
    """Return how far from an opening a moving part must be so that it is not reached.

    Parameters
    ----------
    width_mm : float
        Of a slot across, of a round hole its diameter, mm; a long slot is taken, whatever its length.
    is_round : bool
        The opening is a round hole.

    Returns
    -------
    float
        Least distance, mm; infinite for an opening that a body passes.

    References
    ----------
    ISO 13857, table for reaching through regular openings (from memory).

    Examples
    --------
    >>> reach_mm(8.0), reach_mm(16.0, is_round=True), reach_mm(150.0)
    (20.0, 120.0, inf)
    """
    rows = ROUND_REACH if is_round else SLOT_REACH
    return next((float(distance) for limit, distance in rows if width_mm <= limit), float("inf"))


@dataclass(frozen=True)
class Opening:
    """An opening that stays in the shut lid.

    Parameters
    ----------
    name : str
        Where it is.
    width_mm : float
        Across a slot or a hole, mm.
    distance_mm : float
        From it to the nearest part that moves, in a straight line, mm.
    is_round : bool
        It is a hole, not a slot.
    """

    name: str
    width_mm: float
    distance_mm: float
    is_round: bool = False

    @property
    def margin_mm(self) -> float:
        """Distance of the moving part beyond what it must be, mm."""
        return self.distance_mm - reach_mm(self.width_mm, is_round=self.is_round)


def openings(frame: Frame, *, feeder: bool = False) -> tuple[Opening, ...]:
    """Return the openings that stay in the shut lid and in the guards of the feeder.

    With a feeder there is no lower front; hood, panel and angles beside the lid close what it would.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    feeder : bool
        The gauge feeds itself.

    Returns
    -------
    tuple of Opening
        Each with its distance to the rollers or to what turns with the layshaft, whichever is nearer.

    Examples
    --------
    >>> min(openings(Frame.load()), key=lambda opening: opening.margin_mm).name
    'between lower and upper front'
    """
    lid = frame.lid
    front, back = lid.front_y, -lid.back_y
    beams = -float(frame.beam.height)
    if feeder:
        return (*_behind_feeder(frame), *_of_feeder(frame))
    return (
        Opening("over the table", lid.bottom_z - frame.table_z, _from(frame, front, lid.bottom_z)),
        Opening("around the cross beams", lid.gap, _from(frame, front, beams)),
        Opening("between lower and upper front", lid.gap, _from(frame, front, lid.sill + lid.gap)),
        Opening("beside the upper front", lid.gap / 2, lid.sides_x - frame.drive.motor_x),
        Opening("cable through the back", lid.cable_hole[2], _from(frame, back, lid.cable_hole[1]), is_round=True),
    )


def _behind_feeder(frame: Frame) -> tuple[Opening, ...]:
    """Return the openings in the lid's back and sides."""
    lid, back = frame.lid, -frame.lid.back_y
    beams = -float(frame.beam.height)
    return (
        Opening("over the table, behind", lid.bottom_z - frame.table_z, _from(frame, back, lid.bottom_z)),
        Opening("around the cross beams, behind", lid.gap, _from(frame, back, beams)),
        Opening("cable through the back", lid.cable_hole[2], _from(frame, back, lid.cable_hole[1]), is_round=True),
    )


def _of_feeder(frame: Frame) -> tuple[Opening, ...]:
    """Return the openings of hood, panel and angles while all trays are in, each with what moves behind it."""
    guards, feeder, fork = frame.guards, frame.feeder, point(frame.feeder.fork_axis)
    reach = max(dist(fork, corner) for corner in feeder.fork_top)
    rear, mouth = guards.hood
    over = on_slope(frame, rear, guards.hood_under + frame.lid.sheet)
    last = axle(frame, int(feeder.places) - 1)[0] + pitch_along(frame)
    panel, table = front_y(frame) - frame.lid.sheet - last, guards.panel_low - frame.table_z
    rod = hypot(feeder.gate_rod[0] - guards.strip[0], COUPLING_TO_PLATE) - COUPLING_RADIUS
    side = feeder.side_x - feeder.ramp_x
    return (
        Opening("under the hood's lip", guards.hood_lip, mouth - fork[0] - reach),
        Opening("between apron and hood", guards.apron[0] - over[1], _from_feeder(frame, over)),
        Opening("beside hood and apron", feeder.side_x - guards.apron[2], side),
        Opening("between upper front and side plates", LID_FRONT - frame.lid.front_y - frame.lid.sheet, side),
        Opening("under the panel", table, panel),
        Opening("beside the panel, over the feet", feeder.side_x - guards.panel_notch[0], panel),
        Opening("beside the lid's sides", guards.strip[0] - LID_SIDES_TO, rod),
    )


def _from_feeder(frame: Frame, place: Point) -> float:
    """Return how far a place is from fork, fingers and lift over the whole of their swings."""
    swings = ((face, frame.feeder.fork_swing), (finger, frame.feeder.gate_swing), (arms, frame.feeder.lift_swing))
    return min(dist(place, at) for edge, swing in swings for i in range(21) for at in edge(frame, swing * i / 20))


def _from(frame: Frame, y: float, z: float) -> float:
    """Return how far a place before or behind the supports is from the rollers and from what the layshaft carries."""
    radius = float(frame.support.roller_diameter) / 2  # pulleys and coupling are smaller
    roller = hypot(y - frame.half_rollers, z - frame.support.axle_height) - radius
    layshaft = hypot(y - frame.drive.layshaft_y, z - frame.drive.layshaft_z) - radius
    return float(min(roller, layshaft))
