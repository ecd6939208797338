"""A servo in line with a rod: it hangs by its ears on two posts, and a coupling joins its horn to the rod."""

from __future__ import annotations

from functools import cache
from math import cos, radians, sin
from typing import NamedTuple

from build123d import Location, Solid
from frame.rolling import Point

from model.across import Hole
from model.holes import clearance, drilled, engraved, facing, tapped
from model.piece import Part, Piece, Way
from model.standard import servo, servo_horn, set_screw, socket_screw, wood_screw
from model.standard.fasteners import WOOD_HEAD
from model.standard.shapes import cone, cylinder, prism

SCREW, EAR, EAR_SCREWS = 4, 2.5, 5.0  # screws, thickness of the ears, half the distance of the screws across
EAR_X = (-14.75, 34.75)  # of the ears' screws along the servo, from its shaft
EAR_EDGE, POST_EDGE, POST_OUTER = (
    10.3,
    13.8,
    22.5,
)  # of the near post, from the shaft: beside body, horn, outside
FLANGE_LONG, FLANGE_THICK = 12.0, 8.0  # of a post's foot, beyond its outside
POST_SCREW = POST_OUTER + FLANGE_LONG / 2  # of the screws in its foot
WOOD_SCREW = (4.0, 16.0)  # chipboard screw into the side plate
FOOT_X = (-POST_SCREW, EAR_X[0] + EAR_X[1] + POST_SCREW)
POST_WIDTH, EAR_THREAD = 19.0, 7.5
HORN = (10.0, 14.0)  # where the horn sits on the servo's shaft
HORN_CIRCLE = 20.0
FLANGE, COUPLING_HUB, COUPLING = 5.0, 20.0, 15.0  # of the coupling: flange, diameter of its hub, length
GAP = 1.0  # between an outside servo's plate and the coupling
POST_INSIDE = 30.0  # height of an inside servo's posts: its body is 28 deep


class Drive(NamedTuple):
    """Where a servo stands on a side plate: 1 the right one and -1 the left one, the rod's place, the body's direction.

    `face` is the distance of the plate's face from midspan. `inside` servos stand on the inner face, their shaft off
    the plate; the others outside, their shaft towards it.
    """

    side: int
    face: float
    thickness: float
    at: Point
    direction_deg: float  # of its body, seen from the right end
    moves: str
    inside: bool

    @property
    def off(self) -> float:
        """Distance of the lower face of the servo's ears from midspan."""
        return self.face - POST_INSIDE if self.inside else self.face + GAP + COUPLING + HORN[1]

    @property
    def rod_end(self) -> float:
        """Distance from midspan at which the rod in its coupling ends."""
        return self.off - HORN[1] - 0.5

    @property
    def post(self) -> Part:
        """The post under each ear."""
        return inside_post() if self.inside else outside_post(self.off - EAR - self.face)

    @property
    def where(self) -> Location:
        """The servo's place; its shaft points to midspan."""
        along = (0.0, cos(radians(self.direction_deg)), sin(radians(self.direction_deg)))
        return facing("-x" if self.side > 0 else "+x", (self.side * self.off, *self.at), along=along)


def holes(drive: Drive) -> list[Hole]:
    """Return the holes for the screws of the posts: drill 2.5."""
    spots = [drive.where * Location((x, y, 0)) for x in FOOT_X for y in (-EAR_SCREWS, EAR_SCREWS)]
    return [Hole(spot.position.Y, spot.position.Z, WOOD_SCREW[0]) for spot in spots]


def pieces(drive: Drive) -> tuple[Piece, ...]:
    """Return servo, horn, coupling, posts and screws."""
    where = drive.where
    found = [Piece(servo(), where), Piece(servo_horn(), where * Location((0, 0, HORN[0])), drive.moves)]
    found += [Piece(coupling(), where * Location((0, 0, HORN[1])), drive.moves)]
    for y in (-HORN_CIRCLE / 2, HORN_CIRCLE / 2):
        found += [Piece(socket_screw(3, 8), where * Location((0, y, HORN[1] + FLANGE)), drive.moves)]
    found += [Piece(set_screw(3, 6), where * Location((0, 0, HORN[1])) * _grub(), drive.moves)]
    for ear_x, foot_x, sign in ((EAR_X[0], FOOT_X[0], -1), (EAR_X[1], FOOT_X[1], 1)):
        found += _on_post(drive, ear_x, foot_x, sign)
    return tuple(found)


