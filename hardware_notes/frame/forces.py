"""Forces of the gauge: on the nut, on the cell, at the rims, along the shaft, and on something rigid under the head."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, cos, radians

from frame.contact import LIGHT, LOAD_N, MATERIALS, THOU_MM, contact_modulus, point_contact
from frame.dimensions import STANDARD_GRAVITY, Frame
from frame.figures import moving_n

LOOP_S = 0.010  # of the board: a turn of its loop, a stop included (protocol, section 9)
BEARS, STOPS_AT = (
    1.5,
    0.8,
)  # of a cell's rated load: what it bears, and where the board stops; from memory of data sheets
FULL_SCALE, GAIN = 2**24, 128  # counts of the converter over both signs, its gain
STOP_N_MM = 10_000.0  # of the arm with the stop's screw, estimated
# Friction torque of one small ball bearing, N mm, from memory; a light load adds nothing to it.
OILED, GREASED = 0.15, 1.0
SHAFT_N = 0.25  # weight of a usual shaft
SLIDING = 0.3  # friction of a shaft on steel, at most
CREEP = 4.0  # force of a round rolling contact that creeps, over G a b and the creep (Kalker, from memory)


# The nut


@dataclass(frozen=True)
class NutForces:
    """Force that lifts the carriage against the nut's upper flank, N: with nothing, and at both depths."""

    free: float
    light: float
    full: float


def on_the_nut(frame: Frame) -> NutForces:
    """Return the least force upward on the nut, drag of rail and nut taken off; below 0 the nut changes flank.

    >>> nut = on_the_nut(Frame.load())
    >>> 0 < nut.free < nut.light < nut.full
    True
    """
    free = float(frame.press.lift_n - frame.press.drag_n) - moving_n(frame)
    return NutForces(free, free + LIGHT * LOAD_N, free + LOAD_N)


def softest_thou(frame: Frame) -> float:
    """Return the spine of the softest shaft that reaches the standard load before the limit of travel.

    >>> softest_thou(Frame.load()) > 1500
    True
    """
    way = frame.press.travel - frame.press.home_clearance - LOAD_N * frame.cell.give_mm_per_n
    return float(way) / THOU_MM


# The cell


def counts_per_n(rated_kg: float, mv_per_v: float) -> float:
    """Return the counts a newton makes: the converter's range is the bridge's supply over its gain.

    >>> round(counts_per_n(2.0, 1.0))
    109491
    """
    return mv_per_v / 1000 / (rated_kg * STANDARD_GRAVITY) * GAIN * FULL_SCALE


def stop_takes_over_n(frame: Frame) -> float:
    """Return the force at which the cell's free end meets the overload stop, N.

    >>> stop_takes_over_n(Frame.load())
    25.0
    """
    return float(frame.cell.stop_gap / frame.cell.give_mm_per_n)


def on_the_cell_n(frame: Frame, head_n: float) -> float:
    """Return what a force at the head leaves on the cell itself, N; above the stop nearly all of it is the stop's.

    >>> on_the_cell_n(Frame.load(), 8.6), round(on_the_cell_n(Frame.load(), 60.0), 1)
    (8.6, 25.3)
    """
    beyond = max(0.0, head_n - stop_takes_over_n(frame))
    cell_n_mm = 1 / frame.cell.give_mm_per_n
    return float(head_n - beyond * STOP_N_MM / (STOP_N_MM + cell_n_mm))


def cell_bears_n(frame: Frame) -> float:
    """Return what the cell bears without harm, N."""
    return float(BEARS * frame.cell.rated_kg * STANDARD_GRAVITY)


def on_rigid_n(board: Mapping[str, Mapping[str, float]], count_per_n: float, mm_s: float) -> float:
    """Return the force that something rigid under the head meets at a speed, N, if the motor could press so hard.

    `board` is the board's file: `limits` and `cell`. The force goes on rising until two readings have passed the limit,
    the converter's filter and a turn of the loop, and until the head has braked.
    """
    limits, cell = board["limits"], board["cell"]
    late_s = (2 + cell["filter"] / 2) / cell["rate"] + LOOP_S
    over_mm = mm_s * late_s + mm_s**2 / (2 * limits["press_mm_s2"])
    return (limits["count"] + limits["count_per_mm"] * over_mm) / count_per_n


def head_presses_n(frame: Frame, board: Mapping[str, Mapping[str, float]], count_per_n: float, mm_s: float) -> float:
    """Return the greatest force on something rigid, N: as much as the motor presses before it stalls, at most."""
    return min(on_rigid_n(board, count_per_n, mm_s), float(frame.press.stall_n))


@dataclass(frozen=True)
class CellChoice:
    """What belongs to a cell: counts a gram, and the board's limits in counts; whether the file as it comes will do."""

    rated_kg: float
    mv_per_v: float
    counts_per_g: float
    load: int
    count: int
    bears_count: int
    count_per_mm: int

    def reaches_load(self, count: int) -> bool:
        """Return whether the standard load, with a tenth to spare, lies below a limit of counts."""
        return 1.1 * self.load < count


