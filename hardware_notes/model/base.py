"""What the gauge stands on: beam, cross beams with feet, and the stop that a walking shaft runs against.

Angles of aluminium hold the cross beams under the beam: their screws are reached from the front, the back and above
while everything else is in place, and nothing needs to be drilled into a profile. All slot nuts go in from the ends.
"""

from __future__ import annotations

from functools import cache

from build123d import Location
from frame.dimensions import Frame

from model.holes import clearance, drilled, facing, tapped
from model.piece import Part, Piece, Way, of_step
from model.standard import foot, ground_rod, profile, set_screw, slot_nut, socket_screw
from model.standard.profiles import SLOT_8
from model.standard.shapes import box, cylinder

STEP, STOP_STEP = "1 base", "2 stands"
SCREW = 6
FELT, FELT_DIAMETER = 3.0, 10.0  # 2 mm narrower than the notch in the cheeks that the stop reaches through
MAST, MAST_FOOT, MAST_WIDTH, MAST_FOOT_HEIGHT = 11.0, 25.0, 20.0, 6.0
MAST_SCREW = 18.0  # from its inner face
MAST_ABOVE = 10.0  # over the middle of the felt
ROD = 6.0
LAYSHAFT_HOLE = 12.0  # the layshaft passes through the mast on the short span


def base(frame: Frame) -> tuple[Piece, ...]:
    """Return beam, cross beams, angles and feet.

    Parameters
    ----------
    frame : Frame
        The dimensions.

    Returns
    -------
    tuple of Piece
        The pieces of the first step.
    """
    beam = profile(frame.beam.width, frame.beam.height, frame.beam.length, number="B01")
    pieces = [Piece(beam, Location((0, 0, -frame.beam.height / 2)))]
    for x in (-frame.base.cross_x, frame.base.cross_x):
        pieces += [*_cross_beam(frame, x), *_angles(frame, x), *_feet(frame, x)]
    return of_step(pieces, STEP)


def _cross_beam(frame: Frame, x: float) -> tuple[Piece, ...]:
    """Return a cross beam under the beam."""
    section = frame.base.cross_section
    cross = profile(section, section, frame.base.cross_length, number="B02")
    return (Piece(cross, Location((x, 0, -frame.beam.height - section / 2), (0, 0, 90))),)


@cache
def angle(frame: Frame) -> Part:
    """Return an angle, its legs along +x and +z from the corner at the origin, its length along y from 0 up.

    It is drawn as it is sawn: a cut of the bar lies on z = 0, so the legs lie along x and y.
    """
    leg, thickness, length = frame.base.angle
    shape = (box((0, leg), (0, thickness), (0, length)) + box((0, thickness), (0, leg), (0, length))).solid()
    shape = drilled(shape, facing("+y", (leg / 2, thickness, length / 2)), clearance(SCREW), thickness)
    shape = drilled(shape, facing("+x", (thickness, leg / 2, length / 2)), clearance(SCREW), thickness)
    stock = f"aluminium angle {leg:g}x{leg:g}x{thickness:g}, {length:g} long"
    return Part("B03", "angle", Way.MACHINED, shape, "aluminium", stock, 1.0)


def _angles(frame: Frame, x: float) -> tuple[Piece, ...]:
    """Return the angles in front of and behind the beam over a cross beam, with screws and slot nuts."""
    leg, thickness, length = frame.base.angle
    face, bottom, lips = frame.beam.width / 2, -frame.beam.height, SLOT_8.lip_depth
    pieces = []
    for side, out in ((1, "+y"), (-1, "-y")):
        lies = facing("+x" if side > 0 else "-x", (x - side * length / 2, side * face, bottom), along=out)
        pieces += [Piece(angle(frame), lies)]
        up, level = bottom + leg / 2, side * (face + leg / 2)
        pieces += [Piece(socket_screw(SCREW, 16), facing(out, (x, side * (face + thickness), up)))]
        pieces += [Piece(slot_nut(SCREW), facing(out, (x, side * (face - lips), up)))]
        pieces += [Piece(socket_screw(SCREW, 16), facing("+z", (x, level, bottom + thickness)))]
        pieces += [Piece(slot_nut(SCREW), facing("+z", (x, level, bottom - lips), along="+y"))]
    return tuple(pieces)


