"""Printed hinges with a screw as their pin: a fixed leaf behind the back, a moving one on the top, side by side."""

from __future__ import annotations

from collections.abc import Sequence

from build123d import Plane, Polyline, extrude, make_face
from frame.dimensions import Frame

from model.holes import clearance, drilled, engraved, facing
from model.lid.parts import BOLT, bolt
from model.piece import Part, Piece, Way
from model.standard import lock_nut, socket_screw
from model.standard.shapes import cylinder

HINGES = (-390.0, -130.0, 130.0, 390.0)  # middles along x
LEAF, LEAF_GAP = 26.0, 0.5  # length of a leaf and distance between the two
PLATE = 4.0
KNUCKLE = 12.0  # diameter
PIN, PIN_LENGTH = 5, 60
SCREWS = (7.0, 19.0)  # along a leaf
DOWN, FORWARD = 28.0, 40.0  # of the screws: under the axis on the back, in front of it on the top
PAST = 8.0  # of a plate beyond its screws

# A leaf is printed standing on its end, so its shape here is its section: y to the front along x, height along y, from
# the hinge's axis.


def _leaf(number: str, name: str, corners: Sequence[tuple[float, float]]) -> Part:
    shape = extrude(make_face(Polyline(*corners, close=True)), LEAF) + cylinder(KNUCKLE, 0, LEAF)
    shape -= cylinder(clearance(PIN), 0, LEAF)
    return Part(number, name, Way.PRINTED, shape.solid(), "PETG", "printed, 6 walls", 0.5)


def fixed_leaf(frame: Frame) -> Part:
    """Return the leaf that is screwed to the outside of the back."""
    face, low = KNUCKLE / 2, -DOWN - PAST
    corners = [(face, 0), (face, low), (face - PLATE, low), (face - PLATE, 0)]
    part = _leaf("L16", "fixed leaf of the hinge", corners)
    shape = part.shape
    for along in SCREWS:
        shape = drilled(shape, facing("-x", (face - PLATE, -DOWN, along)), clearance(BOLT), PLATE)
    shape = engraved(shape, "L16", facing("-x", (face - PLATE, -15, LEAF / 2), along="+z"), 5)
    return Part(part.number, part.name, part.way, shape, part.material, part.designation, part.price_eur)


def moving_leaf(frame: Frame) -> Part:
    """Return the leaf that is screwed on the top and reaches down behind it to the axis."""
    over = frame.lid.top_z + frame.lid.sheet - frame.lid.hinge[1]
    rear, front, end = -KNUCKLE / 2, KNUCKLE / 2, FORWARD + PAST
    corners = [(rear, 0), (front, 0), (front, over), (end, over), (end, over + PLATE), (rear, over + PLATE)]
    part = _leaf("L17", "moving leaf of the hinge", corners)
    shape = part.shape
    for along in SCREWS:
        shape = drilled(shape, facing("+y", (FORWARD, over + PLATE, along)), clearance(BOLT), PLATE)
    shape = engraved(shape, "L17", facing("+y", (15, over + PLATE, LEAF / 2), along="+x"), 6)
    return Part(part.number, part.name, part.way, shape, part.material, part.designation, part.price_eur)


def _starts(middle: float) -> tuple[float, float]:
    """Return where the fixed and the moving leaf of a hinge begin along x."""
    return middle - LEAF - LEAF_GAP / 2, middle + LEAF_GAP / 2


def fixed_holes(frame: Frame) -> list[tuple[float, float]]:
    """Return x and z of the holes in the back."""
    z = frame.lid.hinge[1] - DOWN
    return [(_starts(middle)[0] + along, z) for middle in HINGES for along in SCREWS]


def moving_holes(frame: Frame) -> list[tuple[float, float]]:
    """Return x and y of the holes in the top."""
    y = frame.lid.hinge[0] + FORWARD
    return [(_starts(middle)[1] + along, y) for middle in HINGES for along in SCREWS]


def hinges(frame: Frame, group: str) -> tuple[Piece, ...]:
    """Return the hinges with their pins and screws."""
    y, z = frame.lid.hinge
    fixed, moving = fixed_leaf(frame), moving_leaf(frame)
    clamped = PLATE + frame.lid.sheet
    pieces = []
    for middle in HINGES:
        left, right = _starts(middle)
        for part, start, moves in ((fixed, left, "fixed"), (moving, right, group)):
            lying = Plane(origin=(start, y, z), x_dir=(0, 1, 0), z_dir=(1, 0, 0)).location
            pieces.append(Piece(part, lying, moves))
        pieces.append(Piece(socket_screw(PIN, PIN_LENGTH), facing("-x", (left, y, z))))
        pieces.append(Piece(lock_nut(PIN), facing("+x", (right + LEAF, y, z))))
    behind, above = frame.lid.back_y - frame.lid.sheet - PLATE, frame.lid.top_z + frame.lid.sheet + PLATE
    for x, up in fixed_holes(frame):
        pieces += bolt(facing("-y", (x, behind, up)), clamped, 16)
    for x, along in moving_holes(frame):
        pieces += [Piece(p.part, p.where, group) for p in bolt(facing("+z", (x, along, above)), clamped, 16)]
    return tuple(pieces)
