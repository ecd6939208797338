"""Published calibrations, as a user would type them: through a table and the command, to the figures that it prints."""

import json
import math

import pytest
from commands_rig import midspan
from places import DATA

PONTIUS = json.loads((DATA / "certified_fits.json").read_text())["pontius"]
EXAMPLES = json.loads((DATA / "calibration_examples.json").read_text())
G = 9.80665
IN_AIR = 1 - 1.2 / 8000  # force of a conventional mass in conventional air over its weight: OIML D 28
READ = EXAMPLES["load_cell"]
GRAMS = 880 / READ["interval"][0] / IN_AIR  # of a mass for each unit of load: the published reading is at 880 g
COUNTS = 764_000.0  # for each unit of deflection; then a gram is about a thousand counts


@pytest.fixture(scope="module")
def pontius(tmp_path_factory):
    """Calibrate the force of P. Pontius's load cell; return the outcome that --json prints."""
    folder = tmp_path_factory.mktemp("pontius")
    empty = PONTIUS["coefficients"][0]  # the published intercept is what the cell shows without a load
    rows = ["round,direction,mass_g,count"]
    for number, name in enumerate(("deflection_first_run", "deflection_second_run"), 1):
        rows.append(f"{number},up,0,{COUNTS * empty!r}")
        rows += [
            f"{number},up,{GRAMS * PONTIUS['load_step'] * i!r},{COUNTS * deflection!r}"
            for i, deflection in enumerate(PONTIUS[name], 1)
        ]
    (folder / "force.csv").write_text("\n".join(rows) + "\n")
    given = ("--csv", "force.csv", "--gravity", G, "--gravity-u", 0, "--json")
    done = midspan("calibrate", "force", *given, folder=folder)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_load_cell_s_curve_is_found_and_fits_as_published(pontius):
    figures = pontius["figures"]
    # The term's F is the square of its published t, at 38 degrees of freedom in place of 37: the zero is known here.
    t = PONTIUS["coefficients"][2] / PONTIUS["sd_coefficients"][2]
    assert pontius["section"]["newton_per_count2"] != 0
    assert figures["added_term_f"] > t**2
    # A curve through the published intercept is the published curve, so its squares are the same over one degree more.
    assert figures["lack_of_fit_f"] == pytest.approx(READ["curve_lack_of_fit_f"] * 17 / 18, rel=2e-3)


def test_a_new_reading_of_the_load_cell_is_the_published_load(pontius):
    """The file's curve gives force from the count; the handbook reads its curve of the count backwards."""
    section = pontius["section"]
    rise = COUNTS * (READ["new_deflection"] - PONTIUS["coefficients"][0])
    force = rise * (section["newton_per_count"] + section["newton_per_count2"] * rise)
    units = force / (G / 1000 * IN_AIR) / GRAMS
    load, low, high = READ["interval"]
    assert abs(units - load) < (high - low) / 10  # both ways of fitting differ by far less than a reading's scatter
    # The interval of a reading: as published, but for the intercept that is known here.
    half = pontius["figures"]["one_reading_95_n"] / (G / 1000 * IN_AIR) / GRAMS
    assert half == pytest.approx((high - low) / 2, rel=0.04)


def test_a_published_straight_line_as_the_give_of_a_frame(tmp_path):
    """Forces of 1.5 N and travels of 0.01 mm stand for the units; the bar's bend comes off, by Roark's formula."""
    line = EXAMPLES["straight_line"]
    rows = [f"{8 + 0.01 * y!r},{1.5 * x!r}" for x, y in zip(line["x"], line["y"], strict=True)]
    (tmp_path / "frame.csv").write_text("travel_mm,force_n\n" + "\n".join(rows) + "\n")
    given = ("--csv", "frame.csv", "--bar-diameter", 25, "--bar-modulus", 200, "--json")
    done = midspan("calibrate", "frame", *given, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    unit = 0.01 / 1.5
    assert found["section"]["give_mm_per_n"] + 0.0019542 == pytest.approx(line["slope"] * unit, rel=5e-4)
    # The example knows the scatter of y; here the residuals tell it, by their chi^2 over 4 degrees of freedom.
    of_residuals = line["u_slope"] * math.sqrt(line["chi2"] / 4)
    assert found["budget"]["readings_mm_per_n"] == [pytest.approx(of_residuals * unit, rel=5e-3), 4]
