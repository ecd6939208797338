"""Each imperfection of the simulated gauge does what mechanics says of it, by itself on a gauge without the others.

Closed forms are those of statics, Hertz and the linear solid; what is computed apart from the project is in tests/data.
"""

from __future__ import annotations

import json
import math
from itertools import product
from typing import Any

import numpy as np
import pytest
from perfect import PERFECT
from places import DATA
from rehearsal_rig import Step, board_of, mechanics, move, samples, shafts, supports, truths
from rehearsal_rig import beam as beams
from scipy.integrate import quad
from scipy.optimize import brentq, fsolve, minimize_scalar

STANDARD_N, SPAN_MM = 0.880 * 9.80665, 711.2  # ASTM F2031: 880 g on 28 in; standard gravity is exact (BIPM)
QUIET = PERFECT | {
    "noise_count": 0.0, "zero_drift_count_per_s": 0.0, "creep": 0.0, "jitter_us": 0.0, "screw_periodic_mm": 0.0,
    "backlash_mm": 0.0, "slip": 0.0, "filter": "none", "contact_mm": 8.0, "frame_mm_per_n": 0.0,
}  # fmt: skip
COMPUTED = json.loads((DATA / "beams_on_rollers.json").read_text())
BEFORE = json.loads((DATA / "gauge_without_sins.json").read_text())
FULL = 8152  # microsteps of 2.5 um to a deflection of 12.38 mm, below contact at 8 mm


def gauge_of(shaft: dict[str, Any] | None = None, seed: int = 1, **sins: Any) -> mechanics.Mechanics:
    """Return a gauge with a shaft in it and only the given imperfections."""
    given = {"seed": seed, "gauge": QUIET | sins, "shafts": [{"number": 1} | (shaft or {})]}
    simulated = mechanics.Mechanics(given)
    simulated.feed(1, 0, 0)
    return simulated


def at(simulated: mechanics.Mechanics, now_us: int, press: int, rotate: int) -> float:
    """Convert once with the axes at a place; return the force on the head, N."""
    simulated.move(now_us, press, rotate)
    simulated.sample()
    return float(simulated.head()[1])


def pressed(simulated: mechanics.Mechanics, press: int, rotate: int = 0, now_us: int = 0) -> float:
    """Return the force on the head once the axes stand there, N."""
    for _ in range(20):  # friction and force settle on each other
        force = at(simulated, now_us, press, rotate)
    return force


def felt_n(simulated: mechanics.Mechanics, press: int, rotate: int = 0, now_us: int = 0) -> float:
    """Return the force that the cell shows there, N."""
    pressed(simulated, press, rotate, now_us)
    simulated.move(now_us, press, rotate)
    word, _ = simulated.sample()
    return (word - 50000) / mechanics.COUNT_PER_N


def law(deflection_mm: float, ei: float, span_mm: float = SPAN_MM, **supports_are: float) -> float:
    """Return the force that bends a beam so far, by integrating along it, N."""

    def lack(slope: float) -> float:
        return beams.half_beam(slope, **supports_are)[0] - deflection_mm / span_mm

    slope = brentq(lack, 1e-6, 0.55, xtol=1e-14)
    return beams.half_beam(slope, **supports_are)[1] * ei / span_mm**2


# Nothing else changed


@pytest.mark.parametrize("number", range(len(BEFORE["cases"])))
def test_without_them_the_gauge_is_what_it_was_before(number: int) -> None:
    case, interval_us = BEFORE["cases"][number], BEFORE["conversion_us"]
    given = {"seed": 5, "gauge": PERFECT | case["gauge"], "shafts": [{"number": 1} | case["shaft"]]}
    simulated = mechanics.Mechanics(given)
    simulated.feed(1, 0, 0)
    us = press = rotate = 0
    words, heads = [], []
    for number_of, down, turn in BEFORE["legs"]:
        for _ in range(number_of):
            us, press, rotate = us + interval_us, press + down, rotate + turn
            for part in simulated.instants:
                back = 1 - part
                simulated.move(us - int(interval_us * back), press - int(down * back), rotate - int(turn * back))
            word = simulated.sample()
            words.append(None if word is None else list(word))
            heads.append([*simulated.head(), simulated.angle, simulated.marked])
    assert words == case["samples"]
    assert heads == case["heads"]


