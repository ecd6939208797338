"""The selector: flaps over the trays, held shut from below by levers on cams, and the camshaft that opens one."""

from __future__ import annotations

from collections.abc import Iterator

from build123d import Location, Pos, Rot
from frame.cams import open_at, open_deg, shut_tilt_deg
from frame.dimensions import Frame
from frame.selector import axle, bridges, cam_deg, flap_x, flaps, notch_deg, shut_deg, stations, swing_deg

from model import selector_parts as made
from model.holes import facing
from model.motion import STEP_DEG, Motion, turned_about_x
from model.piece import Piece, of_step
from model.selector_guard import guard
from model.selector_places import (
    CAM_HUB,
    HORN_FACE,
    INDEX_RADIUS,
    ROD_IN_COUPLING,
    across,
    bracket_s,
    disc_s,
    last_hub_s,
    on_camshaft,
    rod_ends,
    servo_s,
)
from model.standard import bearing, collar, dowel, servo, set_screw, socket_screw, wood_screw
from model.standard.electrics import SERVO_HOLES

CAMS = "camshaft"
STEP = "14 selector"
PILOT = 4.0  # mm, hole in a side plate for a chipboard screw: drill 2.5


def group(flap: int) -> str:
    """Return the name of the group that moves with a flap."""
    return f"flap {flap}"


def selector(frame: Frame) -> tuple[Piece, ...]:
    """Return all pieces of the selector, every flap shut."""
    pieces = [piece for flap in flaps(frame) for piece in (*_on_axle(frame, flap), *_lever(frame, flap))]
    pieces += _bridges(frame)
    pieces += _camshaft(frame)
    pieces += _servo(frame)
    pieces += guard(frame)
    return of_step(pieces, STEP)


# Flaps on their axles


def _flap_x(frame: Frame, flap: int) -> tuple[float, float]:
    """Return the left faces of a pair of flaps."""
    x = flap_x(frame, flap)
    return -x - frame.feeder.flap_width / 2, x - frame.feeder.flap_width / 2


def _collars_x(frame: Frame, flap: int) -> tuple[float, float]:
    """Return the left faces of an axle's collars: inside the side plates at the first, which is near the second."""
    side, outside = float(frame.feeder.side_x), float(frame.feeder.side_x + frame.feeder.side_sheet)
    return (-side, side - 8) if flap == 0 else (-outside - 8, outside)


def _tube_and_collars(frame: Frame, number: int, moves: str) -> Iterator[Piece]:
    """Yield an axle's tube and the collars that keep it between the side plates."""
    at, slope = axle(frame, number), -float(frame.feeder.slope)
    yield Piece(made.axle_tube(frame), across(at, slope, 0) * Pos(0, 0, made.axle_x(frame)[0]), moves)
    low = made.low_ring(frame)
    part, screw, radius = (low, set_screw(3, 3), 7.0) if number == 0 else (collar(8), set_screw(4, 4), 8.0)
    for x in _collars_x(frame, number):
        place = across(at, slope, x)
        yield Piece(part, place * Rot(0, 0, -90), moves)
        yield Piece(screw, place * _screw_at(radius, 4.0, -90), moves)


def _screw_at(radius: float, z: float, about_z: float) -> Location:
    """Return the place of a radial screw's head: on +y turned by an angle, its shank towards the axis."""
    return Rot(0, 0, about_z) * Pos(radius, 0, z) * Rot(0, 90, 0)


def _on_axle(frame: Frame, flap: int) -> Iterator[Piece]:
    """Yield an axle with its collars and its pair of flaps."""
    moves, width = group(flap), float(frame.feeder.flap_width)
    yield from _tube_and_collars(frame, flap, moves)
    part = made.flap(frame, first=flap == 0)
    for x in _flap_x(frame, flap):
        place = across(axle(frame, flap), shut_deg(frame, flap), x)
        yield Piece(part, place, moves)
        yield Piece(set_screw(3, 5), place * made.hub_screw(frame, width, -1), moves)


