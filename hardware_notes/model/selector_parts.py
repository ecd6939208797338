"""The made parts of the selector: flaps, levers, cams, and what holds them."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from math import cos, dist, radians, sin

from build123d import Location, Polyline, Pos, Solid, extrude, make_face
from frame.cams import outline
from frame.dimensions import Frame
from frame.selector import along, belly, reach
from frame.trays import UNDER_AXLE

from model.holes import clearance, drilled, engraved, facing
from model.piece import Part, Way
from model.selector_places import BRACKET, CAM_HUB, COUPLING, INDEX_RADIUS, ROD_IN_COUPLING, disc_s, last_hub_s
from model.standard import ground_rod
from model.standard.electrics import SERVO_HOLES
from model.standard.fasteners import WOOD_HEAD
from model.standard.shapes import box, cone, cylinder, prism, ring

LEVER = 8.0  # thickness
BOSS = 2.0  # of a hub around its set screw
SHOULDER = 0.6  # of the lever, against the bearing's inner ring
INDEX = 3.0  # rod through all cams
PLATE_SCREW = (4.0, 16.0)  # chipboard screw from outside into the side plate
FOOT = 8.0  # thickness of what is screwed to the side plate
SERVO_PLATE = 7.0
HORN = (20.0, 2.0, 7.0)  # diameter, thickness, radius of its holes; from memory
BRIDGE, LEG, BRIDGE_LEG = 12.0, 5.0, 17.0  # of a bridge: width along x; thickness and length of its legs
BRIDGE_SCREW = -15.0  # height of its screw, from the axle
PETG, PRINT = "PETG", Way.PRINTED


def printed(number: str, name: str, shape: Solid, eur: float, notes: tuple[str, ...] = ()) -> Part:
    """Return a printed part."""
    return Part(number, name, PRINT, shape.solid(), PETG, "PETG, printed", eur, notes=notes)


def axle_x(frame: Frame) -> tuple[float, float]:
    """Return where an axle begins and ends: left under its lever, right outside the collar."""
    outside = float(frame.feeder.side_x + frame.feeder.side_sheet)
    return -float(frame.feeder.lever_x) - LEVER / 2, outside + 10


@cache
def axle_tube(frame: Frame) -> Part:
    """Return the tube that a pair of flaps turns on."""
    outer, inner = frame.feeder.axle_tube
    low, high = axle_x(frame)
    shape = ring(outer, inner, 0, high - low)
    stock = f"tube {outer:g}x{(outer - inner) / 2:g}, EN AW-6060, {high - low:g} long"
    return Part("F30", "flap axle", Way.MACHINED, shape.solid(), "aluminium", stock, 2.0)


@cache
def low_ring(frame: Frame) -> Part:
    """Return the first axle's ring: lower than a collar, which would stand in the way of the longest shaft's end."""
    outer, width = 2 * float(frame.feeder.axle_depth) - 1, 8.0
    hole = Pos(0, 0, width / 2) * facing("+x", (0, 0, 0)) * cylinder(3, 0, outer)
    shape = ring(outer, float(frame.feeder.axle_tube[0]), 0, width) - hole
    stock = f"round bar {outer:g}, EN AW-6060, {width:g} long"
    return Part("F55", "ring of the first axle", Way.TURNED, shape.solid(), "aluminium", stock, 2.0)


def _hub(frame: Frame, width: float, side: int) -> Solid:
    """Return a hub bored for the axle, with a boss and the tapped hole of its set screw on its side -1 or 1 of y."""
    radius, bore = float(frame.feeder.axle_depth), float(frame.feeder.axle_tube[0])
    low, high = sorted((0.0, side * (radius + BOSS)))
    hub = cylinder(2 * radius, 0, width) + box((-2.7, 2.7), (low, high), (0, width)) - cylinder(bore, 0, width)
    return drilled(hub.solid(), hub_screw(frame, width, side), 3.0, radius + BOSS - bore / 2)


def hub_screw(frame: Frame, width: float, side: int) -> Location:
    """Return the mouth of a hub's hole for its set screw, as deep as that is long."""
    return facing((0, side, 0), (0, side * (float(frame.feeder.axle_depth) + BOSS), width / 2))


