"""The figures in hardware_notes/choices.md are those that the code which prints budgets computes today.

Run as a script, it draws the tables anew. What the parts can do is typical and from memory; the converter's noise is
its data sheet's (90 nV rms at 80 samples a second, gain 128).
"""

import json
import tomllib
from functools import cache
from math import pi

import numpy as np
import pytest
from drawn_tables import drawn_anew, heading, names
from frame import compliance, contact, forces, tools
from frame.dimensions import Frame
from frame.figures import builds, moving_n
from gauges import identify
from midspan.base.units import STANDARD, STANDARD_GRAVITY
from midspan.board.board_file import BoardFile, down_mm_s
from midspan.hand_bench.bench import HandBench
from midspan.measurement.cycle_bound import Noise
from midspan.measurement.cycle_cost import FEEDING_S, cycle_cost
from midspan.measurement.cycle_settings import STANDARD as STANDARD_CYCLE
from midspan.measurement.cycle_time import AssumedShaft
from midspan.measurement.result import evaluate
from midspan.report.hand_text import expected_budget
from places import ROOT
from synthetic import Gauge, Shaft, paper_calibration, raw_run

NOTES = ROOT / "hardware_notes"
CHOICES = NOTES / "choices.md"
FRAME = Frame.load()
BOARD = json.loads((ROOT / "device" / "board.json").read_text(encoding="utf-8"))
SPINES = (350.0, 500.0, 1000.0)
AT_SPINES = tuple(f"{'u, thou ' * (not i)}at {spine:g}" for i, spine in enumerate(SPINES))
NOISE_V, SENSITIVITY_V_V, BRIDGE_V = 90e-9, 1e-3, 4.3
CELLS_KG = (1, 2, 5, 10)
SCREWS = (  # name, lead in mm, left after mapping in mm, efficiency
    ("rolled, lead 8 mm", 8, 0.001, 0.5),
    ("rolled, lead 2 mm", 2, 0.001, 0.3),
    ("ball screw, lead 4 mm", 4, 0.0005, 0.9),
)
MOTOR_NM, STEPS_PER_TURN = 0.4, 3200
RIMS_MM = (0.5, 1.0, 2.0, 3.0, 5.0)
BY_HAND_S = 15.0  # estimated: lid open, shaft out, shaft in, lid shut
READ_S, READINGS = 30.0, 16  # estimated: a reading on a hand bench with its wait; readings of a shaft


def grams_of_noise(rated_kg):
    """Return the noise of a reading in grams: the converter's volts over the cell's volts per gram."""
    return NOISE_V / (SENSITIVITY_V_V * BRIDGE_V / (1000 * rated_kg))


@cache
def result(spine_thou, changes=(), noise_n=0.0):
    """Return the result of a shaft under the example calibration with some changes."""
    calibration = paper_calibration(**{section: dict(values) for section, values in changes})
    gauge = Gauge(noise_n=noise_n, slip=0.0)
    (found,) = evaluate([raw_run(Shaft(spine_thou=spine_thou), gauge, np.random.default_rng(1))], calibration)
    return found


def share(spine_thou, cause, section, values):
    """Return the share of a cause in u(spine), thou, under the example calibration with some changes."""
    return result(spine_thou, ((section, values),)).budget.of(cause)


def scatter_share(noise_g):
    """Return the share of the readings' noise in u(spine) at spine 500, thou."""
    return result(500.0, (), noise_g / 1000 * STANDARD_GRAVITY).budget.of("scatter of the readings")


def expanded(level, spine_thou):
    """Return U for 95 % of a shaft's spine on a gauge calibrated with a level of tools, thou."""
    changes = tuple((name, tuple(values.items())) for name, values in level.calibration().items())
    return result(spine_thou, changes).budget.expanded()


# Tables


def cells():
    yield from heading(
        "rated load",
        "noise of a reading, g",
        "noise, thou at 500",
        "0.05 % of rated load, thou at 500",
        "room above 880 g",
        left=0,
    )
    for rated in CELLS_KG:
        noise = grams_of_noise(rated)
        left_n = 0.0005 * rated * STANDARD_GRAVITY / 2
        bent = share(500.0, "force linearity", "force", (("u_linearity_n", left_n),))
        yield (
            f"{rated} kg",
            f"{noise:.3f}",
            f"{scatter_share(noise):.3f}",
            f"{bent:.2f}",
            f"{rated / 0.88:.1f} times",
        )


