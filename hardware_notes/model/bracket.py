"""The two brackets on the beam's front that carry gate and lift, and the fences behind the shaft."""

from __future__ import annotations

from functools import cache

from build123d import Location
from frame.dimensions import Frame
from frame.feeder import point
from frame.rolling import Line

from model.across import SIDES, Hole, plate, upright
from model.holes import clearance, drilled, engraved, facing, tapped
from model.piece import Part, Piece, Way, of_step
from model.standard import bearing, slot_nut, socket_screw
from model.standard.profiles import SLOT_8
from model.standard.shapes import box

STEP = "12 gate"
THICKNESS, SCREW = 6.0, 6
BEARING = (8, 16, 5)
PLATE_SCREWS_Z = (-31.5, -48.5)  # of the screws into the bracket, off those into the beam
LEG, LEG_THICKNESS, LEG_HOLE = 25.0, 5.0, 15.0  # aluminium angle; its holes from the corner
ANGLE_LENGTH, ANGLE_BOTTOM = 70.0, -75.0
SLOT_SCREWS = (40.0, 20.0), (50.0, 20.0)  # M3, of the light barriers' holders
CHUTE_SCREWS = (46.5, 48.0), (53.5, 48.0)
FENCE_WIDTH, FENCE_BASE, FENCE_POST, FENCE_SCREW = 20.0, 6.0, 8.0, 4  # a larger screw's key meets the layshaft
FENCE_ABOVE = 10.0  # over the rollers


def inner_x(frame: Frame) -> float:
    """Return the x of the right bracket's inner face."""
    return float(frame.feeder.bracket_x) - THICKNESS / 2


def outer_x(frame: Frame) -> float:
    """Return the x of the right bracket's outer face."""
    return inner_x(frame) + THICKNESS


def bracket_outline(frame: Frame) -> Line:
    """Return the brackets' outline in y and z: their front edge leads the check standard down to the lift."""
    face = frame.beam.width / 2
    top, foot = (point(end) for end in frame.feeder.slot_guide)
    over, front = frame.feeder.gate_pivot[1] + 13, frame.feeder.gate_rod[0] + 12
    bottom = ANGLE_BOTTOM
    return (
        (face, bottom), (face + LEG, bottom), (front, frame.feeder.gate_rod[1] - 12), (front, 6), foot, top,
        (54, over), (22, over), (face, 36),
    )  # fmt: skip


def brackets(frame: Frame) -> tuple[Piece, ...]:
    """Return brackets with bearings, angles, fences and what screws them to the beam."""
    pieces = []
    for side in SIDES:
        pieces += [*_bracket(frame, side), *_angle(frame, side), *_fence(frame, side)]
    return of_step(pieces, STEP)


@cache
def bracket(frame: Frame) -> Part:
    """Return a bracket, cut from sheet."""
    seats = [Hole(at[0], at[1], BEARING[1]) for at in _axles(frame)]
    threads = [Hole(frame.beam.width / 2 + LEG_HOLE, z, tapped(SCREW)) for z in PLATE_SCREWS_Z]
    threads += [Hole(y, z, tapped(3)) for y, z in (*SLOT_SCREWS, *CHUTE_SCREWS)]
    shape = engraved(plate(bracket_outline(frame), THICKNESS, (*seats, *threads)), "F11", Location((36, 6, THICKNESS)))
    return Part("F11", "bracket of gate and lift", Way.CUT, shape, "aluminium", "aluminium sheet 6", 8.0)


def _axles(frame: Frame) -> tuple[list[float], ...]:
    """Return the axles that turn in the brackets."""
    return frame.feeder.gate_pivot, frame.feeder.lift_pivot, frame.feeder.gate_rod


def _screw_z() -> tuple[float, ...]:
    """Return the heights of the beam's slots."""
    return -20.0, -60.0


