"""The rehearsal's truth about bent beams against published numbers, another integrator and the handbook's line."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from places import DATA
from rehearsal_rig import beam
from scipy.integrate import solve_ivp

PUBLISHED = json.loads((DATA / "beams.json").read_text())
LARGE = PUBLISHED["large_deflection"]  # sources stand in the file
BEAMS = {"normal": beam.Beam(True), "vertical": beam.Beam(False)}


@pytest.mark.parametrize("reactions", BEAMS)
def test_large_deflections_are_the_published_ones(reactions: str) -> None:
    for line, ratio in zip(LARGE["line_over_span"], LARGE[reactions], strict=True):
        w = BEAMS[reactions].deflection(48 * line)
        assert math.isclose(w, line * ratio, rel_tol=1e-7)


@pytest.mark.parametrize("reactions", BEAMS)
def test_first_departure_from_the_line_is_the_published_one(reactions: str) -> None:
    numerator, denominator = LARGE["first_coefficient"][reactions]  # 72/7 and 108/35

    def coefficient(line: float) -> float:
        return (BEAMS[reactions].deflection(48 * line) / line - 1) / line**2

    limit = (4 * coefficient(0.005) - coefficient(0.01)) / 3  # the next term goes with the square too
    assert math.isclose(limit, numerator / denominator, rel_tol=1e-4)


@pytest.mark.parametrize("reactions", BEAMS)
def test_standard_spines_depart_as_published(reactions: str) -> None:
    published = PUBLISHED["departure_from_the_line"]
    for spine, percent in zip(published["spine_thou"], published[f"{reactions}_percent"], strict=True):
        line = spine / 28000  # the deflection by the line, over 28 in
        assert abs(100 * (BEAMS[reactions].deflection(48 * line) / line - 1) - percent) < 0.01


@given(st.floats(0.001, 0.2), st.sampled_from(list(BEAMS)))
def test_deflection_is_the_inverse_of_load(w: float, reactions: str) -> None:
    law = BEAMS[reactions]
    if law.load(w) < law.load(w - 0.0005):
        return  # beyond its greatest load a beam gives way by itself
    if w < 0.15:
        assert math.isclose(law.deflection(law.load(w)), w, rel_tol=1e-10)


@given(st.floats(0.0001, beam.SLOPE_MAX * 0.999), st.booleans())
def test_the_table_is_as_good_as_the_integration(slope: float, normal: bool) -> None:
    w, p = beam.half_beam(slope, normal)
    assert math.isclose(BEAMS["normal" if normal else "vertical"].load(w), p, rel_tol=1e-9)


@pytest.mark.parametrize("normal", [True, False])
@pytest.mark.parametrize("slope", [0.01, 0.1, 0.3, 0.55])
def test_the_integration_agrees_with_scipys(slope: float, normal: bool) -> None:
    b = slope if normal else 0.0

    def rates(_s: float, at: list[float]) -> list[float]:
        theta, x, y = at
        return [-(x * math.cos(b) + y * math.sin(b)), math.cos(theta), math.sin(theta)]

    def level(_s: float, at: list[float]) -> float:
        return at[0]

    level.terminal = True  # type: ignore[attr-defined]
    end = solve_ivp(rates, (0, 5), [slope, 0.0, 0.0], method="DOP853", events=level, rtol=1e-12, atol=1e-14)
    _, x, y = end.y_events[0][0]
    w, p = beam.half_beam(slope, normal)
    assert math.isclose(w, y / (2 * x), rel_tol=1e-7)
    assert math.isclose(p, 8 * x * x * math.cos(b), rel_tol=1e-7)


def test_the_table_reaches_the_softest_shafts_with_margin() -> None:
    softest = 1500 / 28000  # spine 1500
    for law in BEAMS.values():
        assert law.w_max > 2 * softest
        loads = [law.load(2 * softest * i / 100) for i in range(101)]
        assert loads == sorted(loads)
        assert loads[0] == 0.0


def test_off_the_table_nothing_holds() -> None:
    for law in BEAMS.values():
        assert (law.load(-0.001), law.load(law.w_max)) == (0.0, 0.0)
        with pytest.raises(ValueError, match=r"50\.0"):
            law.deflection(50.0)
