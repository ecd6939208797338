"""Forces of the gauge against the protocol's bound, hand figures and each other; tipping; what a kelvin costs."""

import json

import pytest
from frame import forces, tools
from frame.dimensions import Frame
from frame.figures import builds, moving_n
from frame.tipping import full_hopper, tipping
from frame.warmth import column_warming_thou, warmth
from midspan.board.board_file import BoardFile, down_mm_s
from midspan.hand_bench.conversion import off_centre_loss
from midspan.measurement.cycle_plan import APPROACH_MM_S, PRESS_MM_S
from places import ROOT

FRAME = Frame.load()
BOARD = json.loads((ROOT / "device" / "board.json").read_text(encoding="utf-8"))
PER_N = forces.counts_per_n(FRAME.cell.rated_kg, 1.0)


def with_section(name, **values):
    return Frame(FRAME.content | {name: FRAME.content[name] | values})


def test_the_nut_stays_on_one_flank_at_every_load_with_a_newton_to_spare():
    nut = forces.on_the_nut(FRAME)
    assert nut.free > 1
    assert nut.full - nut.light == pytest.approx(0.9 * 8.63, rel=0.01)


def test_without_the_counterweight_the_load_would_turn_the_nut_over():
    nut = forces.on_the_nut(with_section("press", lift_n=0.0))
    assert nut.light < 0
    assert nut.full + 2 * FRAME.press.drag_n > 0  # the drag acts the other way there


def test_the_counts_are_the_published_ones():
    """2 kg, 1 mV/V, gain 128: 1070 counts a gram within a percent (worked out from data sheets)."""
    assert pytest.approx(1070, rel=0.01) == PER_N * 9.80665e-3


def test_with_two_millivolts_the_file_as_it_comes_stops_before_the_standard_load():
    twice = forces.cell_choice(2.0, 2.0, 137.0, 100.0)
    assert not twice.reaches_load(BOARD["limits"]["count"])
    assert twice.reaches_load(twice.count)
    assert twice.count / twice.counts_per_g == pytest.approx(1600, rel=0.01)


def test_the_limits_of_the_usual_cell_are_those_of_the_file_as_it_comes():
    usual = forces.cell_choice(2.0, 1.0, 137.0, 100.0)
    for key in ("count", "bears_count", "count_per_mm"):
        assert getattr(usual, key) == pytest.approx(BOARD["limits"][key], rel=0.02)
    assert usual.reaches_load(BOARD["limits"]["count"])


def test_the_force_on_a_rigid_thing_is_the_boards_own_bound():
    """SPEC.md, section 9: the board's highest speed downwards is the last at which its cell and stop bear the force."""
    fastest = down_mm_s(BoardFile.model_validate(BOARD))
    bears = BOARD["limits"]["bears_count"] / PER_N
    assert forces.on_rigid_n(BOARD, PER_N, fastest) <= bears < forces.on_rigid_n(BOARD, PER_N, fastest + 1)


@pytest.mark.parametrize("mm_s", [6.0, APPROACH_MM_S, PRESS_MM_S])
def test_something_rigid_hurts_neither_cell_nor_stop(mm_s):
    presses = forces.head_presses_n(FRAME, BOARD, PER_N, mm_s)
    assert forces.on_the_cell_n(FRAME, presses) < forces.cell_bears_n(FRAME)
    assert presses <= BOARD["limits"]["bears_count"] / PER_N


def test_without_the_stop_something_rigid_would_bend_the_cell():
    presses = forces.head_presses_n(FRAME, BOARD, PER_N, APPROACH_MM_S)
    open_wide = with_section("cell", stop_gap=5.0)
    assert forces.on_the_cell_n(open_wide, presses) > forces.cell_bears_n(FRAME)


def test_the_stop_lets_every_measurement_pass():
    assert forces.stop_takes_over_n(FRAME) > BOARD["limits"]["count"] / PER_N > 8.63


@pytest.mark.parametrize("diameter", [FRAME.shaft.thinnest, FRAME.shaft.usual, FRAME.shaft.thickest])
def test_a_shaft_is_turned_at_the_light_load(diameter):
    """Friction of steel on a clean lacquered shaft is 0.1 at least (common practice, no source)."""
    assert forces.traction_needed(FRAME, forces.OILED, diameter=diameter) < 0.1 / 2
    assert forces.traction_needed(FRAME, forces.GREASED, driven=1, diameter=diameter) > 0.3


def test_soft_shafts_reach_the_load():
    assert forces.softest_thou(FRAME) > 1500


def test_what_an_unturned_shaft_costs_is_the_elasticas():
    """Friction of 0.1 on supports from below: -0.00430 and +0.00439 at d / L = 0.5 / 28 (shooting, DOP853)."""
    below = forces.friction_thou(FRAME, 500, 0.1) * 2 * FRAME.nip_share(6.0) ** -1 / 4
    assert below / 500 == pytest.approx(0.0043, rel=0.03)


def test_a_compensated_cell_makes_the_slide_harmless():
    slide = forces.slide_n(FRAME, 0.5)
    assert forces.slide_error_thou(FRAME, slide, 500) < 0.02
    assert forces.slide_error_thou(FRAME, slide, 500, compensated=False) > 5


# Standing, warmth, tools


def test_gauge_and_sorter_stand_with_a_full_hopper():
    found = builds()
    assert tipping(FRAME, found["fed by hand"]).margin_mm > 100
    assert tipping(FRAME, found["sorter"], full_hopper(FRAME)).margin_mm > 100
    assert tipping(FRAME, found["fed by hand"]).push_n > 20


def test_a_kelvin_costs_what_the_handbooks_say():
    """Steel bar 0.14 and span on aluminium 0.035 thou per kelvin at 500; a warming column nothing in a cycle."""
    by_cause = {part.cause: part.thou_per_k for part in warmth(FRAME)}
    assert by_cause["span, aluminium beam"] == pytest.approx(0.035, abs=0.001)
    assert by_cause["a steel bar bends more"] == pytest.approx(0.14, abs=0.03)
    assert column_warming_thou(FRAME, 5 / 3600, 5.0) < 0.005


def test_the_carriage_is_lighter_than_its_counterweight():
    assert moving_n(FRAME) + FRAME.press.drag_n < FRAME.press.lift_n


def test_better_tools_know_each_quantity_better():
    school, careful, shop = tools.LEVELS
    for field in ("span_mm", "mass_g", "dial_mm", "screw_mm", "give", "bent_n"):
        assert getattr(school, field) > getattr(careful, field) > getattr(shop, field)


def test_a_head_beside_midspan_costs_little():
    """0.03 thou for 2 mm at 500: F a^2 b^2 / 3 E I L against F L^3 / 48 E I (Roark, table 8.1)."""
    assert off_centre_loss(2.0, 711.2) * 500 == pytest.approx(0.032, abs=0.001)