def test_every_imperfection_has_its_place_among_those_that_a_test_can_switch_off() -> None:
    only_shape_another = {
        "skid_at_deg", "friction_slide_mm", "friction_roll_deg", "cell_per_k", "warmup_s", "shaft_creep_s",
    }  # fmt: skip
    assert truths.SINS.keys() - only_shape_another <= PERFECT.keys() <= truths.GAUGE.keys()


# Nut


@pytest.mark.parametrize(("lift_n", "turned_over"), [(4.9, 0.0), (-5.0, 0.05), (-20.0, 0.0)])
def test_a_load_turns_the_nut_over_where_the_lift_lies_between_the_depths(lift_n: float, turned_over: float) -> None:
    simulated = gauge_of(lift_n=lift_n, drag_n=1.0, backlash_mm=0.05)
    light, full = 3704, FULL
    pressed(simulated, light)
    above = simulated.head()[0] - light / 400
    pressed(simulated, full)
    assert above - (simulated.head()[0] - full / 400) == pytest.approx(turned_over, abs=1e-9)


def test_a_turning_shaft_turns_the_nut_over_too() -> None:
    """The press stands; the softer side leaves the carriage on one flank, the stiffer one lifts it to the other."""
    simulated = gauge_of({"spread_thou": 60.0}, lift_n=-8.4, drag_n=0.05, backlash_mm=0.03)
    heads = []
    for rotate in range(0, 800, 10):
        pressed(simulated, FULL, rotate)
        heads.append(simulated.head()[0])
    assert max(heads) - min(heads) == pytest.approx(0.03, abs=1e-9)


# Rollers


@pytest.mark.parametrize(("diameter", "gap"), [(4.0, 1.0), (6.0, 1.0), (10.0, 0.5)])
def test_a_rim_that_is_out_by_e_lifts_the_middle_as_the_geometry_of_two_circles_says(
    diameter: float, gap: float
) -> None:
    half, reach, out = (30.0 + gap) / 2, (30.0 + diameter) / 2, 0.01

    def lack(at: np.ndarray) -> list[float]:
        x, z = at
        return [math.hypot(x + half, z) - reach - out, math.hypot(x - half, z) - reach]

    lifted = fsolve(lack, [0.0, 10.0], xtol=1e-13)[1] - math.sqrt(reach**2 - half**2)
    rollers = supports.Rollers(mechanics.GAUGE | {"roller_gap_mm": gap}, 1)
    rollers.carry(diameter)
    assert rollers.pressing / 4 * out == pytest.approx(lifted / 2, rel=2e-3)  # one end of two
    assert rollers.pressing == pytest.approx(1 / math.cos(math.asin(half / reach)))


@pytest.mark.parametrize(("slope", "diameter"), list(product([0.01, 0.05, 0.1], [4.0, 6.0, 10.0])))
def test_a_sloping_shaft_rises_over_crowned_rims_as_over_an_upright_roller(slope: float, diameter: float) -> None:
    """Distance of a line from the circle on which the crown has its centres: what touches keeps it."""
    rim, half = 2.0, 15.5
    centres, reach = 15.0 - rim, rim + diameter / 2

    def lack(z: float) -> float:
        def distance(around: float) -> float:
            y, below = half - centres * math.sin(around), z - centres * math.cos(around)
            return y**2 + (below * math.cos(slope)) ** 2

        return minimize_scalar(distance, bounds=(0, 1.55), method="bounded", options={"xatol": 1e-12}).fun - reach**2

    level = math.sqrt((15.0 + diameter / 2) ** 2 - half**2)
    rolls = supports.Rollers(mechanics.GAUGE | {"rim_radius_mm": rim}, 1).carry(diameter)
    rises = brentq(lack, level - 1e-6, level + 1.0, xtol=1e-12) - level
    assert rises == pytest.approx(rolls * (1 / math.cos(slope) - 1), rel=2e-2)  # the rest goes with the fourth power


