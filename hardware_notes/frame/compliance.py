"""How much the frame gives between the head and the rims, mm/N, one part after the other, by beam theory.

The press pulls the beam up at midspan as hard as the shaft pushes it down on both supports, and in the same plane. So
the force closes within the gauge: neither the cross beams nor the feet carry any of it, and the beam is bent but not
twisted.

Contributions that are not linear (balls, rotor) are the chord between the light and the full depth, which is what the
difference of both depths sees. Values from memory are named in `MEMORY`; a maker's sheet comes before them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import asin, cos, pi, radians, sin

from frame.contact import LIGHT, LOAD_N
from frame.dimensions import Frame

STEEL, STEEL_SHEAR, ALUMINIUM, ALUMINIUM_SHEAR = 207_000.0, 80_000.0, 70_000.0, 26_000.0
ROTOR_TEETH = 50  # of a stepper with 1.8 degrees a step
BENT_MM = 12.7  # of a shaft of spine 500, at which all is computed
HEAD_PLATE_MM = 80.0  # width of the head plate
# From memory
BEAM_WEBS_MM2 = 500.0  # of the upright profile, that carry shear
COLUMN_AREA_MM2, COLUMN_TORSION_MM4 = 700.0, 2.0e4
BALLS = {13.0: (2.0, 8), 10.0: (1.588, 7), 22.0: (3.969, 7)}  # by the outer diameter of a bearing: ball, number
THRUST_ANGLE_DEG = 13.0  # of a deep groove bearing under a light axial load
SCREW_CORE_MM = 5.8
NUT_N_MM = 100_000.0  # thread and flange of a bronze nut; one of acetal has a twentieth
BLOCK_N_MM = 60_000.0  # a block on a 12 mm rail, light preload, either way across
SLOT_BOLT_N_MM = 50_000.0  # a bolt with its slot nut in the lips of the profile's slot
JOINT_MM3_N = 2.0e-4  # clamped machined faces: 0.2 um per N/mm2
COUPLING_NMM_RAD = 30_000.0
MEMORY = (
    "column area and torsion", "balls and angle of contact", "nut", "rail block", "bolt in a slot", "clamped faces",
    "coupling", "core of the screw", "webs of the beam",
)  # fmt: skip


@dataclass(frozen=True)
class Give:
    """What a part adds to the give at the head, mm/N; `memory` where a value from memory decides it."""

    part: str
    mm_per_n: float
    memory: bool = False


def gives(frame: Frame) -> tuple[Give, ...]:
    """Return what each part of the load's path adds, from the rims to the head.

    >>> total = sum(give.mm_per_n for give in gives(Frame.load()))
    >>> 0.011 < total < 0.0125
    True
    """
    return (
        Give("beam", beam(frame)),
        Give("cross beams and feet", 0.0),
        Give("cheeks and foot plates", cheeks(frame)),
        Give("axles of the rollers", axles(frame)),
        Give("bearings of the rollers", roller_bearings(frame), memory=True),
        Give("joint of beam and column", column_joint(frame), memory=True),
        Give("column, leaning", column(frame)),
        Give("head plate and its joint", head_plate(frame)),
        Give("screw bearings, preloaded", thrust_bearings(frame), memory=True),
        Give("screw, along and twisted, and coupling", screw(frame), memory=True),
        Give("rotor's lag at its current", rotor_lag(frame)),
        Give("nut", 1 / NUT_N_MM, memory=True),
        Give("rail blocks", rail_blocks(frame), memory=True),
        Give("carriage plate", carriage_plate(frame)),
        Give("arm", arm(frame)),
        Give("joints of arm and cell", arm_joints(frame), memory=True),
        Give("cell", float(frame.cell.give_mm_per_n)),
        Give("bearings of the head", head_bearings(frame), memory=True),
    )


def _chord(at: Callable[[float], float]) -> float:
    """Return the slope of a way, mm, between the light and the full force, mm/N."""
    return (at(LOAD_N) - at(LIGHT * LOAD_N)) / ((1 - LIGHT) * LOAD_N)


def loaded_z(frame: Frame) -> float:
    """Return the height of the carriage's middle when a shaft of spine 500 carries the full load."""
    return frame.carriage_z - float(frame.press.home_clearance) - BENT_MM


# Supports


def beam(frame: Frame) -> float:
    """Return the give of the beam: L^3 / (48 E I), and by shear L / (4 G A)."""
    span = float(frame.support.span)
    bent = span**3 / (48 * frame.beam.modulus_n_mm2 * frame.beam.second_moment_mm4)
    return float(bent + span / (4 * ALUMINIUM_SHEAR * BEAM_WEBS_MM2))