def _feet(frame: Frame, x: float) -> tuple[Piece, ...]:
    """Return the feet of a cross beam, each in a slot nut."""
    bottom, pieces = -frame.beam.height - frame.base.cross_section, []
    for y in (-frame.base.foot_y, frame.base.foot_y):
        pieces += [Piece(foot(), Location((x, y, bottom)))]
        pieces += [Piece(slot_nut(8), facing("-z", (x, y, bottom + SLOT_8.lip_depth), along="+y"))]
    return tuple(pieces)


def end_stop(frame: Frame, span: float, length: float) -> tuple[Piece, ...]:
    """Return the end stop, set for shafts of a length on either span.

    Stands and rollers are set so that a shaft walks slowly to the left; there its end turns against felt.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    span : float
        Between the rims, mm.
    length : float
        Of the shafts, mm.

    Returns
    -------
    tuple of Piece
        Mast, rod, felt and screws.
    """
    tip, z = frame.stop_x(length), frame.stop_z
    stand_end = -span / 2 - frame.support.foot_reach[1]
    inner = min(tip - FELT - 1, stand_end - 0.5)  # of the mast: beyond the stand's foot plate
    rod, middle = frame.base.stop_rod, MAST / 2
    pieces = [Piece(mast(frame), facing("+y", (inner, -MAST_WIDTH / 2, 0), along="-x"))]
    pieces += [Piece(socket_screw(SCREW, 16), Location((inner - MAST_SCREW, 0, MAST_FOOT_HEIGHT)))]
    pieces += [Piece(slot_nut(SCREW), Location((inner - MAST_SCREW, 0, -SLOT_8.lip_depth)))]
    pieces += [Piece(ground_rod(ROD, rod, "B05"), Location((tip - FELT - rod / 2, 0, z)))]
    pieces += [Piece(felt(), facing("-x", (tip, 0, z)))]
    pieces += [Piece(set_screw(4, 8), facing("+y", (inner - middle, ROD / 2 + 8, z)))]
    return of_step(pieces, STOP_STEP)


@cache
def mast(frame: Frame) -> Part:
    """Return the end stop's mast on its side: outward along x, up along y, its width from z = 0 up."""
    top = frame.stop_z + MAST_ABOVE
    shape = box((0, MAST), (0, top), (0, MAST_WIDTH)) + box((0, MAST_FOOT), (0, MAST_FOOT_HEIGHT), (0, MAST_WIDTH))
    middle, solid = MAST_WIDTH / 2, shape.solid()
    for height, diameter in ((frame.drive.layshaft_z, LAYSHAFT_HOLE), (frame.stop_z, ROD)):
        solid = drilled(solid, facing("-x", (0, height, middle)), diameter, MAST)
    solid = drilled(solid, facing("+y", (MAST_SCREW, MAST_FOOT_HEIGHT, middle)), clearance(SCREW), MAST_FOOT_HEIGHT)
    solid = drilled(solid, Location((MAST / 2, frame.stop_z, MAST_WIDTH)), tapped(4), MAST_WIDTH / 2)
    return Part("B04", "mast of the end stop", Way.PRINTED, solid, "PETG", "PETG, lying on its side", 1.0)


@cache
def felt() -> Part:
    """Return the felt on the end stop's rod, from z = 0 up."""
    stock = f"felt pad {FELT_DIAMETER:g} x {FELT:g}, self-adhesive"
    return Part("B06", "felt", Way.BOUGHT, cylinder(FELT_DIAMETER, 0, FELT).solid(), "felt", stock, 0.1)
