"""How far each figure of a calibration may go: the last value that a gauge could have, and the first that none has."""

from datetime import date

import pytest
from midspan.measurement.calibration import EXAMPLE, Calibration
from midspan.measurement.calibration_validity import about_calibration, usable
from pydantic import ValidationError
from synthetic import LOAD_N, filter_section, paper_calibration

LEAST, JUST = 1 - 1e-9, 1 + 1e-9
BOUNDS = {
    # section.key: the lowest that is taken, what lies just below, the highest that is taken, what lies just above
    "calibration.temperature_c": (-19.999, -20.0, 59.999, 60.0),
    "calibration.gauge_temperature_c": (-39.999, -40.0, 99.999, 100.0),
    "force.newton_per_count": (1e-9 * JUST, 1e-9, 0.1 * LEAST, 0.1),
    "force.u_scale": (0.0, -1e-12, 0.1 * LEAST, 0.1),
    "force.u_linearity_n": (0.0, -1e-12, LEAST, 1.0),
    "force.dof_scale": (1.0, LEAST, float("inf"), None),
    "force.dof_linearity": (1.0, LEAST, 1e9, None),
    "travel.u_scale": (0.0, -1e-12, 0.1 * LEAST, 0.1),
    "travel.screw_cos_mm": (-0.1, -0.1 * JUST, 0.1, 0.1 * JUST),
    "travel.screw_sin_mm": (-0.1, -0.1 * JUST, 0.1, 0.1 * JUST),
    "travel.u_screw_mm": (0.0, -1e-12, 0.1, 0.1 * JUST),
    "travel.clearance_mm": (0.0, -1e-12, 1000 * LEAST, 1000.0),
    "travel.dof_screw": (1.0, LEAST, 1e9, None),
    "frame.give_mm_per_n": (0.0, -1e-12, LEAST, 1.0),
    "frame.u_give_mm_per_n": (0.0, -1e-12, 0.1 * LEAST, 0.1),
    "frame.dof_give": (1.0, LEAST, 1e9, None),
    "span.span_mm": (100 * JUST, 100.0, 2000 * LEAST, 2000.0),
    "span.u_span_mm": (0.0, -1e-12, 10.0, 10 * JUST),
    "span.dof_span": (1.0, LEAST, 1e9, None),
    "rotation.steps_per_turn": (20 * JUST, 20.0, 1e7 * LEAST, 1e7),
    "rotation.u_relative": (1e-9, 1e-9 * LEAST, 0.2 * LEAST, 0.2),
    "force.u_per_k": (0.0, -1e-12, 1e-3 * LEAST, 1e-3),
    "travel.expansion_per_k": (0.0, -1e-12, 1e-3 * LEAST, 1e-3),
    "travel.u_expansion_per_k": (0.0, -1e-12, 1e-3 * LEAST, 1e-3),
    "travel.tilt_deg": (0.0, -1e-12, 10.0, 10 * JUST),
    "span.rim_mm": (0.0, -1e-12, 50.0, 50 * JUST),
    "span.u_rim_mm": (0.0, -1e-12, 10.0, 10 * JUST),
    "span.axial_friction": (-0.3, -0.3 * JUST, 0.3, 0.3 * JUST),
    "span.u_axial_friction": (0.0, -1e-12, 0.5, 0.5 * JUST),
    "span.sink_mm_per_n": (0.0, -1e-12, 0.05 * LEAST, 0.05),
    "span.u_sink_mm_per_n": (0.0, -1e-12, 0.05 * LEAST, 0.05),
    "span.off_centre_mm": (0.0, -1e-12, 20.0, 20 * JUST),
    "span.expansion_per_k": (0.0, -1e-12, 1e-3 * LEAST, 1e-3),
    "span.u_expansion_per_k": (0.0, -1e-12, 1e-3 * LEAST, 1e-3),
    "rotation.steps_per_roller_turn": (20 * JUST, 20.0, 1e7 * LEAST, 1e7),
    "rotation.u_roller_mm": (0.0, -1e-12, 0.5 * LEAST, 0.5),
    "rotation.u_slip_between_depths": (0.0, -1e-12, 0.1 * LEAST, 0.1),
    "filter.delay_s": (0.0, -1e-12, 1.0, JUST),
    "filter.u_delay_s": (0.0, -1e-12, 0.5, 0.5 * JUST),
    "filter.width_s": (0.0, -1e-12, 0.5, 0.5 * JUST),
    "filter.u_width_s": (0.0, -1e-12, 0.5, 0.5 * JUST),
    "filter.dof_delay": (1.0, LEAST, float("inf"), None),
    "filter.dof_width": (1.0, LEAST, 1e9, None),
}


