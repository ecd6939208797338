"""The switch of the lid: its actuator hangs from the top, and pulling it out forces the contacts open."""

from __future__ import annotations

from build123d import Location, Pos
from frame.dimensions import Frame

from model.holes import clearance, drilled, facing
from model.lid.parts import BOLT, Spot, bolt
from model.piece import Part, Piece, Way
from model.standard.shapes import box, cylinder

BODY = (31.0, 30.0, 74.0)  # from memory: along x, along y, height
BODY_TOP, BODY_Y = 449.0, 0.0  # height of its top, and its middle along y
BODY_SCREWS = (12.0, 34.0)  # over its lower end
ENTRY = (4.0, 17.0, 26.0)  # of its head for the actuator: along x, along y, depth
ENTRY_X = 16.0  # of the entry's middle from the side that is screwed on
BLADE = (2.0, 13.0, 34.0)  # thickness, width, length under the top
FOOT = (30.0, 2.0)  # of the actuator, length along x and thickness
FOOT_SCREWS = (10.0, 22.0)  # from the blade


def switch(frame: Frame) -> Part:
    """Return the switch from its lower end up, the face that is screwed on at x = 0, its body towards +x."""
    wide, deep, high = BODY
    shape = box((0, wide), (-deep / 2, deep / 2), (0, high)).solid()
    across, along, depth = ENTRY
    shape -= box((ENTRY_X - across / 2, ENTRY_X + across / 2), (-along / 2, along / 2), (high - depth, high))
    for z in BODY_SCREWS:
        shape = drilled(shape.solid(), facing("+x", (wide, 0, z)), clearance(BOLT), wide)
    size = "interlock switch with separate actuator, ISO 14119 type 2, two contacts forced open (IEC 60947-5-1)"
    return Part("L22", "lid switch", Way.BOUGHT, shape.solid(), "PETG", size, 18.0, 90.0)


def actuator(frame: Frame) -> Part:
    """Return the actuator: its foot on z = 0 from below, along +x from the blade that hangs at the origin."""
    thick, wide, length = BLADE
    shape = box((-thick / 2, thick / 2), (-wide / 2, wide / 2), (-length, 0))
    shape += box((-thick / 2, FOOT[0]), (-wide / 2, wide / 2), (-FOOT[1], 0))
    for x in FOOT_SCREWS:
        shape -= Pos(x, 0, 0) * cylinder(clearance(BOLT), -FOOT[1], 0)
    return Part("L23", "actuator of the lid switch", Way.BOUGHT, shape.solid(), "steel", "comes with the switch", 0.0)


def switch_place(frame: Frame) -> Location:
    """Return where the switch's lower end lies at the far end."""
    return Location((-frame.lid.sides_x, BODY_Y, BODY_TOP - BODY[2]))


def _blade_x(frame: Frame) -> float:
    return float(ENTRY_X - frame.lid.sides_x)


def switch_holes(frame: Frame) -> list[Spot]:
    """Return the holes in the far end: y, z, diameter."""
    return [(BODY_Y, BODY_TOP - BODY[2] + z, clearance(BOLT)) for z in BODY_SCREWS]


def actuator_holes(frame: Frame) -> list[Spot]:
    """Return the holes in the top: x, y, diameter."""
    return [(_blade_x(frame) + x, BODY_Y, clearance(BOLT)) for x in FOOT_SCREWS]


def guard_switch(frame: Frame, group: str) -> tuple[Piece, ...]:
    """Return the switch at the far end and the actuator under the top."""
    lid = frame.lid
    pieces = [
        Piece(switch(frame), switch_place(frame)),
        Piece(actuator(frame), Location((_blade_x(frame), BODY_Y, lid.top_z)), group),
    ]
    for y, z, _ in switch_holes(frame):
        head = facing("-x", (-lid.sides_x - lid.sheet, y, z))
        pieces += bolt(head, lid.sheet + BODY[0], 40)
    for x, y, _ in actuator_holes(frame):
        head = facing("+z", (x, y, lid.top_z + lid.sheet))
        pieces += [Piece(p.part, p.where, group) for p in bolt(head, lid.sheet + FOOT[1], 12)]
    return tuple(pieces)
