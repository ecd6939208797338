"""The simulated gauge does to a shaft's truth what its scenario says, and nothing else."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from perfect import PERFECT
from rehearsal_rig import beam as beams
from rehearsal_rig import mechanics, shafts
from scipy.optimize import brentq

QUIET = {
    "noise_count": 0.0, "zero_drift_count_per_s": 0.0, "creep": 0.0, "jitter_us": 0.0, "screw_periodic_mm": 0.0,
    "backlash_mm": 0.0, "slip": 0.0, "filter": "none", "contact_mm": 8.0,
}  # fmt: skip
STANDARD_N, SPAN_MM = 0.880 * 9.80665, 711.2  # ASTM F2031: 880 g on 28 in; standard gravity is exact (BIPM)


def gauge_of(shaft: dict[str, Any] | None = None, **truths: Any) -> mechanics.Mechanics:
    """Return a gauge with a shaft in it and only the given imperfections."""
    simulated = mechanics.Mechanics({"gauge": PERFECT | QUIET | truths, "shafts": [{"number": 1} | (shaft or {})]})
    simulated.feed(1, 0, 0)
    return simulated


def at(simulated: mechanics.Mechanics, press: int = 0, rotate: int = 0, now_us: int = 0) -> tuple[int, int] | None:
    """Return the sample that an ideal converter takes with the axes at a place."""
    simulated.move(now_us, press, rotate)
    return simulated.sample()


def force_n(simulated: mechanics.Mechanics, travel_mm: float, rotate: int = 0, now_us: int = 0) -> float:
    """Return the force of the converter's word at a press position, by the nominal slope, N."""
    word, in_step = at(simulated, round(400 * travel_mm), rotate, now_us)
    assert in_step == 1
    count = word - 2**24 if word & 0x800000 else word
    return (count - 50000) / mechanics.COUNT_PER_N


def head_mm(simulated: mechanics.Mechanics, travel_mm: float) -> float:
    """Return where the head truly is at a press position, mm below home."""
    at(simulated, round(400 * travel_mm))
    return float(simulated.head()[0])


# Truth


@pytest.mark.parametrize("spine", [150.0, 500.0, 1000.0, 1500.0])
@pytest.mark.parametrize("spread", [0.0, 10.0, 60.0])
def test_truth_is_what_was_asked_for(spine: float, spread: float) -> None:
    given = {"spine_thou": spine, "spread_thou": spread, "stiff_side_deg": 200.0, "bow_mm": 0.2}
    truth = shafts.truth(given)
    assert math.isclose(truth["spine_thou"], spine, rel_tol=1e-6)
    assert abs(truth["spread_thou"] - spread) < 2e-3 * spread + 1e-9
    assert truth["stiff_side_deg"] == pytest.approx(20.0)
    assert truth["runout_mm"] == pytest.approx(0.4)


def test_the_stiff_side_deflects_least() -> None:
    shaft = shafts.Shaft({"spread_thou": 10.0, "stiff_side_deg": 30.0}, beams.Beam())
    around = [shaft.standard_thou(math.radians(angle)) for angle in range(180)]
    assert around.index(min(around)) == 30
    assert around.index(max(around)) == 120


def test_stiffness_is_that_of_the_published_departure() -> None:
    # spine 500 with frictionless reactions: P L^3 / 48 EI is smaller than the deflection by 0.33 %
    shaft = shafts.Shaft({"spine_thou": 500.0}, beams.Beam())
    line_thou = STANDARD_N * SPAN_MM**3 / (48 * shaft.ei) / 0.0254
    assert abs(100 * (500 / line_thou - 1) - 0.33) < 0.01


def test_the_standard_load_makes_the_standard_deflection() -> None:
    simulated = gauge_of({"spine_thou": 400.0}, frame_mm_per_n=0.0)
    assert force_n(simulated, 8.0 + 400 * 0.0254) == pytest.approx(STANDARD_N, rel=5e-5)  # a step is 2.5 um of 10 mm