def with_value(place, value):
    section, key = place.split(".")
    rest = filter_section((4.0,)) if section == "filter" else {}
    rest |= {"thermometer": "BOARD"} if key == "gauge_temperature_c" else {}
    return paper_calibration(**{section: rest | {key: value}})


@pytest.mark.parametrize("place", BOUNDS)
def test_the_last_value_is_taken_and_the_next_is_refused(place):
    section, key = place.split(".")
    lowest, below, highest, above = BOUNDS[place]
    for value in (lowest, highest):
        assert getattr(getattr(with_value(place, value), section), key) == value
    for value in (below, above):
        if value is not None:
            with pytest.raises(ValidationError) as caught:
                with_value(place, value)
            assert caught.value.errors()[0]["loc"] == (section, key)


def with_name(key, name):
    return Calibration.model_validate(EXAMPLE | {"calibration": {**EXAMPLE["calibration"], key: name}})


@pytest.mark.parametrize(("key", "longest"), [("id", 64), ("gauge", 32)])
def test_names_have_a_length(key, longest):
    for length in (1, longest):
        assert len(getattr(with_name(key, "a" * length).calibration, key)) == length
    for length in (0, longest + 1):
        with pytest.raises(ValidationError):
            with_name(key, "a" * length)


@pytest.mark.parametrize("sign", [-1, 1])
def test_a_cell_s_line_may_bend_by_a_twentieth_of_the_standard_load(sign):
    # The second-order term at the standard load, over that load: c2 (W / c1)^2 / W.
    per_count = 2e-5
    for share, taken in ((0.0499, True), (0.0501, False)):
        force = {"newton_per_count": per_count, "newton_per_count2": sign * share * per_count**2 / LOAD_N}
        if taken:
            assert paper_calibration(force=force).force.newton_per_count2 == force["newton_per_count2"]
        else:
            with pytest.raises(ValidationError):
                paper_calibration(force=force)


@pytest.mark.parametrize(("lead_mm", "taken"), [(0.1001, True), (0.0999, False), (99.9, True), (100.1, False)])
def test_a_screw_has_a_lead_of_a_tenth_to_a_hundred_millimetres(lead_mm, taken):
    travel = {"mm_per_step": lead_mm / 4000, "steps_per_screw_turn": 4000.0}
    if taken:
        assert paper_calibration(travel=travel).travel.mm_per_step == lead_mm / 4000
    else:
        with pytest.raises(ValidationError):
            paper_calibration(travel=travel)


@pytest.mark.parametrize(
    ("travel", "taken"),
    [({"mm_per_step": 0.999, "steps_per_screw_turn": 50.0}, True),
     ({"mm_per_step": 1.0, "steps_per_screw_turn": 50.0}, False),
     ({"mm_per_step": 1.001e-6, "steps_per_screw_turn": 9.999e6}, True),
     ({"mm_per_step": 1e-6, "steps_per_screw_turn": 9.999e6}, False),
     ({"mm_per_step": 1.1e-6, "steps_per_screw_turn": 1e7}, False),
     ({"mm_per_step": 0.1, "steps_per_screw_turn": 20.0}, True),
     ({"mm_per_step": 0.005, "steps_per_screw_turn": 20.0}, True),
     ({"mm_per_step": 0.5, "steps_per_screw_turn": 200.0}, True),
     ({"mm_per_step": 0.1, "steps_per_screw_turn": 19.99}, False)],
)  # fmt: skip
def test_steps_of_a_screw(travel, taken):
    if taken:
        assert paper_calibration(travel=travel)
    else:
        with pytest.raises(ValidationError):
            paper_calibration(travel=travel)


@pytest.mark.parametrize(("sine_mm", "taken"), [(0.0799, True), (0.0801, False)])
def test_both_parts_of_a_screw_error_count_together(sine_mm, taken):
    travel = {"screw_cos_mm": 0.06, "screw_sin_mm": sine_mm}  # hypot(0.06, 0.08) = 0.1
    if taken:
        assert paper_calibration(travel=travel)
    else:
        with pytest.raises(ValidationError):
            paper_calibration(travel=travel)