def test_unround_rollers_lift_the_shaft_once_and_twice_in_their_own_turn() -> None:
    simulated = gauge_of({"diameter_mm": 6.0}, roller_runout_mm=0.01, roller_oval_mm=0.002)
    force = np.array([pressed(simulated, FULL, rotate) for rotate in range(0, 6400, 50)])
    waves = np.abs(np.fft.rfft(force - force.mean())) / len(force) * 2
    assert set(np.flatnonzero(waves > 0.002 * waves.max())) == {2, 4}  # of two turns of the rollers
    stiffness = law(12.39, simulated._shaft.ei) - law(12.37, simulated._shaft.ei)
    lift = simulated._rollers.height
    assert waves[2] / stiffness * 0.02 == pytest.approx(
        abs(np.fft.rfft([lift(rotate) for rotate in range(0, 6400, 50)])[2]) / 64, rel=1e-3
    )


def test_four_rollers_add_up_as_phasors_with_phases_of_their_own() -> None:
    """Mean square of a sum of four phasors of random phase: four times that of one."""
    given = mechanics.GAUGE | {"roller_runout_mm": 0.01, "roller_oval_mm": 0.0}
    squares = []
    for seed in range(1, 401):
        rollers = supports.Rollers(given, seed)
        pressing = rollers.carry(6.0) and rollers.pressing
        squares.append(np.mean([(rollers.height(i * 200) * 4 / pressing) ** 2 for i in range(16)]))
    expected = 4 * 0.005**2 / 2
    assert abs(np.mean(squares) - expected) < 4 * np.std(squares) / math.sqrt(len(squares))
    assert np.std(squares) > 0.5 * expected


# Turning


def test_a_shaft_slips_more_under_load() -> None:
    simulated = gauge_of({"diameter_mm": 6.0}, slip=0.003, slip_per_n=0.001)
    at(simulated, 0, 0, 6400)  # two turns of the rollers
    assert simulated.angle == pytest.approx(2 * 2 * math.pi * 5 * (1 - 0.003))
    force, before = pressed(simulated, FULL, 6400), simulated.angle
    at(simulated, 0, FULL, 12800)
    assert simulated.angle - before == pytest.approx(2 * 2 * math.pi * 5 * (1 - 0.003 - 0.001 * force), rel=1e-9)


def test_a_shaft_skids_once_at_its_place_under_the_full_load() -> None:
    simulated = gauge_of(skid_deg=2.0, skid_at_deg=90.0)
    at(simulated, 0, 0, 800)  # a turn without load
    pressed(simulated, 3704, 1600)  # and one at the light depth
    assert math.degrees(simulated.angle) == pytest.approx(720.0)
    pressed(simulated, FULL, 1600)
    behind = []
    for rotate in range(1600, 3200, 8):
        at(simulated, 0, FULL, rotate)
        behind.append(rotate * 360 / 800 - math.degrees(simulated.angle))
    assert behind[24:27] == pytest.approx([0, 2.0, 2.0], abs=1e-9)
    assert behind[-1] == pytest.approx(2.0)
    simulated.feed(1, 0, 3200)
    pressed(simulated, FULL, 3200)
    at(simulated, 0, FULL, 3600)
    assert math.degrees(simulated.angle) == pytest.approx(178.0)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_mark_scatters_and_depends_on_the_direction(seed: int) -> None:
    made = board_of(
        {"seed": seed, "gauge": QUIET | {"index_mark": True, "mark_scatter_deg": 1.0, "mark_offset_deg": 6.0},
         "shafts": [{"number": 1}]}
    )  # fmt: skip
    seen: dict[int, list[int]] = {1: [], -1: []}
    for direction in (1, -1):
        move(made.rotate, direction * 16000, 100)
        for _ in range(200):
            samples(made, 0.0125)
            mark = [0]
            if made.mark_take(mark):
                seen[direction].append((mark[0] + 400) % 800 - 400)
        samples(made, 1.0)
    forward, backward = (np.array(seen[direction]) * 360 / 800 for direction in (1, -1))
    assert len(forward) >= 19
    assert backward.mean() - forward.mean() == pytest.approx(6.0, abs=1.0)
    assert 0.6 < forward.std(ddof=1) < 1.5


