"""The two stands that carry a shaft on four driven rollers, in either position on the beam.

Within a stand u runs outward from the plane of the rims; the left stand is the right one turned by half a turn.
Order of assembly: bearings into the cheeks; rollers, pulleys and belt on their axles between them, pins, screws from
below; idler last. The stand goes on the beam before the layshaft is there or under it: its two M6 want a ball-ended key
tilted to the front by 20 to 25 degrees, because the layshaft runs over them. Before they are tight, both pins are held
against the slot's rear lip. The belt is tight enough when 1 N across the middle of its long run moves it by 1 mm: 14 N
in the belt, little for the axles. Final squaring is by the walk of a shaft: at 0.5 mrad it walks 0.5 mm in 50 turns.
"""

from __future__ import annotations

from build123d import Location
from frame.dimensions import Frame
from frame.supports import idler_z

from model import stand_parts as parts
from model.holes import facing
from model.piece import Piece, moved, of_step
from model.standard import bearing, dowel, lock_nut, pulley, slot_nut, socket_screw, washer
from model.standard.profiles import SLOT_8

STEP = "2 stands"


def stands(frame: Frame, span: float) -> tuple[Piece, ...]:
    """Return the pieces of both stands.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    span : float
        Between the rims, mm: one of the two positions.

    Returns
    -------
    tuple of Piece
        Left stand first.
    """
    stand = of_step(_foot(frame) + _cheeks(frame) + _rollers(frame) + _layshaft_bearings(frame) + _belt(frame), STEP)
    left, right = Location((-span / 2, 0, 0), (0, 0, 180)), Location((span / 2, 0, 0))
    return moved(stand, left) + moved(stand, right)


def _foot(frame: Frame) -> tuple[Piece, ...]:
    """Return the foot plate with its screws, slot nuts and pins."""
    thickness = frame.support.foot_thickness
    pieces = [Piece(parts.foot_plate(frame), Location())]
    for u in parts.FOOT_SCREWS:
        pieces += [Piece(socket_screw(parts.FOOT_SCREW, 20), Location((u, 0, thickness)))]
        pieces += [Piece(slot_nut(parts.FOOT_SCREW), Location((u, 0, -SLOT_8.lip_depth)))]
    pin = dowel(parts.FOOT_PIN, 18)
    return (*pieces, *(Piece(pin, Location((u, 0, -4))) for u in parts.FOOT_PINS))


def _cheeks(frame: Frame) -> tuple[Piece, ...]:
    """Return both cheeks with the pins that align them and the screws that hold them."""
    bottom, pieces = frame.support.foot_thickness, []
    for u in (frame.support.cheek_inner[0], frame.support.cheek_outer[0]):
        pieces += [Piece(parts.cheek(frame), facing("+x", (u, 0, bottom)))]
    screw = socket_screw(parts.CHEEK_SCREW, 16)
    for u in parts.cheek_middles(frame):
        for y in (-parts.CHEEK_SCREW_Y, parts.CHEEK_SCREW_Y):
            pieces += [Piece(screw, facing("-z", (u, y, bottom - parts.CHEEK_SCREW_HEAD_Z)))]
    y, z = parts.PIN_PLACE
    pin, inner = dowel(parts.PIN, 35), frame.support.cheek_inner[0]
    return (*pieces, *(Piece(pin, facing("+x", (inner + 0.5, side * y, z))) for side in (-1, 1)))


def _inside_faces(frame: Frame, width: float) -> tuple[float, float]:
    """Return where bearings of a width begin along u, flush with the faces that the cheeks turn to each other."""
    return frame.support.cheek_inner[1] - width, frame.support.cheek_outer[0]


def _rollers(frame: Frame) -> tuple[Piece, ...]:
    """Return axles, bearings, rollers, pulleys and sleeves."""
    support, pieces = frame.support, []
    axle_middle = sum(parts.AXLE_ENDS) / 2
    pulley_6 = pulley(frame.drive.pulley_teeth, support.axle)
    for y in (-frame.half_rollers, frame.half_rollers):
        z = support.axle_height
        pieces += [Piece(parts.axle(frame), Location((axle_middle, y, z)))]
        for u in _inside_faces(frame, support.axle_bearing[2]):
            pieces += [Piece(bearing(*support.axle_bearing), facing("+x", (u, y, z)))]
        pieces += [Piece(parts.roller(frame), facing("+x", (-support.roller_width / 2 - parts.HUB_LENGTH, y, z)))]
        pieces += [Piece(pulley_6, facing("+x", (support.pulley[0], y, z)))]
        pieces += [Piece(parts.axle_sleeve(frame), facing("+x", (support.pulley[1], y, z)))]
    return tuple(pieces)


def _layshaft_bearings(frame: Frame) -> tuple[Piece, ...]:
    """Return the layshaft's bearings and pulley in this stand, with the sleeve beside it; the shaft slides through."""
    support, drive = frame.support, frame.drive
    y, z = drive.layshaft_y, drive.layshaft_z
    pieces = [Piece(bearing(*drive.layshaft_bearing), facing("+x", (u, y, z)))
              for u in _inside_faces(frame, drive.layshaft_bearing[2])]  # fmt: skip
    pieces += [Piece(pulley(drive.pulley_teeth, drive.layshaft_diameter), facing("+x", (support.pulley[0], y, z)))]
    return (*pieces, Piece(parts.layshaft_sleeve(frame), facing("+x", (support.pulley[1], y, z))))


def _belt(frame: Frame) -> tuple[Piece, ...]:
    """Return the belt and the idler that tightens it: a bearing between sleeves on a screw through both cheeks."""
    support, drive = frame.support, frame.drive
    z, width = idler_z(frame), drive.idler_bearing[2]
    middle = sum(support.pulley) / 2
    inner, outer = parts.idler_sleeves(frame)
    thickness = 0.8  # washers of M4
    pieces = [Piece(parts.belt(frame), facing("+x", (middle - drive.belt_width / 2, 0, 0)))]
    pieces += [Piece(inner, facing("+x", (support.cheek_inner[1], 0, z)))]
    pieces += [Piece(bearing(*drive.idler_bearing), facing("+x", (middle - width / 2, 0, z)))]
    pieces += [Piece(outer, facing("+x", (middle + width / 2, 0, z)))]
    head, nut = support.cheek_inner[0] - thickness, support.cheek_outer[1]
    pieces += [Piece(washer(4), facing("+x", (head, 0, z))), Piece(washer(4), facing("+x", (nut, 0, z)))]
    pieces += [Piece(socket_screw(parts.IDLER_SCREW, 45), facing("-x", (head, 0, z)))]
    return (*pieces, Piece(lock_nut(parts.IDLER_SCREW), facing("+x", (nut + thickness, 0, z))))