@cache
def flap(frame: Frame, first: bool = False) -> Part:
    """Return a flap, or the check standard's with its longer end up the runway and a short one down."""
    depth, width, tip = float(frame.feeder.axle_depth), float(frame.feeder.flap_width), float(frame.feeder.flap_tip)
    down, up = reach(frame, 0 if first else 1)
    corners = [(-up, depth), (down, depth)]
    if first:
        corners += [(down, depth - tip), (depth - 1, 0.0), (0.0, 0.0)]
        corners += list(belly(frame, 0)[:3])
    else:
        corners += [*reversed(belly(frame, 1)[:3]), (0.0, 0.0)]
    body = prism(corners, 0, width) - cylinder(float(frame.feeder.axle_tube[0]), 0, width)
    shape = (body + _hub(frame, width, -1)).solid()
    number = "F32" if first else "F31"
    at = facing("+z", ((-up if first else down) / 2, depth - 4.6, width))
    shape = engraved(shape, number, at, 4.0)
    name = "check standard's flap" if first else "flap"
    return printed(number, name, shape, 0.4, ("Print solid: its weight opens it.",))


@cache
def bridge(frame: Frame) -> Part:
    """Return the bridge that sits on a divider: its bore at the origin, x to the front, y up."""
    depth, gap = float(frame.feeder.axle_depth), float(frame.feeder.divider_sheet) / 2
    up = -float(frame.feeder.bridge)
    corners = [(-6.0, 0.0), (up, depth - 2.4), (up, depth), (0.0, depth), (0.0, 0.0)]
    low = -UNDER_AXLE - BRIDGE_LEG
    body = cylinder(2 * depth, 0, BRIDGE) + prism([along(frame, (0, 0), *corner) for corner in corners], 0, BRIDGE)
    body += box((-gap - LEG, gap + LEG), (low, -3.0), (0, BRIDGE))
    body -= box((-gap, gap), (low, -UNDER_AXLE), (0, BRIDGE))
    body -= cylinder(float(frame.feeder.axle_tube[0]), 0, BRIDGE)
    screw = facing("-x", (-gap - LEG, BRIDGE_SCREW, BRIDGE / 2))
    shape = drilled(drilled(body.solid(), screw, clearance(3), LEG), screw, 3.0, 40.0)
    note = "Drill the bore to 8.5: it only keeps the axle from sagging."
    return printed("F42", "bridge", shape, 0.3, (note,))


@cache
def lever(frame: Frame) -> Part:
    """Return the lever of an axle, bored along itself for the pin of its roller."""
    roller = frame.feeder.roller
    face = float(frame.feeder.lever) - roller[2] / 2
    arm = box((0, face - SHOULDER), (-3.5, 3.5), (0, LEVER)) - cylinder(frame.feeder.axle_tube[0], 0, LEVER)
    arm -= box((5, face), (-3.5, -2.5), (0, LEVER))  # the first lever points up: its cam comes near there
    middle = facing("+x", (face, 0, LEVER / 2))
    shape = arm + _hub(frame, LEVER, 1) + middle * cylinder(4.6, -SHOULDER - 1, 0)
    shape = drilled(shape.solid(), middle, roller[0], face - 4.5)
    return printed("F33", "lever", shape, 0.2)


