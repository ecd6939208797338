"""Shafts roll over shut flaps and fall through the open one into its tray; cams, levers and servo manage that."""

import json
import tomllib
from math import pi
from pathlib import Path

import pytest
from frame import cams, flap_loads, rolling, selector, trays
from frame.dimensions import PARAMETERS, Frame

ROOT = Path(__file__).parents[2]
FRAME = Frame.load()
DIAMETERS = [FRAME.shaft.thinnest, FRAME.shaft.usual, FRAME.shaft.thickest]
PLACES = [1, 5, 7, 9]


def with_places(count: int) -> Frame:
    content = tomllib.loads(PARAMETERS.read_text(encoding="utf-8"))
    content["feeder"]["places"] = count
    return Frame(content)


def fall(frame: Frame, diameter: float, opened: int | None) -> rolling.Roll:
    start = selector.surface(frame, 0)[0][0] + diameter / 2
    last = selector.surface(frame, frame.feeder.places - 1)[1][0]
    return rolling.roll(start, last + 20.0, diameter / 2, selector.runway(frame, opened))


@pytest.mark.parametrize("count", PLACES)
@pytest.mark.parametrize("diameter", DIAMETERS)
def test_a_shaft_rolls_over_shut_flaps_to_the_last_tray_without_a_step_up(diameter: float, count: int) -> None:
    frame = with_places(count)
    end = selector.axle(frame, count)[0]
    assert fall(frame, diameter, None).end[0] > end


@pytest.mark.parametrize("count", PLACES)
@pytest.mark.parametrize("diameter", DIAMETERS)
def test_a_slow_shaft_leaves_the_open_flap_over_its_own_tray(diameter: float, count: int) -> None:
    frame = with_places(count)
    for place in range(1, count):
        low, high = trays.bounds(frame, place)
        off = fall(frame, diameter, place).end[0]
        assert low < off - diameter / 2
        assert off + diameter / 2 < high


@pytest.mark.parametrize("solid", [True, False])
@pytest.mark.parametrize("diameter", DIAMETERS)
def test_a_fast_shaft_does_not_jump_over_the_open_flap(diameter: float, solid: bool) -> None:
    for place in range(1, FRAME.feeder.places):
        assert trays.caught_mm(FRAME, place, diameter, solid) > 3.0


def test_a_fall_over_a_gap_is_what_a_parabola_gives() -> None:
    """On a level runway: 1 m/s over a gap falls g t^2 / 2; a shaft at rest stays wholly below where it must rise."""
    assert trays.caught_mm(FRAME, 1, 6.0) > trays.caught_mm(FRAME, 6, 6.0)
    assert trays.speed_mm_s(FRAME, 0.0, True) / trays.speed_mm_s(FRAME, 0.0, False) == pytest.approx((4 / 3) ** 0.5)


@pytest.mark.parametrize("count", PLACES)
def test_each_place_opens_its_flap_alone_and_the_last_tray_none(count: int) -> None:
    frame = with_places(count)
    for place in range(1, selector.stations(frame) + 1):
        angles = cams.open_at(frame, selector.cam_deg(frame, place))
        opened = [flap for flap, angle in angles.items() if angle > 0]
        flap = selector.flap_of(frame, place)
        assert opened == ([] if flap is None else [flap])
        if flap is not None:
            assert angles[flap] == pytest.approx(abs(selector.swing_deg(frame, flap)))


@pytest.mark.parametrize("count", PLACES)
def test_a_camshaft_that_stands_wrong_by_some_degrees_opens_nothing_else(count: int) -> None:
    frame = with_places(count)
    for place in range(1, selector.stations(frame) + 1):
        for off in (-3.0, 3.0):
            angles = cams.open_at(frame, selector.cam_deg(frame, place) + off)
            assert sum(angle > 1 for angle in angles.values()) == (selector.flap_of(frame, place) is not None)


@pytest.mark.parametrize("count", PLACES)
def test_the_servo_reaches_every_place(count: int) -> None:
    frame = with_places(count)
    pulses = selector.pulses_us(frame)
    low, high = frame.feeder.servo_us
    assert len(pulses) == count + 1
    assert low <= pulses[0] <= pulses[-1] <= high
    assert pulses[0] + pulses[-1] == pytest.approx(low + high, abs=1)


