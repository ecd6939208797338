"""The stay that holds the open lid: a slotted bar hung from the top, on a pin in the motor end, with a catch."""

from __future__ import annotations

from math import atan2, degrees, hypot

from build123d import Location, Plane, Pos
from frame.dimensions import Frame

from model.holes import clearance, drilled, facing
from model.lid.parts import BOLT, FROM_CORNER, Spot, bolt, corner_angle
from model.motion import turned_about_x
from model.piece import Part, Piece, Way
from model.standard import lock_nut, socket_screw, washer
from model.standard.fasteners import WASHER
from model.standard.shapes import box, cylinder, ring

LOOSE = "lid's stay"
PIN = 5
HUNG = (-2.0, 449.0)  # y and z of the bar's upper pivot under the shut top
PINNED = (-40.0, 320.0)  # of the pin in the side
BAR_X, BAR = 450.0, 3.0  # inner face and thickness of the bar
SLOT = 5.5
CATCH = 8.0  # how far the bar falls to the back when the lid is open
HALF = 8.0  # half the bar's width; it turns close under the top
PAST = 9.0  # of the bar beyond its slot
BRACKET = 20.0  # length of the bracket under the top


def _from_hung(frame: Frame, turn: float) -> tuple[float, float, float, float]:
    """Return y and z of the upper pivot with the lid turned, and from there to the pin along y and z."""
    at = (turned_about_x(*frame.lid.hinge, turn) * Location((0, *HUNG))).position
    return at.Y, at.Z, PINNED[0] - at.Y, PINNED[1] - at.Z


def slot_ends(frame: Frame) -> tuple[float, float]:
    """Return how far from the bar's pivot the pin lies with the lid shut and open."""
    shut, opened = _from_hung(frame, 0.0), _from_hung(frame, frame.lid.opening)
    return hypot(*shut[2:]), hypot(*opened[2:])


def _pose(frame: Frame, turn: float) -> Location:
    """Return where the bar lies: its origin in its upper pivot, its x towards the pin."""
    y, z, to_y, to_z = _from_hung(frame, turn)
    along = Location((BAR_X, y, z), (degrees(atan2(to_z, to_y)), 0, 0))
    return along * Plane(origin=(0, 0, 0), x_dir=(0, 1, 0), z_dir=(1, 0, 0)).location


def carried_stay(frame: Frame, turn: float) -> Location:
    """Return where the bar has gone with the lid turned, as seen from where it lies under the shut lid."""
    return _pose(frame, turn) * _pose(frame, 0.0).inverse()


def bar(frame: Frame) -> Part:
    """Return the bar with its slot and, at the slot's end, the catch into which the pin comes."""
    near, far = slot_ends(frame)
    shape = box((0, far + PAST), (-HALF, HALF), (0, BAR)) + cylinder(2 * HALF, 0, BAR)
    shape += box((far - PAST, far + PAST), (0, CATCH + HALF), (0, BAR))
    shape -= cylinder(SLOT, 0, BAR)
    shape -= box((near, far), (-SLOT / 2, SLOT / 2), (0, BAR))
    shape -= box((far - SLOT / 2, far + SLOT / 2), (0, CATCH), (0, BAR))
    for x, y in ((near, 0.0), (far, 0.0), (far, CATCH)):
        shape -= Pos(x, y, 0) * cylinder(SLOT, 0, BAR)
    size = f"aluminium {BAR:g}, {far + PAST + HALF:.0f} x {2 * HALF + CATCH:g}"
    return Part("L19", "stay of the lid", Way.CUT, shape.solid(), "aluminium", size, 3.0)


def bracket(frame: Frame) -> Part:
    """Return the piece of angle under the top that the bar hangs from, one hole for the top and one for the bar."""
    bare = corner_angle(frame, "L18", "bracket of the stay", BRACKET, ())
    thick = frame.lid.angle[1]
    shape = drilled(bare.shape, facing("+y", (FROM_CORNER, thick, BRACKET / 2)), clearance(BOLT), thick)
    shape = drilled(shape, facing("+x", (thick, FROM_CORNER, BRACKET / 2)), clearance(PIN), thick)
    return Part("L18", bare.name, bare.way, shape, bare.material, bare.designation, bare.price_eur)


def spacer(frame: Frame) -> Part:
    """Return the spacer that keeps the bar off the side."""
    shape = ring(14, clearance(PIN), 0, frame.lid.sides_x - BAR_X - BAR).solid()
    return Part("L21", "spacer of the stay", Way.PRINTED, shape, "PETG", "printed", 0.1)


def bracket_hole(frame: Frame) -> Spot:
    """Return the hole in the top: x, y, diameter."""
    return (BAR_X - FROM_CORNER, HUNG[0], clearance(BOLT))


def pin_hole(frame: Frame) -> Spot:
    """Return the hole in the motor end: y, z, diameter."""
    return (*PINNED, clearance(PIN))


def stay(frame: Frame, group: str) -> tuple[Piece, ...]:
    """Return the bar, its bracket under the top and its pin in the side, as they lie under the shut lid."""
    lid = frame.lid
    y, z = HUNG
    # the bracket's corner is above, its legs point to the left and down
    hung = Plane(origin=(BAR_X, y + BRACKET / 2, lid.top_z), x_dir=(-1, 0, 0), z_dir=(0, -1, 0)).location
    over = facing("+z", (BAR_X - FROM_CORNER, y, lid.top_z + lid.sheet))
    pivot = facing("-x", (BAR_X - lid.angle[1], y, z))
    pieces = [Piece(bar(frame), _pose(frame, 0.0), LOOSE), Piece(bracket(frame), hung, group)]
    pieces += [Piece(p.part, p.where, group) for p in bolt(over, lid.sheet + lid.angle[1], 12)]
    pieces += [Piece(socket_screw(PIN, 12), pivot, group)]
    pieces += [Piece(lock_nut(PIN), facing("+x", (BAR_X + BAR, y, z)), group)]
    return (*pieces, *_pin(frame))


def _pin(frame: Frame) -> tuple[Piece, ...]:
    y, z = PINNED
    outside = facing("+x", (frame.lid.sides_x + frame.lid.sheet, y, z))
    inside = facing("-x", (BAR_X, y, z))
    return (
        Piece(washer(PIN), outside),
        Piece(socket_screw(PIN, 30), outside * Pos(0, 0, WASHER[PIN][2])),
        Piece(spacer(frame), facing("+x", (BAR_X + BAR, y, z))),
        Piece(washer(PIN), inside),
        Piece(lock_nut(PIN), inside * Pos(0, 0, WASHER[PIN][2])),
    )