@pytest.mark.parametrize("text", ["shaft", "gauge"])
def test_misspelt_keys_are_named(text: str) -> None:
    scenario = {"shaft": {"shafts": [{"number": 1, "spine": 3}]}, "gauge": {"gauge": {"spine": 3}}}[text]
    with pytest.raises(ValueError, match=f"^{text}: .*'spine'"):
        mechanics.Mechanics(scenario)
    with pytest.raises(ValueError, match="'moody'"):
        mechanics.Mechanics({"shafts": [{"number": 1, "fault": "moody"}]})


# One cause at a time


@pytest.mark.parametrize("span_mm", [650.0, 711.2])
@pytest.mark.parametrize("reactions", ["normal", "vertical"])
def test_force_balances_beam_and_frame(span_mm: float, reactions: str) -> None:
    given = {"spine_thou": 350.0, "bow_mm": 0.3, "bow_deg": 0.0, "spread_thou": 20.0}
    simulated = gauge_of(given, span_mm=span_mm, reactions=reactions, frame_mm_per_n=0.05)
    beam, ei = beams.Beam(reactions == "normal"), shafts.Shaft(given, beams.Beam()).stiffness(0.0)

    def lack(force: float) -> float:
        deflection = 18.0 - 8.0 + 0.3 - 0.05 * force
        return ei / span_mm**2 * beam.load(deflection / span_mm) - force

    at(simulated, 7150)
    assert force_n(simulated, 18.0) == pytest.approx(
        brentq(lack, 0, 50, xtol=1e-12), abs=2e-5
    )  # half a count is 5e-6 N


def test_no_contact_no_force() -> None:
    assert force_n(gauge_of(), 7.99) == pytest.approx(0.0, abs=1e-5)
    assert force_n(gauge_of({"bow_mm": 0.1}), 7.99) > 0.01
    assert force_n(gauge_of({"fault": "absent"}), 30.0) == pytest.approx(0.0, abs=1e-5)


def test_screw_scale_and_period() -> None:
    simulated = gauge_of(press_scale_error=0.001)
    assert head_mm(simulated, 20) == pytest.approx(20.02)
    simulated = gauge_of(screw_periodic_mm=0.01, screw_periodic_deg=0.0)
    assert [head_mm(simulated, mm) - mm for mm in (2, 4, 6, 8)] == pytest.approx([0.01, 0, -0.01, 0], abs=1e-9)


def test_a_carriage_in_balance_lags_only_upwards() -> None:
    simulated = gauge_of({"fault": "absent"}, backlash_mm=0.1, lift_n=0.0)
    assert [head_mm(simulated, mm) for mm in (5, 10, 9.95, 9, 8.95, 9.5)] == pytest.approx([5, 10, 10, 9.1, 9.05, 9.5])


def test_a_counterweight_holds_the_carriage_on_one_flank() -> None:
    """Statics of a body between two flanks: the stronger force chooses the flank, friction only what it cannot move."""
    up = gauge_of(backlash_mm=0.1, lift_n=5.0, drag_n=2.0)
    assert [head_mm(up, mm) for mm in (5, 17, 9, 9.5)] == pytest.approx([5, 17, 9, 9.5])
    down = gauge_of({"fault": "absent"}, backlash_mm=0.1, lift_n=-5.0, drag_n=2.0)
    assert [head_mm(down, mm) for mm in (5, 17, 9)] == pytest.approx([5.1, 17.1, 9.1])


def test_a_load_stronger_than_a_heavy_carriage_turns_the_nut_over() -> None:
    heavy = gauge_of({"spine_thou": 300.0}, backlash_mm=0.1, lift_n=-4.0, drag_n=1.0)
    assert head_mm(heavy, 10) == pytest.approx(10.1)  # some 2 N
    head_mm(heavy, 16)
    assert head_mm(heavy, 16.01) == pytest.approx(16.01)  # more than 5 N


