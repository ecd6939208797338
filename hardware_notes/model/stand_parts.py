"""The made parts of a stand, each in a frame of its own. Tolerances that cost thou stand in their notes."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import cos, radians, sin

from build123d import (
    BuildLine,
    BuildPart,
    BuildSketch,
    Face,
    Line,
    Location,
    Polyline,
    Solid,
    ThreePointArc,
    Wire,
    extrude,
    make_face,
    revolve,
)
from frame.belts import T25_BACK_MM, T25_TIP_MM, Contact, belt_length_mm, contacts
from frame.dimensions import Frame
from frame.supports import IDLER_SLEEVE_MM, belt_mm, idler_z, walk_mm_a_turn, wheels

from model.holes import clearance, counterbored, drilled, engraved, facing, tapped
from model.piece import Part, Way
from model.standard import ground_rod
from model.standard.shapes import box, cylinder, ring

CHEEK_SCREW, CHEEK_SCREW_Y = 4, 17.5  # from below, two a cheek; the foot plate keeps 5.6 mm under their heads
CHEEK_SCREW_HEAD_Z = 5.6
CHEEK_SCREW_DEPTH = 14.0
SENSOR_SCREW = 3
PIN, PIN_PLACE = 6.0, (17.0, 31.0)  # y and z of the pins that bring both cheeks into line
FOOT_SCREW, FOOT_SCREWS = 6, (-19.0, 29.0)  # along u: outside the cheeks
FOOT_PIN, FOOT_PINS = 8.0, (-28.5, 39.0)  # in the beam's slot; as far apart as the plate allows
IDLER_SCREW = 4
HUB, HUB_LENGTH = 8.0, 1.0  # of the roller and of what stands beside it: clear of the bearing's outer ring
RIM_FLANK_DEG = 45.0


WALK_A_TURN = walk_mm_a_turn(6.0, 0.5)
FOOT_NOTES = (  # a drawing has room for five lines of notes
    "Pins 8: reamed H7, bonded in, their line square to the cheeks' seats",
    "within 0.05 in 48. They are held against the slot's rear lip.",
    "Underside flat within 0.02: the stand must not rock on the beam.",
)
CHEEK_NOTES = (
    "In pairs: bore both and mill both bottom edges in one clamping; mark them.",
    "Bores 13, 16 and 6: H7. Bearings bonded in, flush with the inner face.",
    f"Axles parallel within 0.5 mrad: a 6 mm shaft then walks {WALK_A_TURN:.3f} mm a turn.",
    "At 5 mrad it walks ten times as far, and its friction pulls at the cell.",
)
ROLLER_NOTES = (
    "Bond it on its axle first; then turn and polish the rim on that axle.",
    "Rim true within 0.005: that much moves midspan by 0.1 thou, peak to peak.",
    "All four rims with one setting, alike within 0.01, or shafts slip and twist.",
    "Crown R 2 within 0.2: it decides how far a shaft sinks in.",
)
SLEEVE_NOTES = ("Faced until the axle has 0.05 of play along itself between the cheeks.",)


@cache
def foot_plate(frame: Frame) -> Part:
    """Return the plate between cheeks and beam: u along x, its top at the top."""
    support = frame.support
    low, high = support.foot_reach
    thickness, half = support.foot_thickness, support.cheek_half_depth
    shape = box((low, high), (-half, half), (0, thickness)).solid()
    for u in FOOT_SCREWS:
        shape = drilled(shape, Location((u, 0, thickness)), clearance(FOOT_SCREW), thickness)
    for u in FOOT_PINS:
        shape = drilled(shape, Location((u, 0, thickness)), FOOT_PIN, thickness)
    for u in cheek_middles(frame):
        for y in (-CHEEK_SCREW_Y, CHEEK_SCREW_Y):
            mouth = facing("-z", (u, y, 0))
            shape = counterbored(shape, mouth, CHEEK_SCREW, thickness, sunk=thickness - CHEEK_SCREW_HEAD_Z)
    shape = engraved(shape, "S01", Location((34.5, 15, thickness)), size=5)
    stock = f"aluminium {thickness:g} mm, {high - low:g} x {2 * half:g}"
    return Part("S01", "foot plate", Way.MACHINED, shape, "aluminium", stock, 4.0, notes=FOOT_NOTES)


def cheek_middles(frame: Frame) -> tuple[float, float]:
    """Return where the middles of both cheeks lie along u, mm."""
    return sum(frame.support.cheek_inner) / 2, sum(frame.support.cheek_outer) / 2


@cache
def cheek(frame: Frame) -> Part:
    """Return a cheek, flat: y along x, height over the foot plate along y. Inner and outer ones are alike."""
    support, drive = frame.support, frame.drive
    bottom, top, half = support.foot_thickness, support.cheek_top - support.foot_thickness, support.cheek_half_depth
    notch, notch_bottom = support.notch_half_width, support.notch_bottom - bottom
    outline = [(-half, 0), (half, 0), (half, top), (notch, top), (notch, notch_bottom)]
    outline += [(-notch, notch_bottom), (-notch, top), (-half, top)]
    sheet = extrude(make_face(Polyline(*outline, close=True)), support.cheek).solid()
    face = support.cheek
    for y, z, diameter in _cheek_bores(frame):
        sheet = drilled(sheet, Location((y, z - bottom, face)), diameter, face)
    low, high = drive.idler_travel
    wide = clearance(IDLER_SCREW) / 2
    slot = box((-wide, wide), (low - bottom, high - bottom), (0, face))
    for z in (low, high):
        slot += Location((0, z - bottom, 0)) * cylinder(2 * wide, 0, face)
    sheet = (sheet - slot).solid()
    for y in (-CHEEK_SCREW_Y, CHEEK_SCREW_Y):
        sheet = drilled(sheet, facing("-y", (y, 0, face / 2)), tapped(CHEEK_SCREW), CHEEK_SCREW_DEPTH)
    sheet = engraved(sheet, "S02", Location((0, 46 - bottom + 10, face)), size=5)
    stock = f"aluminium {face:g} mm, {2 * half:g} x {top:g}"
    return Part("S02", "cheek", Way.MACHINED, sheet, "aluminium", stock, 9.0, notes=CHEEK_NOTES)


def _cheek_bores(frame: Frame) -> list[tuple[float, float, float]]:
    """Return y, z and diameter of a cheek's bores: axles, layshaft, pins, sensors."""
    support, drive = frame.support, frame.drive
    bores = [(y, support.axle_height, support.axle_bearing[1]) for y in (-frame.half_rollers, frame.half_rollers)]
    bores += [(drive.layshaft_y, drive.layshaft_z, drive.layshaft_bearing[1])]
    across, up = support.sensor_screws
    bores += [(y, up, tapped(SENSOR_SCREW)) for y in (-across, across)]
    return bores + [(y, PIN_PLACE[1], PIN) for y in (-PIN_PLACE[0], PIN_PLACE[0])]