def limits():
    yield from heading(
        "cell",
        "counts a gram",
        "standard load",
        "reached with 1700000",
        "`limits.count`",
        "`limits.bears_count`",
        "`limits.count_per_mm`",
        "down at most",
    )
    bears_n = BOARD["limits"]["bears_count"] / forces.counts_per_n(2.0, 1.0)
    for rated, sensitivity in ((1, 1), (1, 2), (2, 1), (2, 2), (5, 1), (5, 2)):
        found = forces.cell_choice(rated, sensitivity, bears_n, 1 / FRAME.cell.give_mm_per_n)
        reached = "yes" if found.reaches_load(BOARD["limits"]["count"]) else "no"
        fits = found.reaches_load(found.count)
        yield (
            f"{rated} kg, {sensitivity} mV/V",
            f"{found.counts_per_g:.0f}",
            f"{found.load}",
            reached,
            f"{found.count}" if fits else "no room for the load",
            f"{found.bears_count}" if fits else "",
            f"{found.count_per_mm}" if fits else "",
            f"{down_with(found)} mm/s" if fits else "",
        )


def down_with(cell):
    """Return the highest speed downwards that the board takes from a cell's limits, mm/s."""
    limits = {"count": cell.count, "bears_count": cell.bears_count, "count_per_mm": cell.count_per_mm}
    return down_mm_s(BoardFile.model_validate(BOARD | {"limits": BOARD["limits"] | limits}))


def give():
    yield from heading("give known to", *AT_SPINES, left=0)
    for percent in (10, 5, 2.5, 1):
        values = (("u_give_mm_per_n", percent / 100 * 0.010),)
        yield (f"{percent:g} % of 0.010 mm/N", *(f"{share(s, 'frame give', 'frame', values):.2f}" for s in SPINES))


def spans():
    yield from heading("span known to", *AT_SPINES, left=0)
    for known_mm in (0.2, 0.1, 0.05, 0.03):
        yield (f"{known_mm:.2f} mm", *(f"{share(s, 'span', 'span', (('u_span_mm', known_mm),)):.2f}" for s in SPINES))


def screws():
    yield from heading(
        "screw",
        "microsteps per mm",
        "left after mapping, mm",
        "u, thou at 350",
        "at 500",
        "at 1000",
        "at worst",
        "force of a 0.4 Nm motor",
    )
    for name, lead, left, efficiency in SCREWS:
        per_turn = lead / paper_calibration().travel.mm_per_step  # the synthetic screw has the example's steps per mm
        values = (("u_screw_mm", left), ("steps_per_screw_turn", per_turn))
        at = [share(spine, "screw error", "travel", values) for spine in SPINES]
        push = 2 * pi * efficiency * MOTOR_NM / (lead / 1000)
        errors = (f"{error:.2f}" for error in (*at, 2 * left * travel_sensitivity()))
        yield (name, f"{STEPS_PER_TURN / lead:g}", f"{left:.4f}", *errors, f"{push:.0f} N")


@cache
def travel_sensitivity():
    """Return thou per mm of travel at spine 500, from the cost of a relative error of the travel scale."""
    relative = 1e-4
    over_mm = 0.9 * 500 * 0.0254  # from a tenth of the load to the whole, give of the frame neglected
    return share(500.0, "travel scale", "travel", (("u_scale", relative),)) / (relative * over_mm)


def currents():
    yield from heading("stalls at", "lag at the full load, um", "its give, um/N", "calibrated at 20 N, thou")
    for stall_n in (20.0, 40.0, FRAME.press.stall_n, 120.0):
        lag = lag_um(stall_n)
        moved = lag_um(20.0) - lag
        yield (f"{stall_n:g} N", f"{lag:.1f}", f"{lag / STANDARD.load_n:.2f}", f"{moved / 25.4:.2f}")


def lag_um(stall_n):
    """Return how far the press motor's rotor lags at the full load more than with none, um."""
    weak = Frame(FRAME.content | {"press": FRAME.content["press"] | {"stall_n": stall_n}})
    return 1000 * compliance.rotor_lag(weak) * STANDARD.load_n