@cache
def cam(frame: Frame, first: bool) -> Part:
    """Return a cam, its notch along +y, its hub up; a hole at each step takes the index rod."""
    width = float(frame.feeder.cam_width)
    edge = outline(frame, 0 if first else 1)
    right = edge[: len(edge) // 2]
    points = [tuple(p) for p in right[::4]] + [tuple(p) for p in (right * [-1, 1])[::-4]]
    line = points[:1] + [p for before, p in pairwise(points) if dist(before, p) > 1e-6]
    shape = extrude(make_face(Polyline(*line, close=True)), width) + cylinder(18, width, width + CAM_HUB)
    shape -= cylinder(frame.feeder.rod, 0, width + CAM_HUB)
    step = float(frame.feeder.cam_step)
    for i in range(round(360 / step)):
        angle = radians(90 + step * i + (step / 2 if first else 0))
        shape -= Pos(INDEX_RADIUS * cos(angle), INDEX_RADIUS * sin(angle), 0) * cylinder(INDEX, 0, width)
    shape = drilled(shape.solid(), facing("+x", (9, 0, width + CAM_HUB / 2)), 3.0, 5.0)
    number = "F35" if first else "F34"
    shape = engraved(shape, number, facing("+z", (0, -24, width)))
    name = "check standard's cam" if first else "cam"
    return printed(number, name, shape, 1.0)


def camshaft(length: float) -> Part:
    """Return the camshaft's rod."""
    return ground_rod(8, round(length, 1), "F36")


@cache
def index_rod(frame: Frame) -> Part:
    """Return the rod that lines up all cams."""
    return ground_rod(INDEX, round(last_hub_s(frame) - CAM_HUB - disc_s(frame, 0) + 8, 1), "F37")


def bored_for_wood(shape: Solid, where: Location, d: float = PLATE_SCREW[0], depth: float = FOOT) -> Solid:
    """Return a solid with a countersunk hole for a chipboard screw into what is behind it."""
    sunk = (WOOD_HEAD[d] - d) / 2
    tool = cone(d, WOOD_HEAD[d], -sunk, 0) + cylinder(clearance(d), -depth, 0)
    return (shape - where * tool).solid()


def bracket_screws(frame: Frame) -> tuple[Location, ...]:
    """Return the places of a camshaft bearing's screws in its own frame."""
    face = plate_at(frame) - FOOT
    return tuple(facing("-x", (face, side * 19.0, BRACKET / 2)) for side in (-1, 1))


def plate_at(frame: Frame) -> float:
    """Return how far the outside of the left side plate is from the camshaft's axis, towards the plate."""
    return float(frame.feeder.lever_x - frame.feeder.side_x - frame.feeder.side_sheet)


@cache
def bracket(frame: Frame) -> Part:
    """Return a bearing of the camshaft: bore at the origin, its foot on the side plate towards +x."""
    plate = plate_at(frame)
    shape = box((plate - FOOT, plate), (-26, 26), (0, BRACKET)) + box((0, plate - FOOT), (-9, 9), (0, BRACKET))
    shape = shape + cylinder(18, 0, BRACKET) - cylinder(frame.feeder.rod, 0, BRACKET)
    shape = shape.solid()
    for where in bracket_screws(frame):
        shape = bored_for_wood(shape, where)
    shape = engraved(shape, "F38", facing("+z", (24, 0, BRACKET)))
    return printed("F38", "camshaft bearing", shape, 0.8, ("Ream the bore to 8.1 and grease it.",))


def servo_screws(frame: Frame) -> tuple[Location, ...]:
    """Return the places of the servo bracket's screws in its own frame."""
    face = plate_at(frame) - FOOT
    return tuple(facing("-x", (face, side * 9.0, 22.0)) for side in (-1, 1))


@cache
def servo_bracket(frame: Frame) -> Part:
    """Return the servo's bracket: a plate across the camshaft with the servo's window, its foot on the side plate."""
    plate = plate_at(frame)
    shape = box((-21, plate), (-16, 16), (0, SERVO_PLATE)) + box((plate - FOOT, plate), (-16, 16), (0, 31))
    shape -= box((-10.2, 30.2), (-10.2, 10.2), (0, SERVO_PLATE))
    for x, y in SERVO_HOLES:
        shape -= Pos(x, y, 0) * cylinder(4, 0, SERVO_PLATE)
    shape = shape.solid()
    for where in servo_screws(frame):
        shape = bored_for_wood(shape, where)
    return printed("F39", "selector servo bracket", shape, 1.0)


def horn_holes() -> tuple[tuple[float, float], ...]:
    """Return where the horn is screwed to the coupling."""
    return tuple((side * HORN[2], 0.0) for side in (-1, 1))


@cache
def horn() -> Part:
    """Return the round horn that comes with a servo: its face towards the coupling at z = 0, its body below."""
    shape = ring(HORN[0], 6, -HORN[1], 0)
    for x, y in horn_holes():
        shape -= Pos(x, y, 0) * cylinder(clearance(2), -HORN[1], 0)
    return Part("F40", "servo horn", Way.BOUGHT, shape.solid(), "acetal", "round horn 20, comes with the servo", 0.0)


@cache
def servo_coupling(frame: Frame) -> Part:
    """Return the coupling between camshaft and horn: the rod from z = 0, the horn on top."""
    shape = cylinder(24, 0, COUPLING) - cylinder(frame.feeder.rod, 0, ROD_IN_COUPLING)
    for x, y in horn_holes():
        shape -= Pos(x, y, 0) * cylinder(2, COUPLING - 6, COUPLING)
    shape = drilled(shape.solid(), facing("+x", (12, 0, 7)), 3.0, 8.0)
    return printed("F41", "servo coupling", shape, 0.4)