def cell_choice(rated_kg: float, mv_per_v: float, bears_n: float, n_per_mm: float) -> CellChoice:
    """Return the limits for a cell; `bears_n` is what cell and stop bear together, `n_per_mm` the stiffness of both.

    >>> found = cell_choice(2.0, 2.0, 137.0, 100.0)
    >>> found.load, found.count, found.reaches_load(1_700_000), found.reaches_load(found.count)
    (1889786, 3436000, False, True)
    """
    per_n = counts_per_n(rated_kg, mv_per_v)
    stops_n = STOPS_AT * rated_kg * STANDARD_GRAVITY
    count, bears, stiff = (ceil(n * per_n / 1000) * 1000 for n in (stops_n, bears_n, n_per_mm))
    return CellChoice(rated_kg, mv_per_v, per_n * STANDARD_GRAVITY / 1000, round(LOAD_N * per_n), count, bears, stiff)


# Turning


def traction_needed(
    frame: Frame, bearing_nmm: float, driven: int = 2, load_n: float = LIGHT * LOAD_N, diameter: float | None = None
) -> float:
    """Return the friction that turns a shaft without slip, of the rollers' force on it.

    `bearing_nmm` is the friction torque of one ball bearing; `driven` counts the driven rollers of each support. Both
    bearings of the head are turned by the shaft, and so are two bearings of each roller that is not driven.

    >>> frame = Frame.load()
    >>> [round(traction_needed(frame, torque), 2) for torque in (OILED, GREASED)]
    [0.03, 0.18]
    >>> [round(traction_needed(frame, torque, driven=1), 2) for torque in (OILED, GREASED)]
    [0.09, 0.61]
    """
    nip = cos(radians(frame.nip_deg(diameter or frame.shaft.usual)))
    per_roller = (load_n + SHAFT_N) / (4 * nip)
    drag = 2 * bearing_nmm / (frame.head.bearing[1] / 2)
    drag += 2 * (2 - driven) * 2 * bearing_nmm / (frame.support.roller_diameter / 2)
    return float(drag / (2 * driven * per_roller))


# Along the shaft


def ends_move_in_mm(frame: Frame, spine_thou: float) -> float:
    """Return how far each end of a shaft moves in over its support as it bends: 1.2 d^2 / L.

    >>> round(ends_move_in_mm(Frame.load(), 500), 2), round(ends_move_in_mm(Frame.load(), 1000), 2)
    (0.27, 1.09)
    """
    return float(1.2 * (spine_thou * THOU_MM) ** 2 / frame.support.span)


def friction_thou(frame: Frame, spine_thou: float, friction: float) -> float:
    """Return what the ends' friction takes off a shaft that is pressed and not turned, thou.

    2.4 mu d / L of its spine on supports that carry it from below; in a nip the rims press on it by more, 1 / cos nip.

    >>> [round(friction_thou(Frame.load(), spine, 0.2), 1) for spine in (500, 1000)]
    [8.4, 33.7]
    """
    nip = cos(radians(frame.nip_deg(frame.shaft.usual)))
    return 2.4 * friction / nip * spine_thou * THOU_MM / float(frame.support.span) * spine_thou


def slide_n(frame: Frame, skew_mrad: float) -> float:
    """Return the force along the shaft that skewed rollers can bring upon the head at the full load, N.

    A contact that rolls askew creeps: its force grows with the skew, to sliding at most. A carbon shaft is taken.

    >>> round(slide_n(Frame.load(), 0.5), 2), round(slide_n(Frame.load(), 50.0), 1)
    (0.23, 2.6)
    """
    force = LOAD_N / 2 * frame.nip_share(frame.shaft.usual)
    across = 2 / frame.support.roller_diameter + 2 / frame.shaft.usual
    carbon = MATERIALS["carbon"]
    area = point_contact(force, (1 / frame.support.rim_radius, across), contact_modulus(MATERIALS["steel"], carbon))
    shear = carbon.modulus / (2 * (1 + carbon.poisson))
    rollers = 4 * CREEP * shear * area.longer * area.shorter * skew_mrad / 1000
    return min(rollers, SLIDING * LOAD_N)


# Error of a cell, of the load, for a force along the shaft at the length of the head: a plain bending beam reads the
# moment as load, its gauges some 40 mm from the load; a single point is compensated to 0.02 % of the load for each
# 10 mm that the load stands aside. Both from memory of data sheets.
PLAIN_LEVER_MM, COMPENSATED_PER_MM = 40.0, 0.0002 / 10


def slide_error_thou(frame: Frame, slide: float, spine_thou: float, compensated: bool = True) -> float:
    """Return what a force along the shaft costs, thou, on a compensated cell or on a plain bending beam.

    >>> frame = Frame.load()
    >>> [round(slide_error_thou(frame, 2.6, 500, kind), 2) for kind in (True, False)]
    [0.13, 165.7]
    """
    lever = frame.head.stem + frame.head.bearing[1]
    aside_mm = slide * lever / LOAD_N
    share = COMPENSATED_PER_MM * aside_mm if compensated else aside_mm / PLAIN_LEVER_MM
    return float(share) * spine_thou