def flanks():
    yield from heading("what pulls the carriage", "at rest", "at the light load", "at the full load", "changes flank")
    weight, drag = moving_n(FRAME), FRAME.press.drag_n
    for name, pull in (
        ("nothing", 0.0),
        ("spring upward, 8 N", 8.0),
        (f"counterweight, {FRAME.press.lift_n:g} N", FRAME.press.lift_n),
        ("spring downward, 4 N", -4.0),
        ("spring downward, 10 N", -10.0),
    ):
        at = (pull - weight, pull - weight + 0.1 * STANDARD.load_n, pull - weight + STANDARD.load_n)
        stays = at[0] > drag or at[2] < -drag
        yield (name, *(f"{force:+.1f} N" for force in at), "no" if stays else "yes")


def rims():
    yield from heading(
        "rim radius, mm",
        "aluminium, N/mm²",
        "carbon, N/mm²",
        "sinks, carbon, thou",
        "sinks, wood, thou",
        "rolls, thou at 500",
        "at 1000",
        "left with ±0.1 mm, thou at 1000",
        left=0,
    )
    usual = FRAME.shaft.usual
    for radius in RIMS_MM:
        metal, carbon, wood = (
            contact.on_rims(FRAME, usual, material, radius) for material in ("aluminium", "carbon", "wood")
        )
        rolled = (f"{contact.rolling_thou(FRAME, usual, spine, radius):.2f}" for spine in (500.0, 1000.0))
        left = contact.rolling_left_thou(FRAME, 1000.0, 0.1)
        yield (
            f"{radius:g}",
            f"{metal.pressure:.0f}",
            f"{carbon.pressure:.0f}",
            f"{carbon.sunk_thou:.2f}",
            f"{wood.sunk_thou:.2f}",
            *rolled,
            f"{left:.2f}",
        )


def levels():
    yield from heading(
        "level", "tools", "span", "force", "travel", "give, um/N", "U, thou at 350", "at 500", "at 1000", left=2
    )
    for level in tools.LEVELS:
        known = level.calibration()
        yield (
            level.name,
            level.tools,
            f"{known['span']['u_span_mm']:.3f} mm",
            f"{100 * known['force']['u_scale']:.3f} %",
            f"{100 * known['travel']['u_scale']:.3f} %",
            f"{1000 * level.give:.2f}",
            *(f"{expanded(level, spine):.2f}" for spine in SPINES),
        )


def three():
    hand, fed, sorter = (builds()[name] for name in ("hand bench", "fed by hand", "sorter"))
    columns, below = heading("", "hand bench", "gauge fed by hand", "sorter")
    yield from (columns, below)
    yield ("parts, euros", *(f"{build['cost_eur']:.0f}" for build in (hand, fed, sorter)))
    for name, words in (("printer", "hours of a printer"), ("making", "hours to make"), ("assembling", "to assemble")):
        yield (words, *(f"{build['hours_estimated'][name]:.0f}" for build in (hand, fed, sorter)))
    yield ("mass, kg", *(f"{build['mass_kg']:.1f}" for build in (hand, fed, sorter)))
    yield ("cost and mass are", *("counted" if "parts_made" in build else "estimated" for build in (hand, fed, sorter)))
    yield (
        "to make it with",
        "saw, drill, printer",
        "the same, taps, a lathe or ordered rollers and sheets",
        "the same, a larger printer's time, cut sheets",
    )
    for words, bench, level in (("a school's", "school", 0), ("a careful maker's", "careful", 1)):
        on_gauge = f"{expanded(tools.LEVELS[level], 500.0):.2f}"
        yield (f"U at 500 with {words} tools, thou", f"{hand_u(bench):.2f}", on_gauge, on_gauge)
    hours = (3600 / (READ_S * READINGS), an_hour(BY_HAND_S), an_hour(FEEDING_S))
    yield ("shafts an hour", *(f"{number:.0f}" for number in hours))
    yield ("what it gives", "spine, spread from eight places", "spine, spread, side, runout", "the same, sorted")
    yield ("who is there", "a class", "a person for each shaft", "a person for each full hopper; nights by themselves")