@cache
def roller(frame: Frame) -> Part:
    """Return a roller from z = 0 up: two 45 degree flanks that meet in a crown, a hub at each side."""
    support = frame.support
    radius, crown = support.roller_diameter / 2, support.rim_radius
    middle, half = HUB_LENGTH + support.roller_width / 2, support.roller_width / 2
    edge_r, edge_z = radius - crown * (1 - cos(radians(RIM_FLANK_DEG))), crown * sin(radians(RIM_FLANK_DEG))
    side = edge_r - (half - edge_z)
    with BuildPart() as part:
        with BuildSketch(Location((0, 0, 0), (90, 0, 0))):
            with BuildLine():
                Polyline((support.axle / 2, 0), (HUB / 2, 0), (HUB / 2, HUB_LENGTH), (side, HUB_LENGTH),
                         (edge_r, middle - edge_z))  # fmt: skip
                ThreePointArc((edge_r, middle - edge_z), (radius, middle), (edge_r, middle + edge_z))
                Polyline((edge_r, middle + edge_z), (side, middle + half), (HUB / 2, middle + half),
                         (HUB / 2, middle + half + HUB_LENGTH), (support.axle / 2, middle + half + HUB_LENGTH),
                         (support.axle / 2, 0))  # fmt: skip
            make_face()
        revolve()
    stock = f"steel bar {support.roller_diameter + 2:g}; rim turned and polished on its axle"
    return Part("S03", "roller", Way.TURNED, part.part.solid(), "steel", stock, 8.0, notes=ROLLER_NOTES)