def _on_post(drive: Drive, ear_x: float, foot_x: float, sign: int) -> list[Piece]:
    """Return a post with its screws; it stands off the servo's shaft to the side of `sign`."""
    inside = drive.inside
    plate_z = -POST_INSIDE if inside else drive.off - drive.face
    # the part lies on its side: its x leads from the plate to the ear, its y off the servo
    out = "+y" if (sign > 0) is inside else "-y"
    stands = facing(out, (ear_x, 0, plate_z), along="+z" if inside else "-z")
    up, ear_head = ((0, 0, 0), EAR) if inside else ((180, 0, 0), 0.0)
    foot_head = plate_z + FLANGE_THICK if inside else plate_z - FLANGE_THICK
    found = [Piece(drive.post, drive.where * stands * Location((0, 0, -POST_WIDTH / 2)))]
    for y in (-EAR_SCREWS, EAR_SCREWS):
        found += [Piece(socket_screw(SCREW, 10), drive.where * Location((ear_x, y, ear_head), up))]
        found += [Piece(wood_screw(*WOOD_SCREW), drive.where * Location((foot_x, y, foot_head), up))]
    return found


def wood_screw_hole(shape: Solid, where: Location) -> Solid:
    """Return a foot with a countersunk hole for a chipboard screw, from a place along its -z."""
    d, depth = WOOD_SCREW[0], (WOOD_HEAD[WOOD_SCREW[0]] - WOOD_SCREW[0]) / 2
    tool = cone(d, WOOD_HEAD[d], -depth, 0) + cylinder(clearance(d), -FLANGE_THICK, 0)
    return (shape - where * tool).solid()


def _post(number: str, outline: list[Point], height: float) -> Part:
    """Return a post for one ear, lying: the plate at x = 0, the ear's screws at y = 0 and y leading off the servo."""
    shape = prism(outline, 0, POST_WIDTH).solid()
    for z in (POST_WIDTH / 2 - EAR_SCREWS, POST_WIDTH / 2 + EAR_SCREWS):
        shape = drilled(shape, facing("+x", (height, 0, z)), tapped(SCREW), EAR_THREAD + 1)
        shape = wood_screw_hole(shape, facing("+x", (FLANGE_THICK, POST_SCREW + EAR_X[0], z)))
    shape = engraved(shape, number, Location((height / 2, (POST_EDGE + POST_OUTER) / 2 + EAR_X[0], POST_WIDTH)), 5)
    return Part(number, "servo post", Way.PRINTED, shape, "PETG", "PETG, lying on its side", 0.3)


def _foot(outer: float) -> list[Point]:
    """Return the outline of a post's foot."""
    beyond = outer + FLANGE_LONG
    return [(FLANGE_THICK, outer), (FLANGE_THICK, beyond), (0, beyond)]


@cache
def outside_post(height: float) -> Part:
    """Return a post between plate and ear, beside coupling and horn as well as the servo's body."""
    near, beside, outer = (edge + EAR_X[0] for edge in (EAR_EDGE, POST_EDGE, POST_OUTER))
    step = height - EAR_THREAD
    outline = [(0, beside), (step, beside), (step, near), (height, near), (height, outer), *_foot(outer)]
    return _post("F19", outline, height)


@cache
def inside_post() -> Part:
    """Return a post between plate and ear, beside the servo's body."""
    near, outer = EAR_EDGE + EAR_X[0], POST_OUTER + EAR_X[0]
    outline = [(0, near), (POST_INSIDE, near), (POST_INSIDE, outer), *_foot(outer)]
    return _post("F16", outline, POST_INSIDE)


def _grub() -> Location:
    """Return the mouth of the set screw's hole in the coupling."""
    return facing("+x", (COUPLING_HUB / 2, 0, (FLANGE + COUPLING) / 2))


@cache
def coupling() -> Part:
    """Return the coupling, its flange on z = 0; two flutes in its hub leave room for the heads of the horn's screws."""
    shape = cylinder(25, 0, FLANGE) + cylinder(COUPLING_HUB, 0, COUPLING) - cylinder(8, -1, COUPLING + 1)
    for y in (-HORN_CIRCLE / 2, HORN_CIRCLE / 2):
        shape -= Location((0, y, 0)) * (cylinder(clearance(3), -1, FLANGE) + cylinder(6.6, FLANGE, COUPLING + 1))
    solid = drilled(shape.solid(), _grub(), tapped(3), COUPLING_HUB / 2)
    return Part("F71", "servo coupling", Way.PRINTED, solid, "PETG", "PETG, all perimeters", 0.3)