def cheek_shares(frame: Frame) -> tuple[float, float]:
    """Return the shares of a roller's load on the inner and the outer cheek: its rim is nearer to the inner one."""
    inner, outer = (sum(cheek) / 2 for cheek in (frame.support.cheek_inner, frame.support.cheek_outer))
    return outer / (outer - inner), -inner / (outer - inner)


def cheeks(frame: Frame) -> float:
    """Return the give of the cheeks under the force, and of the faces that they stand on."""
    support = frame.support
    squares = sum(share**2 for share in cheek_shares(frame))
    area = 2 * support.cheek_half_depth * support.cheek
    return float(squares * ((support.axle_height - support.foot_thickness) / ALUMINIUM + JOINT_MM3_N) / area / 2)


def in_the_nip(frame: Frame) -> float:
    """Return how the head's give follows from that of one roller along its own force: 1 / (4 cos^2 nip)."""
    return 1 / (4 * cos(radians(frame.nip_deg(frame.shaft.usual))) ** 2)


def axles(frame: Frame) -> float:
    """Return the give of the bent axles: a^2 b^2 / (3 E I l) between the bearings in both cheeks."""
    inner, outer = (sum(cheek) / 2 for cheek in (frame.support.cheek_inner, frame.support.cheek_outer))
    second = pi * frame.support.axle**4 / 64
    return float((inner * outer) ** 2 / (3 * STEEL * second * (outer - inner)) * in_the_nip(frame))


def ball_bearing(radial_n: float, outer: float) -> float:
    """Return how far a ball bearing gives under a radial force, mm, beside its play.

    4.36e-4 (Q^2 / D)^(1/3) with 5 F / Z on the ball at the bottom (Palmgren; T. A. Harris, Rolling Bearing Analysis,
    from memory).

    >>> round(1000 * ball_bearing(4.25, 13.0), 2)
    0.66
    """
    ball, number = BALLS[outer]
    return 4.36e-4 * ((5 * radial_n / number) ** 2 / ball) ** (1 / 3)


def roller_bearings(frame: Frame) -> float:
    """Return the give of the rollers' bearings; both of an axle share its force by the lever."""
    per_roller = frame.nip_share(frame.shaft.usual) / 2
    outer = frame.support.axle_bearing[1]

    def way(force_n: float) -> float:
        at_roller = sum(share * ball_bearing(share * per_roller * force_n, outer) for share in cheek_shares(frame))
        return at_roller / per_roller

    return _chord(way) * in_the_nip(frame)


# Column and screw


def joint_stiffness(heights: Sequence[float], bolts: int) -> float:
    """Return the stiffness of a joint against leaning, N mm a radian: bolts by the squares of their heights.

    `bolts` is their number at each height.

    >>> joint_stiffness([-20.0, -60.0], 2)
    80000000.0
    """
    middle = sum(heights) / len(heights)
    return SLOT_BOLT_N_MM * bolts * sum((z - middle) ** 2 for z in heights)


def column_joint(frame: Frame) -> float:
    """Return the give of the spacer's joints: each has the moment of the press about its own face."""
    press = frame.press
    column, beam = -frame.column_front_y, -frame.column_front_y - press.spacer
    return float(
        column**2 / joint_stiffness(press.spacer_column_z, 1) + beam**2 / joint_stiffness(press.spacer_beam_z, 2)
    )


def column(frame: Frame) -> float:
    """Return the lift of the head as the column bends and stretches, by the square of its moment per newton.

    Below the carriage the moment is that of the force itself, above it that of the screw; the blocks pass from the one
    to the other. The screw stands aside, so the column also bends sideways from the blocks up.
    """
    press = frame.press
    lower, upper = (loaded_z(frame) + side * press.block_spacing / 2 for side in (-1, 1))
    foot = max(frame.press.spacer_column_z)  # the upper one of its bolts
    far, near, aside = -press.column_y, press.screw_y - press.column_y, press.screw_x
    bent = far**2 * (lower - foot) + (far**2 + far * near + near**2) / 3 * (upper - lower)
    bent += near**2 * (press.column_top - upper) + aside**2 * ((upper - lower) / 3 + press.column_top - upper)
    twist = aside / press.block_spacing * (press.column / 2 + press.rail_height)
    stiffness = frame.beam.modulus_n_mm2 * press.column_second_moment_mm4
    along = (press.column_top - foot) / (frame.beam.modulus_n_mm2 * COLUMN_AREA_MM2)
    return float(bent / stiffness + along + twist**2 * press.block_spacing / (ALUMINIUM_SHEAR * COLUMN_TORSION_MM4))


