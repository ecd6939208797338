"""The figures in hardware_notes/choices.md are those that the code which prints budgets computes today.

Run as a script, it draws the tables anew. What the parts can do is typical and from memory; the converter's noise is
its data sheet's (90 nV rms at 80 samples a second, gain 128).
"""

import re
from functools import cache
from math import pi

import numpy as np
import pytest
from midspan.base.units import STANDARD, STANDARD_GRAVITY
from midspan.measurement.result import evaluate
from places import ROOT
from synthetic import Gauge, Shaft, paper_calibration, raw_run

NOTES = ROOT / "hardware_notes"
CHOICES = NOTES / "choices.md"
SPINES = (350.0, 500.0, 1000.0)
NOISE_V, SENSITIVITY_V_V, BRIDGE_V, GAIN, BITS = 90e-9, 1e-3, 4.3, 128, 24
CELLS_KG = (1, 2, 5, 10)
SCREWS = (  # name, lead in mm, left after mapping in mm, efficiency
    ("rolled, lead 8 mm", 8, 0.001, 0.5),
    ("rolled, lead 2 mm", 2, 0.001, 0.3),
    ("ball screw, lead 4 mm", 4, 0.0005, 0.9),
)
MOTOR_NM, STEPS_PER_TURN = 0.4, 3200


def grams_of_noise(rated_kg):
    """Return the noise of a reading in grams: the converter's volts over the cell's volts per gram."""
    return NOISE_V / (SENSITIVITY_V_V * BRIDGE_V / (1000 * rated_kg))


def counts_at_load(rated_kg):
    """Return the rise of the count at 880 g; 2^24 counts span the bridge voltage over the gain, half of it each way."""
    volts = SENSITIVITY_V_V * BRIDGE_V * 0.88 / rated_kg
    return volts * GAIN / BRIDGE_V * 2**BITS


@cache
def share(spine_thou, cause, section, values):
    """Return the share of a cause in u(spine), thou, under the example calibration with some changes."""
    calibration = paper_calibration(**{section: dict(values)})
    gauge = Gauge(noise_n=0.0, slip=0.0)
    (result,) = evaluate([raw_run(Shaft(spine_thou=spine_thou), gauge, np.random.default_rng(1))], calibration)
    return result.budget.of(cause)


def scatter_share(noise_g):
    """Return the share of the readings' noise in u(spine) at spine 500, thou."""
    gauge = Gauge(noise_n=noise_g / 1000 * STANDARD_GRAVITY, slip=0.0)
    (result,) = evaluate([raw_run(Shaft(), gauge, np.random.default_rng(1))], paper_calibration())
    return result.budget.of("scatter of the readings")


def cells():
    yield ("rated load", "noise of a reading, g", "noise, thou at 500", "0.05 % of rated load, thou at 500",
           "rise at 880 g, counts", "room above 880 g")  # fmt: skip
    yield ("---:",) * 6
    for rated in CELLS_KG:
        noise = grams_of_noise(rated)
        left_n = 0.0005 * rated * STANDARD_GRAVITY / 2
        bent = share(500.0, "force linearity", "force", (("u_linearity_n", left_n),))
        yield (f"{rated} kg", f"{noise:.3f}", f"{scatter_share(noise):.3f}", f"{bent:.2f}",
               f"{counts_at_load(rated):.0f}", f"{rated / 0.88:.1f} times")  # fmt: skip


def give():
    yield ("give known to", *(f"{'u, thou ' * (not i)}at {spine:g}" for i, spine in enumerate(SPINES)))
    yield ("---:",) * 4
    for percent in (10, 5, 2.5, 1):
        values = (("u_give_mm_per_n", percent / 100 * 0.010),)
        yield (f"{percent:g} % of 0.010 mm/N", *(f"{share(s, 'frame give', 'frame', values):.2f}" for s in SPINES))


