"""A servo in line with a rod: it hangs by its ears on two posts, and a coupling joins its horn to the rod."""

from __future__ import annotations

from functools import cache
from math import cos, radians, sin
from typing import NamedTuple

from build123d import Location
from frame.rolling import Point

from model.across import Hole
from model.holes import clearance, drilled, engraved, facing, tapped
from model.piece import Part, Piece, Way
from model.standard import servo, servo_horn, set_screw, socket_screw
from model.standard.shapes import cylinder, prism

SCREW, EAR, EAR_SCREWS = 4, 2.5, 5.0  # screws, thickness of the ears, half the distance of the screws across
EAR_X = (-14.75, 34.75)  # of the ears' screws along the servo, from its shaft
EAR_EDGE, POST_EDGE, POST_OUTER = (
    10.3,
    13.8,
    22.5,
)  # of the near post, from the shaft: beside body, horn, outside
POST_SCREW = 18.4  # of the screws in its foot
FOOT_X = (-POST_SCREW, EAR_X[0] + EAR_X[1] + POST_SCREW)
POST_WIDTH, POST_HOLE, EAR_THREAD = 19.0, 14.0, 7.5
HORN = (10.0, 14.0)  # where the horn sits on the servo's shaft
HORN_CIRCLE = 20.0
FLANGE, COUPLING_HUB, COUPLING = 5.0, 20.0, 15.0  # of the coupling: flange, diameter of its hub, length
GAP = 1.0  # between what the servo stands on, or a hub, and the coupling


class Drive(NamedTuple):
    """Where a servo stands on a plate: the plate's face and thickness, and the gap beside it that is not for it."""

    face_x: float
    thickness: float
    beside: float  # what stands between plate and coupling
    at: Point
    direction_deg: float  # of its body, seen from the right end
    moves: str
    post: str  # number of its posts

    @property
    def servo_x(self) -> float:
        """The x of the lower face of the servo's ears."""
        return self.face_x + self.beside + GAP + COUPLING + HORN[1]

    @property
    def rod_end(self) -> float:
        """Where the rod in its coupling ends."""
        return self.servo_x - HORN[1] - 0.5

    @property
    def post_height(self) -> float:
        """Height of its posts."""
        return self.servo_x - EAR - self.face_x

    @property
    def where(self) -> Location:
        """The servo's place, its shaft towards the plate."""
        along = (0.0, cos(radians(self.direction_deg)), sin(radians(self.direction_deg)))
        return facing("-x", (self.servo_x, *self.at), along=along)


def holes(drive: Drive) -> list[Hole]:
    """Return the holes for the screws of the posts."""
    spots = [drive.where * Location((x, y, 0)) for x in FOOT_X for y in (-EAR_SCREWS, EAR_SCREWS)]
    return [Hole(spot.position.Y, spot.position.Z, clearance(SCREW)) for spot in spots]


def pieces(drive: Drive) -> tuple[Piece, ...]:
    """Return servo, horn, coupling, posts and screws."""
    where, length = drive.where, 20 if drive.thickness > 7 else 16
    back = EAR + drive.post_height
    found = [Piece(servo(), where), Piece(servo_horn(), where * Location((0, 0, HORN[0])), drive.moves)]
    found += [Piece(coupling(), where * Location((0, 0, HORN[1])), drive.moves)]
    for y in (-HORN_CIRCLE / 2, HORN_CIRCLE / 2):
        found += [Piece(socket_screw(3, 8), where * Location((0, y, HORN[1] + FLANGE)), drive.moves)]
    found += [Piece(set_screw(3, 6), where * Location((0, 0, HORN[1])) * _grub(), drive.moves)]
    for x, foot_x, near in ((EAR_X[0], FOOT_X[0], True), (EAR_X[1], FOOT_X[1], False)):
        # the part lies on its side: its y leads away from the shaft, its x from the plate to the ear
        stands = facing("+y" if near else "-y", (x, 0, back), along="-z")
        middle = Location((0, 0, -POST_WIDTH / 2))
        found += [Piece(post(drive.post, drive.post_height), where * stands * middle)]
        for y in (-EAR_SCREWS, EAR_SCREWS):
            found += [Piece(socket_screw(SCREW, 10), where * Location((x, y, 0), (180, 0, 0)))]
            found += [Piece(socket_screw(SCREW, length), where * Location((foot_x, y, back + drive.thickness)))]
    return tuple(found)


@cache
def post(number: str, height: float) -> Part:
    """Return a post for one ear, lying: the plate at x = 0, the ear's screws at y = 0 and y leading off the servo."""
    ear = -EAR_X[0]
    near, beside, outer, foot = EAR_EDGE - ear, POST_EDGE - ear, POST_OUTER - ear, POST_SCREW - ear
    step = height - EAR_THREAD
    outline = [(0, beside), (step, beside), (step, near), (height, near), (height, outer), (0, outer)]
    shape = prism(outline, 0, POST_WIDTH).solid()
    for z in (POST_WIDTH / 2 - EAR_SCREWS, POST_WIDTH / 2 + EAR_SCREWS):
        shape = drilled(shape, facing("+x", (height, 0, z)), tapped(SCREW), EAR_THREAD + 1)
        shape = drilled(shape, facing("-x", (0, foot, z)), tapped(SCREW), POST_HOLE)
    shape = engraved(shape, number, Location((height / 2, (beside + outer) / 2, POST_WIDTH)), 5)
    return Part(number, "servo post", Way.PRINTED, shape, "PETG", "PETG, lying on its side", 0.3)


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
    return Part("F18", "servo coupling", Way.PRINTED, solid, "PETG", "PETG, all perimeters", 0.3)