def an_hour(feeding_s):
    """Return the shafts an hour of the usual cycle, with some seconds to bring and take away each."""
    limits, clear = BOARD["limits"], FRAME.press.home_clearance - AssumedShaft().gap_mm
    per_mm, per_turn = (BOARD["gear"][key] for key in ("press_steps_per_mm", "rotate_steps_per_turn"))
    gauge = identify(
        press_speed_most=limits["press_mm_s"] * per_mm,
        down_speed_most=down_mm_s(BoardFile.model_validate(BOARD)) * per_mm,
        press_acceleration=limits["press_mm_s2"] * per_mm,
        rotate_speed_most=limits["rotate_rpm"] * per_turn // 60,
        rotate_acceleration=limits["rotate_rpm_s"] * per_turn // 60,
    )
    calibration = paper_calibration(travel={"clearance_mm": clear})
    return cycle_cost(STANDARD_CYCLE, calibration, gauge, Noise(), feeding_s).shafts_an_hour


def hand_u(name):
    """Return U for 95 % at spine 500 of a hand bench of hand_bench.md, thou."""
    text = (NOTES / "hand_bench.md").read_text(encoding="utf-8")
    blocks = [tomllib.loads(part.split("```")[0]) for part in text.split("```toml\n")[1:]]
    (found,) = (HandBench.model_validate(block) for block in blocks if block["bench"]["id"] == name)
    return expected_budget(found, 500.0, {"school": 0.3, "careful": 0.1}[name], READINGS).expanded()


TABLES = {
    "three builds": three,
    "levels": levels,
    "cells": cells,
    "limits": limits,
    "give": give,
    "spans": spans,
    "screws": screws,
    "currents": currents,
    "flanks": flanks,
    "rims": rims,
}


@pytest.mark.slow
def test_the_tables_are_those_of_the_code():
    text = CHOICES.read_text(encoding="utf-8")
    assert set(names(text)) == set(TABLES)
    assert text == drawn_anew(text, TABLES), "draw it anew: make redraw"


def test_counts_and_noise_are_those_of_the_published_figures():
    """A 2 kg cell, 1 mV/V at 4.3 V, gain 128: 1070 counts a gram and 0.042 g of noise (worked out from data sheets)."""
    assert forces.counts_per_n(2.0, 1.0) * 9.80665e-3 == pytest.approx(1070, rel=0.01)
    assert grams_of_noise(2) == pytest.approx(0.042, abs=0.0005)


def test_the_give_costs_what_a_head_that_went_less_deep_would():
    """An unknown millimetre per newton shortens the deflection by the load, 8.63 N times u, at any spine."""
    u = 5e-4
    expected_thou = u * STANDARD.load_n / 0.0254
    assert share(500.0, "frame give", "frame", (("u_give_mm_per_n", u),)) == pytest.approx(expected_thou, rel=0.02)


def test_the_span_costs_three_times_its_own_share():
    assert share(500.0, "span", "span", (("u_span_mm", 0.1),)) == pytest.approx(3 * 0.1 / 711.2 * 500, rel=0.02)


def test_simple_tools_cost_what_their_errors_are():
    """By hand at 500: a dial of 0.01 mm 0.25 thou, a gram in 880 g 0.33, a steel rule of 0.25 mm 0.30."""
    school = tools.LEVELS[0].calibration()
    costs = {
        "travel scale": share(500.0, "travel scale", "travel", (("u_scale", school["travel"]["u_scale"]),)),
        "force scale": share(500.0, "force scale", "force", (("u_scale", school["force"]["u_scale"]),)),
        "span": share(500.0, "span", "span", (("u_span_mm", school["span"]["u_span_mm"]),)),
    }
    assert costs == pytest.approx({"travel scale": 0.25, "force scale": 0.33, "span": 0.30}, abs=0.012)


def test_each_level_of_tools_halves_the_uncertainty_at_least():
    school, careful, shop = (expanded(level, 500.0) for level in tools.LEVELS)
    assert school > 2 * careful > 4 * shop


def test_the_choice_is_the_one_that_the_figures_ask_for():
    assert scatter_share(grams_of_noise(2)) < 0.01
    two, five = (
        share(500.0, "force linearity", "force", (("u_linearity_n", 0.0005 * kg * 9.80665 / 2),)) for kg in (2, 5)
    )
    assert two < 0.35 < five


if __name__ == "__main__":
    CHOICES.write_text(drawn_anew(CHOICES.read_text(encoding="utf-8"), TABLES), encoding="utf-8")