# Supports


@pytest.mark.parametrize("row", range(len(COMPUTED["delta_lin_over_L"])))
def test_beams_on_rollers_and_with_friction_bend_as_was_computed_apart(row: int) -> None:
    kinds = [{"normal": False}, {}, *({"friction": f} for f in (0.1, -0.1, 0.2, -0.2)), {"rim": 0.01}, {"rim": 0.02}]
    line = COMPUTED["delta_lin_over_L"][row]
    for kind, departure in zip(kinds, COMPUTED["relative_departure"][row], strict=True):

        def lack(slope: float, kind: dict[str, Any] = kind) -> float:
            return beams.half_beam(slope, **kind)[1] - 48 * line

        w, _ = beams.half_beam(brentq(lack, 1e-5, 0.55, xtol=1e-15), **kind)
        assert w / line - 1 == pytest.approx(departure, abs=COMPUTED["tolerance"])
        table = beams.Beam(kind.get("normal", True))
        table.lie_on(kind.get("rim", 0.0))
        factor = table.rubbed(w, kind["friction"]) if "friction" in kind else 1.0
        assert table.load(w) * factor == pytest.approx(48 * line, rel=5e-6)


@pytest.mark.parametrize("rim", [0.5, 2.0])
def test_the_shaft_lies_on_rims_of_its_own_and_the_rollers_radius(rim: float) -> None:
    simulated = gauge_of({"diameter_mm": 6.0}, rim_radius_mm=rim)
    rolls = (rim + 3.0) * math.cos(math.asin(31 / 36))
    deflection = FULL / 400 - 8
    assert pressed(simulated, FULL) == pytest.approx(
        law(deflection, simulated._shaft.ei, rim=rolls / SPAN_MM), rel=1e-7
    )


@pytest.mark.parametrize("unloading", [False, True])
def test_friction_along_the_shaft_is_stored_at_rest_and_goes_as_it_rolls(unloading: bool) -> None:
    nip = math.cos(math.asin(31 / 36))  # the rims press by 1 / cos of it
    given = {"friction": 0.1 * nip, "friction_slide_mm": 0.003, "friction_roll_deg": 0.25}
    simulated = gauge_of({"diameter_mm": 6.0}, **given)
    ei, deflection = simulated._shaft.ei, FULL / 400 - 8
    if unloading:
        pressed(simulated, FULL + 400)
    for press in range(FULL + 400, FULL - 1, -40) if unloading else range(4000, FULL + 1, 8):
        pressed(simulated, press)
    stored = pressed(simulated, FULL)
    friction = -0.1 if unloading else 0.1
    assert stored == pytest.approx(law(deflection, ei, friction=friction), rel=2e-5)
    steps_per_deg = 640 / 360
    rolled = [pressed(simulated, FULL, round(steps_per_deg * 9 * i)) for i in range(3)]
    without = law(deflection, ei)
    assert rolled[2] == pytest.approx(without, rel=1e-7)
    slow = gauge_of({"diameter_mm": 6.0}, **(given | {"friction_roll_deg": 9.0}))
    for press in range(4000, FULL + 1, 8):
        pressed(slow, press)
    left = (pressed(slow, FULL, round(steps_per_deg * 9)) - without) / (law(deflection, ei, friction=0.1) - without)
    assert left == pytest.approx(math.exp(-1), rel=2e-2)


def test_the_friction_that_rollers_out_of_square_leave_changes_its_sign_with_the_turning() -> None:
    simulated = gauge_of({"diameter_mm": 6.0}, axial_friction_left=0.02, friction_roll_deg=0.25)
    ei, deflection = simulated._shaft.ei, FULL / 400 - 8
    pressed(simulated, FULL)
    forward, backward = pressed(simulated, FULL, 640), pressed(simulated, FULL, 0)
    pressing = 1 / math.cos(math.asin(31 / 36))
    assert forward == pytest.approx(law(deflection, ei, friction=0.02 * pressing), rel=2e-6)
    assert backward == pytest.approx(law(deflection, ei, friction=-0.02 * pressing), rel=2e-6)