def _bracket(frame: Frame, side: int) -> list[Piece]:
    """Return a bracket with its bearings."""
    x = inner_x(frame) if side > 0 else -outer_x(frame)
    pieces = [Piece(bracket(frame), upright(x))]
    for at in _axles(frame):
        pieces += [Piece(bearing(*BEARING), facing("+x", (x + 0.5, *at)))]
    return pieces


@cache
def angle() -> Part:
    """Return an angle, legs along +x and +y from the corner, standing."""
    shape = box((0, LEG), (0, LEG_THICKNESS), (0, ANGLE_LENGTH)) + box((0, LEG_THICKNESS), (0, LEG), (0, ANGLE_LENGTH))
    solid = shape.solid()
    for z in _screw_z():
        up = z - ANGLE_BOTTOM
        solid = drilled(solid, facing("+y", (LEG_HOLE, LEG_THICKNESS, up)), clearance(SCREW), LEG_THICKNESS)
    for z in PLATE_SCREWS_Z:
        up = z - ANGLE_BOTTOM
        solid = drilled(solid, facing("+x", (LEG_THICKNESS, LEG_HOLE, up)), clearance(SCREW), LEG_THICKNESS)
    stock = f"aluminium angle {LEG:g}x{LEG:g}x{LEG_THICKNESS:g}, {ANGLE_LENGTH:g} long"
    return Part("F10", "angle of the bracket", Way.MACHINED, solid, "aluminium", stock, 1.5)


def _angle(frame: Frame, side: int) -> list[Piece]:
    """Return the angle between a bracket and the beam, with its screws."""
    x, face = side * outer_x(frame), frame.beam.width / 2
    lies = ((x, face, ANGLE_BOTTOM),) if side > 0 else ((x, face, ANGLE_BOTTOM + ANGLE_LENGTH), (0, 180, 0))
    pieces = [Piece(angle(), Location(*lies))]
    out = "+x" if side > 0 else "-x"
    for z in _screw_z():
        on_leg = face + LEG_THICKNESS, z
        pieces += [Piece(socket_screw(SCREW, 16), facing("+y", (x + side * LEG_HOLE, *on_leg)))]
        pieces += [Piece(slot_nut(SCREW), facing("+y", (x + side * LEG_HOLE, face - SLOT_8.lip_depth, z)))]
    for z in PLATE_SCREWS_Z:
        pieces += [Piece(socket_screw(SCREW, 10), facing(out, (x + side * LEG_THICKNESS, face + LEG_HOLE, z)))]
    return pieces


@cache
def fence(frame: Frame) -> Part:
    """Return a fence, lying on its side: y to the right and z up."""
    half, front, top = frame.beam.width / 2, float(frame.feeder.fence_y), frame.roller_top_z + FENCE_ABOVE
    corners = [(-half, 0), (half, 0), (half, FENCE_BASE), (front, FENCE_BASE), (front, top),
               (front - FENCE_POST, top), (-half, 12)]  # fmt: skip
    shape = drilled(
        plate(corners, FENCE_WIDTH), facing("+y", (0, FENCE_BASE, FENCE_WIDTH / 2)), clearance(FENCE_SCREW), FENCE_BASE
    )
    shape = engraved(shape, "F24", Location((front - FENCE_POST / 2, 60, FENCE_WIDTH), (0, 0, 90)), 5)
    return Part("F24", "fence behind the shaft", Way.PRINTED, shape, "PETG", "PETG, lying on its side", 1.0)


def _fence(frame: Frame, side: int) -> list[Piece]:
    """Return a fence on the beam with its screw."""
    x = side * float(frame.feeder.fence_x)
    pieces = [Piece(fence(frame), upright(x - FENCE_WIDTH / 2))]
    pieces += [Piece(socket_screw(FENCE_SCREW, 16), Location((x, 0, FENCE_BASE)))]
    return [*pieces, Piece(slot_nut(FENCE_SCREW), Location((x, 0, -SLOT_8.lip_depth)))]