def _lever(frame: Frame, flap: int) -> Iterator[Piece]:
    """Yield a lever with its roller: down the runway from its axle, and up it at the first."""
    roller, length = frame.feeder.roller, float(frame.feeder.lever)
    tilt = -float(frame.feeder.slope) + (0.0 if flap else -shut_tilt_deg(frame, 0))
    place = across(axle(frame, flap), tilt, -float(frame.feeder.lever_x))
    if flap == 0:
        place = place * Rot(0, 180, 0)
    place = place * Pos(0, 0, -made.LEVER / 2)
    end = place * Pos(length - roller[2] / 2, 0, made.LEVER / 2) * Rot(0, 90, 0)
    moves = group(flap)
    yield Piece(made.lever(frame), place, moves)
    yield Piece(set_screw(3, 5), place * made.hub_screw(frame, made.LEVER, 1), moves)
    yield Piece(bearing(*roller), end, moves)
    yield Piece(dowel(3, 10), end * Pos(0, 0, roller[2] - 10), moves)


def _bridges(frame: Frame) -> Iterator[Piece]:
    """Yield the bridges on the dividers with their screws."""
    outer = float(frame.feeder.divider_sheet) / 2 + made.LEG
    for number in bridges(frame):
        for side in (-1, 1):
            place = across(axle(frame, number), 0.0, side * float(frame.feeder.bridge_x) - made.BRIDGE / 2)
            yield Piece(made.bridge(frame), place)
            at = facing("-x", (-outer, made.BRIDGE_SCREW, made.BRIDGE / 2))
            yield Piece(socket_screw(3, 16), place * at)


# Camshaft


def _cam_place(frame: Frame, flap: int) -> Location:
    """Return where a cam stands with all flaps shut, at the last tray's place."""
    turned = cam_deg(frame, int(frame.feeder.places)) - notch_deg(frame, flap)
    return on_camshaft(frame, disc_s(frame, flap)) * Rot(0, 0, turned)


def _camshaft(frame: Frame) -> Iterator[Piece]:
    """Yield the camshaft with cams, index rod, collars and bearings."""
    low, high = rod_ends(frame)
    width = float(frame.feeder.cam_width)
    lying = Rot(0, 90, 0)
    yield Piece(made.camshaft(high - low), on_camshaft(frame, (low + high) / 2) * lying, CAMS)
    rod = made.index_rod(frame)
    middle = (disc_s(frame, 0) + last_hub_s(frame) - CAM_HUB) / 2
    turned = Rot(0, 0, cam_deg(frame, int(frame.feeder.places))) * Pos(0, -INDEX_RADIUS, 0)
    yield Piece(rod, on_camshaft(frame, middle) * turned * lying, CAMS)
    for flap in flaps(frame):
        place = _cam_place(frame, flap)
        yield Piece(made.cam(frame, flap == 0), place, CAMS)
        yield Piece(set_screw(3, 5), place * _screw_at(9.0, width + CAM_HUB / 2, 0), CAMS)
    for s in bracket_s(frame):
        place = on_camshaft(frame, s, up=True)
        place = place * Pos(0, 0, -made.BRACKET)
        yield Piece(made.bracket(frame), place)
        for at in made.bracket_screws(frame):
            yield Piece(wood_screw(*made.PLATE_SCREW), place * at)
    last = bracket_s(frame)[-1]
    for s in (last - 8, last + made.BRACKET):
        yield Piece(collar(8), on_camshaft(frame, s), CAMS)
        yield Piece(set_screw(4, 4), on_camshaft(frame, s) * _screw_at(8.0, 4.0, 0), CAMS)