def test_a_bow_hardly_moves_the_ends_as_the_shaft_turns() -> None:
    """The head holds the middle where it is, so the shaft's arc is nearly as long whichever way it is bowed."""
    simulated = gauge_of({"diameter_mm": 6.0, "bow_mm": 0.3}, friction=0.15, friction_roll_deg=15.0)
    pressed(simulated, FULL)
    for rotate in range(0, 1280, 10):
        at(simulated, 0, FULL, rotate)
    assert abs(simulated._rubbing.coefficient) < 1e-3


@pytest.mark.parametrize("sink_mm", [0.008, 0.05])
def test_the_wall_sinks_in_with_the_two_thirds_power_of_the_force(sink_mm: float) -> None:
    simulated = gauge_of(sink_mm_at_standard=sink_mm, frame_mm_per_n=0.01)
    ei = simulated._shaft.ei
    for press in (3300, 3704, 5000, FULL):
        travel = press / 400 - 8

        def lack(force: float, travel: float = travel) -> float:
            given = 0.01 * force + sink_mm * (force / STANDARD_N) ** (2 / 3)
            return law(travel - given, ei) - force

        assert pressed(simulated, press) == pytest.approx(brentq(lack, 1e-4, travel * 0.7, xtol=1e-10), rel=2e-6)


def test_a_shaft_may_sink_otherwise_than_the_stock() -> None:
    soft = gauge_of({"sink_mm_at_standard": 0.05}, sink_mm_at_standard=0.008)
    usual = gauge_of(sink_mm_at_standard=0.008)
    more_n = pressed(usual, FULL) - pressed(soft, FULL)
    assert more_n == pytest.approx(0.042 * STANDARD_N / 12.7, rel=0.05)


def test_a_head_off_midspan_finds_the_shaft_stiffer() -> None:
    """Handbook: a load at a and b from the supports bends there by W a^2 b^2 / (3 EI L)."""
    a, b = SPAN_MM / 2 - 10, SPAN_MM / 2 + 10
    stiffer = (SPAN_MM**3 / 48) / (a**2 * b**2 / (3 * SPAN_MM))
    assert pressed(gauge_of(off_centre_mm=10.0), FULL) / pressed(gauge_of(), FULL) == pytest.approx(stiffer, rel=1e-9)


def test_a_press_out_of_square_goes_down_by_the_cosine() -> None:
    ei, way = gauge_of()._shaft.ei, (FULL / 400 - 8) * math.cos(math.radians(2.0))
    assert pressed(gauge_of(tilt_deg=2.0), FULL) == pytest.approx(law(way, ei), rel=1e-7)


def test_microsteps_are_off_with_the_period_of_a_full_step() -> None:
    simulated = gauge_of(microstep_mm=0.002)
    off = []
    for press in range(64):
        pressed(simulated, press)
        off.append(simulated.head()[0] - press / 400)
    assert off == pytest.approx([0.002 * math.sin(2 * math.pi * i / 16) for i in range(64)], abs=1e-12)


def test_a_shaft_that_walks_pulls_at_the_cell_with_the_sign_of_the_turning() -> None:
    simulated = gauge_of(side_share=0.01)
    still = felt_n(simulated, FULL)
    assert felt_n(simulated, FULL, 800) / still == pytest.approx(1.01, rel=1e-5)
    assert felt_n(simulated, FULL, 0) / still == pytest.approx(0.99, rel=1e-5)


# Shafts