AXLE_ENDS = (-12.0, 23.0)  # along u, inside the cheeks' outer faces


def axle(frame: Frame) -> Part:
    """Return a roller's axle along x, centred."""
    return replace(ground_rod(frame.support.axle, AXLE_ENDS[1] - AXLE_ENDS[0], "S04"), name="axle")


@cache
def sleeve(number: str, outer: float, bore: float, length: float) -> Part:
    """Return a sleeve of brass tube, sawn and faced, from z = 0 up."""
    stock = f"brass tube {outer:g}x{(outer - bore) / 2:g}, {length:g} long"
    solid, notes = ring(outer, bore, 0, length).solid(), SLEEVE_NOTES if number == "S05" else ()
    return Part(number, "sleeve", Way.TURNED, solid, "brass", stock, 0.3, notes=notes)


def axle_sleeve(frame: Frame) -> Part:
    """Return the sleeve between a roller's pulley and the bearing in the outer cheek."""
    return sleeve("S05", HUB, frame.support.axle, frame.support.cheek_outer[0] - frame.support.pulley[1])


def layshaft_sleeve(frame: Frame) -> Part:
    """Return the sleeve beside the layshaft's pulley, and beside its collar."""
    bore = frame.drive.layshaft_diameter
    return sleeve("S06", bore + 2, bore, frame.support.cheek_outer[0] - frame.support.pulley[1])


def idler_sleeves(frame: Frame) -> tuple[Part, Part]:
    """Return the sleeves between the idler and the inner and outer cheek."""
    width, middle = frame.drive.idler_bearing[2], sum(frame.support.pulley) / 2
    inner = middle - width / 2 - frame.support.cheek_inner[1]
    outer = frame.support.cheek_outer[0] - middle - width / 2
    return sleeve("S07", IDLER_SLEEVE_MM, 4, inner), sleeve("S08", IDLER_SLEEVE_MM, 4, outer)


@cache
def belt(frame: Frame) -> Part:
    """Return the belt round its wheels: y along x, z along y, its width from z = 0 up; the teeth are left out."""
    path = contacts(wheels(frame, idler_z(frame)))
    outside, inside = (Face(_loop(path, outward)) for outward in (T25_BACK_MM, -T25_TIP_MM))
    shape = extrude(outside, frame.drive.belt_width) - extrude(inside, frame.drive.belt_width)
    solid: Solid = shape.solid()
    if solid.bounding_box().min.Z < -1e-6:
        solid = solid.moved(Location((0, 0, frame.drive.belt_width)))
    teeth, pitch, width = frame.drive.belt_teeth, frame.drive.belt_pitch, frame.drive.belt_width
    stock = f"toothed belt T{pitch:g}, ISO 17396, {belt_mm(frame):g} long ({teeth} teeth), {width:g} wide, closed"
    grams = 1.2 * width / 6 * belt_length_mm([contact.wheel for contact in path]) / 100  # from memory
    return Part("S09", "toothed belt", Way.BOUGHT, solid, "belt", stock, 4.0, grams)


def _loop(path: tuple[Contact, ...], outward: float) -> Wire:
    """Return the closed line at a distance from a belt's pitch line."""
    edges = []
    for i, contact in enumerate(path):
        turn = -contact.wrap_rad if contact.wheel.back else contact.wrap_rad
        first, middle, last = (contact.point(contact.arrives + share * turn, outward) for share in (0.0, 0.5, 1.0))
        following = path[(i + 1) % len(path)]
        edges.append(ThreePointArc(first, middle, last))
        edges.append(Line(last, following.point(following.arrives, outward)))
    return Wire([edge.edge() for edge in edges])