def test_the_most_trays_just_fit_in_the_servos_turn() -> None:
    most = selector.most_trays(FRAME)
    ends = [selector.cam_deg(with_places(count), count + 1) for count in (most, most + 1)]
    assert ends[0] <= FRAME.feeder.servo_deg < ends[1]


def test_the_boards_file_has_the_pulses_of_the_frame() -> None:
    feeder = json.loads((ROOT / "device" / "parts" / "feeder.json").read_text(encoding="utf-8"))
    assert feeder["places_us"] == selector.pulses_us(FRAME)


def test_the_bring_up_names_the_same_pulses() -> None:
    text = (ROOT / "hardware_notes" / "bring_up.md").read_text(encoding="utf-8")
    assert f"places_us={json.dumps(selector.pulses_us(FRAME), separators=(',', ':'))}" in text


@pytest.mark.parametrize("flap", [0, 1])
def test_a_flap_falls_open_by_itself_and_a_shaft_does_not_open_it(flap: int) -> None:
    """A roller on a concentric rim cannot turn its cam, so a shaft on a flap only twists the axle."""
    for angle in (0.0, abs(selector.swing_deg(FRAME, flap)) / 2, abs(selector.swing_deg(FRAME, flap))):
        assert flap_loads.opening_nmm(FRAME, flap, angle) > 2 * flap_loads.friction_nmm(FRAME, flap)
    assert flap_loads.falls_in_s(FRAME, flap) < 0.2
    assert flap_loads.tip_sinks_mm(FRAME, flap) < FRAME.feeder.flap_step / 2
    for off in (FRAME.feeder.cam_step, 90.0, 180.0):
        assert cams.lift(FRAME, flap, float(off) if flap else max(off, FRAME.feeder.standard_step)) == pytest.approx(
            0, abs=1e-3
        )


def test_the_servo_shuts_a_flap_even_with_a_shaft_on_it() -> None:
    for flap in (0, 1):
        assert flap_loads.lifts_share(FRAME, flap) > 0.2  # it does not jam
        assert cams.pressure_angle_deg(FRAME, flap) < 60
    assert flap_loads.servo_nmm(FRAME) < 1000 * FRAME.feeder.servo_nm


def test_a_sagging_axle_is_what_the_handbook_gives() -> None:
    """Roark, simply supported beam: 5 w L^4 / (384 E I) by its own weight; a shaft adds to it on the first alone."""
    outer, inner = FRAME.feeder.axle_tube
    moment = pi * (outer**4 - inner**4) / 64
    weight = pi * (outer**2 - inner**2) / 4 * 2.70e-3 * 9.81e-3
    alone = [5 * weight * (2 * x) ** 4 / (384 * 70000 * moment) for x in (FRAME.feeder.side_x, FRAME.feeder.bridge_x)]
    assert alone[0] < flap_loads.axle_sags_mm(FRAME, 0) < 2.0
    assert flap_loads.axle_sags_mm(FRAME, 1) == pytest.approx(alone[1])


@pytest.mark.parametrize("count", PLACES)
def test_no_tray_stands_in_the_cross_beams_or_on_the_table(count: int) -> None:
    frame = with_places(count)
    for tray in range(1, count + 1):
        over = trays.bounds(frame, tray)[0] < frame.base.cross_length / 2
        assert trays.bottom(frame, tray) > (-frame.beam.height if over else frame.table_z)


def test_a_tray_holds_what_a_night_brings() -> None:
    assert trays.holds(FRAME, 6.0) >= 80
    assert trays.holds(with_places(9), 6.0) >= 35


@pytest.mark.parametrize("count", PLACES)
def test_every_open_flap_clears_the_trays(count: int) -> None:
    frame = with_places(count)
    for flap in range(1, count):
        free = selector.surface(frame, flap, selector.swing_deg(frame, flap))[1]
        assert free[1] > trays.tray_top(frame, flap) + 5
    for place in range(1, count + 1):
        assert trays.falls_mm(frame, place) < 200
        assert trays.divider(frame, place)[1] > trays.divider(frame, place)[0] + 24