def spans():
    yield ("span known to", *(f"{'u, thou ' * (not i)}at {spine:g}" for i, spine in enumerate(SPINES)))
    yield ("---:",) * 4
    for known_mm in (0.2, 0.1, 0.05, 0.03):
        yield (f"{known_mm:.2f} mm", *(f"{share(s, 'span', 'span', (('u_span_mm', known_mm),)):.2f}" for s in SPINES))


def screws():
    yield ("screw", "microsteps per mm", "left after mapping, mm", "u, thou at 350", "at 500", "at 1000", "at worst",
           "force of a 0.4 Nm motor")  # fmt: skip
    yield ("---", *("---:",) * 7)
    for name, lead, left, efficiency in SCREWS:
        per_turn = lead / paper_calibration().travel.mm_per_step  # the synthetic screw has the example's steps per mm
        values = (("u_screw_mm", left), ("steps_per_screw_turn", per_turn))
        at = [share(spine, "screw error", "travel", values) for spine in SPINES]
        worst = 2 * left * travel_sensitivity()
        push = 2 * pi * efficiency * MOTOR_NM / (lead / 1000)
        yield (
            name,
            f"{STEPS_PER_TURN / lead:g}",
            f"{left:.4f}",
            *(f"{error:.2f}" for error in (*at, worst)),
            f"{push:.0f} N",
        )


@cache
def travel_sensitivity():
    """Return thou per mm of travel at spine 500, from the cost of a relative error of the travel scale."""
    relative = 1e-4
    over_mm = 0.9 * 500 * 0.0254  # from a tenth of the load to the whole, give of the frame neglected
    return share(500.0, "travel scale", "travel", (("u_scale", relative),)) / (relative * over_mm)


TABLES = {"cells": cells, "give": give, "spans": spans, "screws": screws}
MARKED = re.compile(r"(<!-- drawn: (?P<name>[a-z ]+) -->\n).*?(<!-- end -->)", re.DOTALL)


def drawn_anew(text):
    def table(found):
        return found[1] + "".join(f"| {' | '.join(row)} |\n" for row in TABLES[found["name"]]()) + found[3]

    return MARKED.sub(table, text)


@pytest.mark.slow
def test_the_tables_are_those_of_the_code():
    text = CHOICES.read_text(encoding="utf-8")
    assert {found["name"] for found in MARKED.finditer(text)} == set(TABLES)
    assert text == drawn_anew(text), "draw it anew: make redraw"


def test_counts_and_noise_are_those_of_the_published_figures():
    """A 2 kg cell, 1 mV/V at 4.3 V, gain 128: 1070 counts a gram and 0.042 g of noise (worked out from data sheets)."""
    assert counts_at_load(2) / 880 == pytest.approx(1070, rel=0.01)
    assert grams_of_noise(2) == pytest.approx(0.042, abs=0.0005)


def test_the_give_costs_what_a_head_that_went_less_deep_would():
    """An unknown millimetre per newton shortens the deflection by the load, 8.63 N times u, at any spine."""
    u = 5e-4
    expected_thou = u * STANDARD.load_n / 0.0254
    assert share(500.0, "frame give", "frame", (("u_give_mm_per_n", u),)) == pytest.approx(expected_thou, rel=0.02)


def test_the_span_costs_three_times_its_own_share():
    assert share(500.0, "span", "span", (("u_span_mm", 0.1),)) == pytest.approx(3 * 0.1 / 711.2 * 500, rel=0.02)


def test_the_choice_is_the_one_that_the_figures_ask_for():
    assert scatter_share(grams_of_noise(2)) < 0.01
    two, five = (
        share(500.0, "force linearity", "force", (("u_linearity_n", 0.0005 * kg * 9.80665 / 2),)) for kg in (2, 5)
    )
    assert two < 0.35 < five


if __name__ == "__main__":
    CHOICES.write_text(drawn_anew(CHOICES.read_text(encoding="utf-8")), encoding="utf-8")