def test_a_shaft_free_to_move_sideways_is_two_springs_across() -> None:
    """Statics: pushed at phi it gives way by F (cos^2 / k_stiff + sin^2 / k_soft), held sideways it pushes back by the
    sum of the springs' own parts."""  # fmt: skip
    for free in (True, False):
        shaft = shafts.Shaft({"spread_thou": 60.0, "stiff_side_deg": 30.0, "sideways": free}, beams.Beam())
        k1, k2 = shaft.stiffness(math.radians(30)), shaft.stiffness(math.radians(120))
        assert k1 > k2
        for phi in np.linspace(0, math.pi, 13):
            c, s = math.cos(phi - math.radians(30)) ** 2, math.sin(phi - math.radians(30)) ** 2
            expected = 1 / (c / k1 + s / k2) if free else k1 * c + k2 * s
            assert shaft.stiffness(phi) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("spread", [5.0, 60.0])
def test_the_truth_of_a_shaft_free_sideways_has_the_mean_and_the_spread_asked_for(spread: float) -> None:
    given = {"spine_thou": 480.0, "spread_thou": spread, "stiff_side_deg": 25.0, "sideways": True}
    shaft = shafts.Shaft(given, beams.Beam())
    around = [shaft.standard_thou(angle) for angle in np.linspace(0, math.pi, 721)[:-1]]
    truth = shafts.truth(given)
    assert truth["spine_thou"] == pytest.approx(480.0, abs=1e-6)
    assert np.mean(around) == pytest.approx(480.0, abs=1e-6)
    assert truth["spread_thou"] == pytest.approx(max(around) - min(around), abs=1e-4)
    assert truth["spread_thou"] == pytest.approx(spread, rel=2e-3)
    held = [shafts.Shaft(given | {"sideways": False}, beams.Beam()).standard_thou(angle) for angle in (0.0, 1.0)]
    assert abs(held[0] - around[0]) > 1e-6 * spread**2


@pytest.mark.parametrize(("order", "runout"), [(5, 0.008), (4, 0.008), (7, 0.008)])
def test_a_surface_may_have_waves_of_any_order(order: int, runout: float) -> None:
    given = {"wave_mm": 0.004, "wave_order": order, "wave_deg": 12.0}
    assert shafts.truth(given)["runout_mm"] == pytest.approx(runout, rel=1e-3)
    shaft = shafts.Shaft(given, beams.Beam())
    assert shaft.height(math.radians(12)) == pytest.approx(0.004)
    assert shaft.height(math.radians(12 + 180 / order)) == pytest.approx(-0.004)


def test_a_held_shaft_creeps_as_a_linear_solid() -> None:
    simulated = gauge_of(shaft_creep=0.01, shaft_creep_s=5.0)
    first = pressed(simulated, FULL, 0, 0)
    for i in range(1, 1001):
        at(simulated, 10_000 * i, FULL, 0)
    share = 0.01 * (1 - math.exp(-2.0))
    deflection = (FULL / 400 - 8) * (1 - share)
    assert simulated.head()[1] == pytest.approx(law(deflection, simulated._shaft.ei), rel=1e-4)
    assert simulated.head()[1] < first


def test_a_turning_shaft_hardly_creeps() -> None:
    """In the shaft the load goes around: its linear solid follows by creep / (1 + (2 pi f tau)^2)."""
    simulated = gauge_of(shaft_creep=0.01, shaft_creep_s=1.0)
    for i in range(3000):
        at(simulated, 10_000 * i, FULL, 4 * i)  # half a turn a second
    mean = np.mean([at(simulated, 10_000 * i, FULL, 4 * i) for i in range(3000, 3200)])
    share = 0.01 / (1 + math.pi**2)
    deflection = (FULL / 400 - 8) * (1 - share)
    assert mean == pytest.approx(law(deflection, simulated._shaft.ei), rel=1e-4)


# Time and temperature


def test_the_zero_warms_up_exponentially() -> None:
    simulated = gauge_of(warmup_n=0.03, warmup_s=5.0)
    seen = [felt_n(simulated, 0, 0, 1_000_000 * i) for i in (0, 5, 20)]
    assert seen == pytest.approx([0.03 * (1 - math.exp(-i / 5)) for i in (0, 5, 20)], abs=1e-5)


KELVIN = 8.0
WARM = {
    "temperature_c": 29.0, "calibrated_at_c": 21.0, "span_expansion_per_k": 0.0, "screw_expansion_per_k": 0.0,
    "cell_per_k": 0.0,
}  # fmt: skip
STEADY = {"modulus_per_k": 0.0}