def test_roller_turns_the_shaft_but_for_slip() -> None:
    simulated = gauge_of({"diameter_mm": 6.0}, slip=0.01, roller_mm=30.0)
    at(simulated, rotate=6400)  # two turns of the roller
    assert simulated.angle == pytest.approx(2 * 2 * math.pi * 5 * 0.99)


def test_cell_curve_drift_and_creep() -> None:
    bent = gauge_of(count_per_n2=500.0)
    straight = force_n(gauge_of(), 18.0)
    assert force_n(bent, 18.0) - straight == pytest.approx(500 * straight**2 / mechanics.COUNT_PER_N, rel=1e-4)
    drifting = gauge_of(zero_drift_count_per_s=100.0)
    at(drifting)
    assert at(drifting, now_us=3_000_000) == (50300, 1)
    creeping = gauge_of(creep=0.01, creep_s=10.0)
    crept = force_n(creeping, 18.0, now_us=10_000_000)  # one time constant
    assert crept / straight - 1 == pytest.approx(0.01 * (1 - math.exp(-1)), rel=1e-4)


def test_hysteresis_shows_at_the_light_depth_on_the_way_back_only() -> None:
    simulated = gauge_of({"hysteresis": 0.02})
    down = [force_n(simulated, mm) for mm in (9.3, 20.0, 19.5)]
    up = [force_n(simulated, mm) for mm in (20.0, 9.3)]
    fresh = [force_n(gauge_of(), mm) for mm in (9.3, 20.0, 19.5)]
    assert down == pytest.approx(fresh, rel=1e-4)
    assert up[0] == pytest.approx(down[1], rel=1e-6)
    assert up[1] / down[0] == pytest.approx(0.98, rel=1e-4)


def test_noise_spikes_repeats_and_losses_come_as_often_as_asked() -> None:
    simulated = gauge_of(noise_count=45.0)
    words = np.array([at(simulated, now_us=i)[0] for i in range(5000)], float)
    assert abs(words.mean() - 50000) < 4 * 45 / math.sqrt(5000)
    assert abs(words.std() - 45) < 4 * 45 / math.sqrt(10000)
    simulated = gauge_of(noise_count=45.0, spike_chance=0.1, repeat_chance=0.1, drop_chance=0.1)
    samples = [at(simulated, now_us=i) for i in range(5000)]
    words = np.array([sample[0] for sample in samples if sample is not None])
    four_sigma = 4 * math.sqrt(5000 * 0.1 * 0.9)
    assert abs(5000 - len(words) - 500) < four_sigma
    assert abs((words > 150000).sum() - 450) < four_sigma + 20
    assert abs((np.diff(words) == 0).sum() - 450) < four_sigma + 40  # two draws are equal once in a hundred and more


def test_samples_come_at_the_true_rate_with_jitter() -> None:
    simulated = gauge_of(rate_error=-0.02, jitter_us=15.0)
    gaps = np.array([simulated.interval_us() for _ in range(5000)])
    assert abs(gaps.mean() - 12500 / 0.98) < 1
    assert abs(gaps.std() - 15) < 1


def test_the_same_seed_gives_the_same_night() -> None:
    def words(seed: int, times: int) -> list[int]:
        simulated = mechanics.Mechanics({"seed": seed, "shafts": [{"number": 1}]})
        for _ in range(times):
            simulated.feed(1, 0, 0)
        return [at(simulated, now_us=i)[0] for i in range(20)]

    assert words(1, 1) == words(1, 1)
    assert words(1, 1) != words(1, 2)
    assert words(1, 1) != words(2, 1)


def test_random_numbers_are_the_published_ones() -> None:
    # xorshift of 32 bits from its usual seed begins so (Marsaglia, J. Stat. Software 8 (2003) 14; from memory)
    assert mechanics.Noise().uniform() * 2**32 == 723471715