def _servo(frame: Frame) -> Iterator[Piece]:
    """Yield the servo with bracket, horn and coupling."""
    coupling = on_camshaft(frame, rod_ends(frame)[1] - ROD_IN_COUPLING)
    yield Piece(made.servo_coupling(frame), coupling, CAMS)
    yield Piece(set_screw(3, 8), coupling * _screw_at(12.0, 7.0, 0), CAMS)
    place = on_camshaft(frame, servo_s(frame), up=True)
    face = place * Pos(0, 0, HORN_FACE)
    yield Piece(made.horn(), face, CAMS)
    for x, y in made.horn_holes():
        yield Piece(socket_screw(2, 8), face * Pos(x, y, -made.HORN[1]) * Rot(180, 0, 0), CAMS)
    yield Piece(servo(), place)
    yield Piece(made.servo_bracket(frame), place * Rot(180, 0, 0))
    for x, y in SERVO_HOLES:
        yield Piece(socket_screw(4, 10), place * Pos(x, y, 2.5))
    for at in made.servo_screws(frame):
        yield Piece(wood_screw(*made.PLATE_SCREW), place * Rot(180, 0, 0) * at)


# Motions


def flap_at(frame: Frame, flap: int, turned_deg: float) -> Location:
    """Return where a flap has gone that is turned about +x from where it is shut."""
    return turned_about_x(*axle(frame, flap), turned_deg)


def _cams_at(frame: Frame, turned_deg: float) -> Location:
    """Return where the camshaft has gone when it is turned from the last tray's place."""
    here = on_camshaft(frame, 0.0)
    return here * Rot(0, 0, turned_deg) * here.inverse()


def _camshaft_turned(frame: Frame, turned_deg: float) -> dict[str, Location]:
    """Return where cams and flaps have gone when the camshaft is turned from the last tray's place."""
    opened = open_at(frame, cam_deg(frame, int(frame.feeder.places)) + turned_deg)
    carried = {
        group(flap): flap_at(frame, flap, angle if swing_deg(frame, flap) > 0 else -angle)
        for flap, angle in opened.items()
    }
    return {CAMS: _cams_at(frame, turned_deg), **carried}


def _off_notch(frame: Frame, flap: int, opened_deg: float) -> float:
    """Return how far the camshaft is turned out of a flap's notch when the flap is open by an angle."""
    low, high = 0.0, float(frame.feeder.standard_step)
    while high - low > 1e-4:
        middle = (low + high) / 2
        low, high = (middle, high) if open_deg(frame, flap, middle) > opened_deg else (low, middle)
    return high


def _one_flap(frame: Frame, flap: int) -> Motion:
    """Return the motion of a flap that opens; its number is the angle by which it is open."""
    home = cam_deg(frame, int(frame.feeder.places))

    def carry(opened_deg: float) -> dict[str, Location]:
        if opened_deg == 0:
            return _camshaft_turned(frame, 0.0)
        off = _off_notch(frame, flap, opened_deg)
        turn = notch_deg(frame, flap) - home + (off if flap else -off)
        return _camshaft_turned(frame, turn)

    return Motion(group(flap), 0.0, abs(swing_deg(frame, flap)), STEP_DEG, carry)


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return the camshaft's turn over all places, and each flap as it opens."""
    home, end = (cam_deg(frame, place) for place in (int(frame.feeder.places), stations(frame)))
    turn = Motion("selector", -home, end - home, STEP_DEG, lambda angle: _camshaft_turned(frame, angle))
    return turn, *(_one_flap(frame, flap) for flap in flaps(frame))


# For the side plates


def bores(frame: Frame) -> dict[str, list[tuple[float, float, float]]]:
    """Return the holes in each side plate, y, z and diameter: the axles', and left those of the chipboard screws."""
    axles = [(*axle(frame, i), float(frame.feeder.axle_tube[0])) for i in flaps(frame)]
    outside = float(frame.feeder.side_x + frame.feeder.side_sheet)
    plate_screw = wood_screw(*made.PLATE_SCREW)
    ends = [piece.where * Pos(0, 0, -made.FOOT) for piece in selector(frame) if piece.part is plate_screw]
    screws = [end.position for end in ends if abs(end.position.X + outside) < 0.01]  # not those between boards
    return {"left": axles + [(at.Y, at.Z, PILOT) for at in screws], "right": axles}


def windows(frame: Frame) -> dict[str, list[tuple[float, float, float, float]]]:
    """Return the openings in each side plate; the selector needs none."""
    return {"left": [], "right": []}