@pytest.mark.parametrize(
    ("knob", "per_k", "power"),
    [("span_expansion_per_k", 23.4e-6, -3), ("screw_expansion_per_k", 11.7e-6, 1), ("cell_per_k", 5e-5, 1)],
)
def test_a_warm_gauge_is_longer_and_its_cell_more_sensitive(knob: str, per_k: float, power: int) -> None:
    """Handbook expansions (Callister, appendix B): deflection goes with the cube of the span, force with the travel."""
    cold = felt_n(gauge_of(STEADY, contact_mm=0.0, start_mm=0.0), FULL)
    warm = felt_n(gauge_of(STEADY, contact_mm=0.0, start_mm=0.0, **(WARM | {knob: per_k})), FULL)
    assert (warm / cold - 1) / (KELVIN * per_k) == pytest.approx(power, rel=3e-2)


def test_a_warm_shaft_is_softer_and_its_truth_is_that_of_the_warm_shaft() -> None:
    given = {"spine_thou": 500.0, "spread_thou": 10.0, "modulus_per_k": -2.8e-4}  # steel, Roark
    warm, cold = (pressed(gauge_of(given, **(WARM | {"temperature_c": c})), FULL) for c in (29.0, 21.0))
    assert warm / cold == pytest.approx(1 - 2.8e-4 * KELVIN, rel=1e-9)
    truth = shafts.truth(given, KELVIN)
    assert truth["spine_thou"] == pytest.approx(500.0 * (1 + 2.8e-4 * KELVIN), rel=3e-5)
    assert truth["spread_thou"] / 10.0 == pytest.approx(1 + 2.8e-4 * KELVIN, rel=2e-3)
    assert shafts.truth(given)["spine_thou"] == pytest.approx(500.0, rel=1e-7)


def test_the_boards_thermometer_shows_the_room_and_the_gauge_warms_with_it() -> None:
    given = {"gauge": QUIET | {"temperature_c": 17.3, "calibrated_at_c": 17.3}, "shafts": [{"number": 1}]}
    made = board_of(given | {"feeder": {"places": 0, "guards": 0, "warming_centi_per_h": 3600.0}})
    assert made.temperature_centi() == 1730
    samples(made, 10.0)
    assert made.temperature_centi() == pytest.approx(1740, abs=1)
    made.program_begins(1, [Step(2)])
    assert made.mechanics._kelvin == pytest.approx(0.1, abs=0.01)
    assert board_of(given | {"feeder": {"places": 0, "temperature_centi": 900}}).temperature_centi() == 900
    assert board_of(given | {"feeder": {"places": 0, "temperature_centi": None}}).temperature_centi() is None


def test_a_bar_pressed_over_a_support_sinks_by_hertz() -> None:
    given = {"number": -1, "kind": "rigid", "give_mm_per_n": 0.001, "sink_mm_at_standard": 0.01}
    simulated = mechanics.Mechanics({"gauge": QUIET | {"frame_mm_per_n": 0.012}, "bench": [given]})
    simulated.bench(1, 0)
    force = pressed(simulated, 3260)  # 0.15 mm
    assert 0.013 * force + 0.01 * (force / STANDARD_N) ** (2 / 3) == pytest.approx(0.15, rel=1e-9)


def test_the_ends_of_a_bent_shaft_move_in_by_the_square_of_its_sag() -> None:
    """Handbook line of a beam with a load at midspan, y = d (3 x - 4 x^3) along which it is longer."""
    slope = quad(lambda x: (3 - 12 * x * x) ** 2 / 2, 0, 0.5)[0]
    friction = supports.AxialFriction(mechanics.GAUGE | {"friction": 0.2, "friction_slide_mm": 1.0})
    friction.sag(12.7, SPAN_MM)
    way = slope * 12.7**2 / SPAN_MM
    assert friction.coefficient == pytest.approx(0.2 * (1 - math.exp(-way)), rel=1e-9)