@pytest.mark.parametrize(
    ("share", "middle"), [((0.0, 1.0), 0.5), ((0.2, 0.2), 0.2), ((0.1, 0.4), 0.25), ((0.0, 0.0), 0.0)]
)
def test_the_best_estimate_of_the_supports_is_the_middle_of_their_range(share, middle):
    assert paper_calibration(span={"vertical_share": share}).span.vertical == pytest.approx(middle)


@pytest.mark.parametrize("share", [(0.4, 0.1), (-0.01, 0.5), (0.5, 1.01)])
def test_a_range_of_the_supports_that_is_none_is_refused(share):
    with pytest.raises(ValidationError):
        paper_calibration(span={"vertical_share": share})


def test_a_shaft_that_turns_feels_normal_reactions_unless_the_file_says_otherwise():
    assert Calibration.model_validate(EXAMPLE).span.vertical_share == (0.0, 0.0)


def test_a_file_without_temperatures_is_good_for_a_room():
    """Keep the range of common practice, no source: five degrees on both sides of the calibration's temperature."""
    assert Calibration.model_validate(EXAMPLE).calibration.range_c == (15.0, 25.0)


@pytest.mark.parametrize("range_c", [(21.0, 25.0), (15.0, 19.0), (25.0, 15.0)])
def test_a_range_of_temperatures_contains_the_calibration(range_c):
    with pytest.raises(ValidationError, match="temperature_range_c"):
        with_value("calibration.temperature_range_c", range_c)


def test_a_file_that_says_nothing_of_rims_and_walls_has_a_careful_bench():
    """Keep defaults that a maker has without measuring: no better than a school's bench."""
    bare = {key: {} for key in ("travel", "span", "force", "rotation")}
    for key, kept in (
        ("travel", ("mm_per_step", "u_scale", "steps_per_screw_turn", "u_screw_mm")),
        ("span", ("span_mm", "u_span_mm")),
        ("force", ("newton_per_count", "u_scale", "u_linearity_n")),
        ("rotation", ("steps_per_turn", "u_relative")),
    ):
        bare[key] = {name: EXAMPLE[key][name] for name in kept}
    found = Calibration.model_validate(EXAMPLE | bare)
    assert (found.span.rim_mm, found.span.u_rim_mm) == (4.0, 1.5)
    assert (found.span.axial_friction, found.span.u_axial_friction) == (0.0, 0.02)
    assert (found.span.sink_mm_per_n, found.span.u_sink_mm_per_n, found.span.off_centre_mm) == (8e-4, 5e-4, 1.0)
    assert (found.span.expansion_per_k, found.span.u_expansion_per_k) == (2.34e-5, 2e-6)
    assert (found.travel.expansion_per_k, found.travel.u_expansion_per_k, found.travel.tilt_deg) == (1.17e-5, 1e-6, 0.5)
    assert found.force.u_per_k == 5e-5
    assert found.rotation.steps_per_roller_turn is None
    assert (found.rotation.u_roller_mm, found.rotation.u_slip_between_depths) == (0.002, 0.001)


@pytest.mark.parametrize(
    ("made", "until", "taken"),
    [(date(2026, 1, 2), date(2026, 1, 2), True), (date(2026, 1, 2), date(2026, 1, 1), False),
     (None, date(2026, 1, 1), True), (date(2026, 1, 2), None, True)],
)  # fmt: skip
def test_a_calibration_does_not_end_before_it_was_made(made, until, taken):
    dates = {"made": made, "valid_until": until}
    if taken:
        assert paper_calibration(calibration=dates).calibration.made == made
    else:
        with pytest.raises(ValidationError):
            paper_calibration(calibration=dates)


def test_thresholds_of_a_bent_cell_are_the_root_of_its_line():
    cal = paper_calibration(force={"newton_per_count": 1e-5, "newton_per_count2": 4e-14})
    counts = cal.counts_for(9.0)
    assert 1e-5 * counts + 4e-14 * counts**2 == pytest.approx(9.0, abs=1e-5)


# Its use


def test_each_objection_is_about_the_calibration_and_a_doubt_of_a_reading_is_not():
    ahead = paper_calibration(calibration={"made": date(2031, 1, 1), "reservations": ("it fell down",)})
    used = usable(ahead, date(2026, 1, 1), allow_doubtful=True)
    own, objection = used.calibration.reservations
    assert own == "it fell down"
    assert about_calibration(objection)
    assert not about_calibration("6% of the readings lie away from the curve")


def test_made_today_is_not_ahead():
    today = date(2026, 1, 1)
    cal = paper_calibration(calibration={"made": today})
    assert usable(cal, today) is cal