def head_plate(frame: Frame) -> float:
    """Return the give of the plate that holds the screw's bearings, bent and twisted, and of its face on the column."""
    press = frame.press
    out = press.screw_y - press.column_y - press.column / 2
    width, thick = HEAD_PLATE_MM, press.head_plate
    bent = out**3 / (3 * ALUMINIUM * width * thick**3 / 12)
    twisted = press.screw_x**2 * out / (ALUMINIUM_SHEAR * width * thick**3 / 3)
    face = ((out + press.column / 2) ** 2 + press.screw_x**2) * JOINT_MM3_N / (press.column**4 / 12)
    return float(bent + twisted + face)


def thrust_bearings(frame: Frame) -> float:
    """Return the give of the preloaded pair: Palmgren's axial formula, its slope at the preload, twice as stiff."""
    ball, number = BALLS[frame.press.thrust_bearing[1]]
    angle = sin(radians(THRUST_ANGLE_DEG))
    force = frame.press.thrust_preload_n
    way = 4.36e-4 * ((force / (number * angle)) ** 2 / ball) ** (1 / 3) / angle
    return float(way / (1.5 * force) / 2)


def screw(frame: Frame) -> float:
    """Return the give of the screw from nut to bearings, stretched and twisted, and of the coupling's twist."""
    length = frame.press.column_top + frame.press.head_plate / 2 - loaded_z(frame)
    core = pi * SCREW_CORE_MM**2 / 4
    lever = frame.press.screw_lead / (2 * pi)
    twist = length / (STEEL_SHEAR * core * SCREW_CORE_MM**2 / 8) + 1 / COUPLING_NMM_RAD
    return float(length / (STEEL * core) + lever**2 * twist)


def rotor_lag(frame: Frame) -> float:
    """Return the lag of the press motor's rotor as a give: asin(F / stall) / 50 turns of the screw's pitch a radian.

    The motor's torque is a sine of the lag with one period in four whole steps, and its peak is what stalls at
    `stall_n`. It halves if the stalling force is doubled.

    >>> round(1e3 * LOAD_N * rotor_lag(Frame.load()), 1)
    3.7
    """
    lead, stall = frame.press.screw_lead, frame.press.stall_n
    return _chord(lambda force_n: float(asin(force_n / stall) / ROTOR_TEETH * lead / (2 * pi)))


# Carriage, arm, cell, head


def rail_blocks(frame: Frame) -> float:
    """Return the give of the two blocks, which hold the moments between head and nut by a couple of forces."""
    press = frame.press
    couples = (press.screw_y**2 + press.screw_x**2) / press.block_spacing**2
    return float(2 * couples / BLOCK_N_MM)


def carriage_plate(frame: Frame) -> float:
    """Return the give of the carriage plate between its blocks, bent by the arm in its middle."""
    width, thick, _ = frame.press.carriage
    half = frame.press.block_spacing / 2
    force = frame.press.screw_y / frame.press.block_spacing
    return float(2 * force**2 * half**3 / (3 * ALUMINIUM * width * thick**3 / 12))


def _arm_reach(frame: Frame) -> tuple[float, float]:
    """Return the distances from midspan to where the arm leaves the carriage and to the cell's fixed screws."""
    cell = frame.cell
    return frame.press.carriage[0] / 2, cell.length - cell.free_end_x - sum(cell.hole_from_end) / 2


def arm(frame: Frame) -> float:
    """Return the give of the arm between carriage and cell: (b^3 - a^3) / (3 E I) from the line of the force."""
    near, far = _arm_reach(frame)
    depth, thick = frame.cell.arm
    return float((far**3 - near**3) / (3 * ALUMINIUM * depth * thick**3 / 12))


def arm_joints(frame: Frame) -> float:
    """Return the give of the clamped faces of the cell's fixed end and of the arm on the carriage."""
    cell = frame.cell
    _, far = _arm_reach(frame)
    pad = sum(cell.hole_from_end) ** 3 * cell.width / 12
    back = frame.press.carriage[0] * cell.arm[1] ** 3 / 12
    # The cell's pad twice: under the pad and over it.
    return float(JOINT_MM3_N * (2 * far**2 / pad + frame.carriage_front_y**2 / back))


def head_bearings(frame: Frame) -> float:
    """Return the give of the two bearings that press, on both sides of the shaft."""
    usual = frame.shaft.usual
    upright = frame.head_above(usual) / ((frame.head.bearing[1] + usual) / 2)
    outer = frame.head.bearing[1]
    return _chord(lambda force_n: ball_bearing(force_n / (2 * upright), outer) / upright)
