"""Openings of the lid against how far a finger, a hand or an arm reaches through them."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from frame.dimensions import Frame

# ISO 13857, reaching through slots and round holes by persons of 14 years and above, from memory: look the table up in
# the edition that holds where you live. Width of the opening up to which a row holds, distance to keep, mm.
SLOT_REACH = ((4, 2), (6, 10), (8, 20), (10, 80), (12, 100), (20, 120), (120, 850))
ROUND_REACH = ((4, 2), (6, 5), (8, 5), (10, 20), (12, 80), (40, 120), (120, 850))


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
        """How much farther away the moving part is than it must be, mm."""
        return self.distance_mm - reach_mm(self.width_mm, is_round=self.is_round)


def openings(frame: Frame) -> tuple[Opening, ...]:
    """Return the openings of the shut lid of a gauge that is fed by hand.

    With a feeder the opening in the front is closed by the feeder's own walls, and the others stay as they are.

    Parameters
    ----------
    frame : Frame
        The dimensions.

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
    return (
        Opening("over the table", lid.bottom_z - frame.table_z, _from(frame, front, lid.bottom_z)),
        Opening("around the cross beams", lid.gap, _from(frame, front, beams)),
        Opening("between lower and upper front", lid.gap, _from(frame, front, lid.sill + lid.gap)),
        Opening("beside the upper front", lid.gap / 2, lid.sides_x - frame.drive.motor_x),
        Opening("cable through the back", lid.cable_hole[2], _from(frame, back, lid.cable_hole[1]), is_round=True),
    )


def _from(frame: Frame, y: float, z: float) -> float:
    """Return how far a place before or behind the supports is from the rollers and from what the layshaft carries."""
    radius = float(frame.support.roller_diameter) / 2  # pulleys and coupling are smaller
    roller = hypot(y - frame.half_rollers, z - frame.support.axle_height) - radius
    layshaft = hypot(y - frame.drive.layshaft_y, z - frame.drive.layshaft_z) - radius
    return float(min(roller, layshaft))
