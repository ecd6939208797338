"""What turning on real rollers does to a result: corrected, within its uncertainty, or a doubt.

The truth is that of uneven_turning.py. Sizes are those of a careful maker's gauge or larger, ordinary shafts of 400 to
600 thou. Coverage is of U for 95 %; with 40 shafts, 33 within it are more than one chance in a hundred.
"""

import numpy as np
import pytest
from midspan.measurement.result import evaluate
from uneven_turning import Sins, UnevenShaft, careful_calibration, made_gauge, truth, turning_run

SHAFTS, ENOUGH = 40, 33 / 40
UNKNOWN_ROLLERS = {"rotation": {"u_roller_mm": 0.002, "u_slip_between_depths": 0.001}}


def drawn(rng, number, **changes):
    """Return a shaft of ordinary spine, spread and bow."""
    ordinary = {
        "spine_thou": rng.uniform(400, 600), "spread_thou": rng.uniform(1, 8), "stiff_side_deg": rng.uniform(0, 180),
        "bow_mm": rng.uniform(0.02, 0.2), "bow_deg": rng.uniform(0, 360), "number": number,
    }  # fmt: skip
    return UnevenShaft(**ordinary | changes)


class Lot:
    """Shafts turned with some sins: results, errors and what U says of them."""

    def __init__(self, sins, calibration=None, shafts=SHAFTS, **shaft):
        rng = np.random.default_rng(7)
        self.shafts = [drawn(rng, number, **shaft) for number in range(shafts)]
        runs = [turning_run(each, made_gauge(), sins, rng) for each in self.shafts]
        self.results = evaluate(runs, calibration or careful_calibration())
        self.truths = np.array([truth(each) for each in self.shafts])
        self.doubted = np.mean([bool(result.doubts) for result in self.results])

    def of(self, name):
        """Return a quantity of each shaft; NaN for None."""
        return np.array([getattr(result, name) for result in self.results], float)

    def errors(self, name, column):
        """Return errors against a column of the truth."""
        off = self.of(name) - self.truths[:, column]
        return (off + 90) % 180 - 90 if name == "stiff_side_deg" else off

    def covered(self, name, column):
        """Return the share of shafts within U for 95 % of those that have the quantity."""
        off, u = self.errors(name, column), self.of(f"u_{name}")
        known = np.isfinite(off)
        return np.mean(np.abs(off[known]) <= 2 * u[known])

    def all_covered(self):
        """Return the least coverage of spread, side and runout; that of the spine is mostly the calibration's."""
        names = ("spread_thou", "stiff_side_deg", "runout_mm")
        return min(self.covered(name, column) for column, name in enumerate(names, start=1))


@pytest.fixture(scope="module")
def clean():
    return Lot(Sins())


def test_an_even_shaft_on_round_rollers_has_no_doubts(clean):
    assert clean.doubted == 0
    assert clean.all_covered() >= ENOUGH
    assert np.abs(clean.errors("spine_thou", 0)).max() < 0.05
    assert all(result.higher_thou == () for result in clean.results)
    assert np.nanmax(clean.of("roller_mm")) < 5e-4
    assert clean.of("axial_friction").size == SHAFTS


@pytest.mark.slow
@pytest.mark.parametrize("free", [False, True])
def test_wood_of_an_eighth_of_spread_is_judged(free):
    # Stiffness a sinusoid, or compliance: the force of the second has a fourth harmonic.
    wood = Lot(Sins(), spine_thou=600.0, spread_thou=72.0, free=free)
    assert wood.doubted == 0
    assert wood.all_covered() >= ENOUGH
    assert {len(result.higher_thou) for result in wood.results} == {10 if free else 0}
    assert np.abs(wood.errors("spread_thou", 1)).max() < 0.2


@pytest.mark.parametrize(("order", "amplitude_mm"), [(5, 0.004), (7, 0.002)])
def test_waves_of_the_surface_are_in_the_runout(order, amplitude_mm, clean):
    wavy = Lot(Sins(), waves_mm={order: (amplitude_mm, 20.0)})
    assert wavy.doubted == 0
    assert wavy.covered("runout_mm", 3) >= ENOUGH
    assert np.abs(wavy.errors("runout_mm", 3)).max() < 0.7 * amplitude_mm
    i = 2 * (order - 4)
    found = [np.hypot(*result.higher_mm[i : i + 2]) for result in wavy.results]
    assert found == pytest.approx(np.full(SHAFTS, amplitude_mm), rel=0.2)
    # What is found in one quantity is kept out of the others.
    assert np.std(wavy.errors("spread_thou", 1)) < 1.5 * np.std(clean.errors("spread_thou", 1))


@pytest.mark.slow
@pytest.mark.parametrize("steps", [2640.0, 1600.0, 3300.0])
@pytest.mark.parametrize("roller_mm", [0.002, 0.01])
def test_rollers_of_a_known_size_are_taken_out(steps, roller_mm, clean):
    rotation = {"steps_per_roller_turn": steps, "u_roller_mm": 0.002, "u_slip_between_depths": 0.001}
    lot = Lot(Sins(roller_mm=roller_mm, roller_steps=steps), careful_calibration(rotation=rotation))
    assert lot.doubted == 0
    assert lot.all_covered() >= ENOUGH
    assert lot.of("roller_mm") == pytest.approx(np.full(SHAFTS, roller_mm), abs=4e-4)
    assert np.std(lot.errors("spine_thou", 0)) < 2 * np.std(clean.errors("spine_thou", 0))


def test_rollers_of_unknown_size_are_in_the_uncertainty():
    lot = Lot(Sins(roller_mm=0.0028), careful_calibration(**UNKNOWN_ROLLERS))
    assert lot.all_covered() >= ENOUGH
    assert lot.doubted == 0
    assert np.isnan(lot.of("roller_mm")).all()
    height = np.array([result.budget.of("roller runout") for result in lot.results])
    assert np.all(np.abs(lot.errors("spine_thou", 0)) < 3 * height)


@pytest.mark.slow
def test_a_doubt_about_scatter_names_the_rollers_turn():
    lot = Lot(Sins(roller_mm=0.03), careful_calibration(**UNKNOWN_ROLLERS), shafts=8)
    assert lot.doubted == 1
    assert lot.of("scatter_turns") == pytest.approx(np.full(8, 3.3), rel=0.1)


@pytest.mark.slow
def test_slip_that_differs_between_the_depths_is_found_where_a_bow_shows_it():
    lot = Lot(Sins(slip=(0.002, 0.008)), bow_mm=0.15)
    assert lot.all_covered() >= ENOUGH
    assert np.abs(lot.errors("stiff_side_deg", 2)).max() < 2.0
    straight = Lot(Sins(slip=(0.0025, 0.0035)), bow_mm=0.0)
    assert straight.covered("stiff_side_deg", 2) >= ENOUGH  # one standard uncertainty of what is known beforehand
    assert straight.doubted == 0


@pytest.mark.slow
@pytest.mark.parametrize(("skid_deg", "at"), [(1.0, (1, 0.5)), (1.0, (1, 0.2)), (3.0, (1, 0.0))])
def test_a_skid_is_within_the_uncertainty_or_a_doubt(skid_deg, at):
    lot = Lot(Sins(skid_deg=skid_deg, skid_at=at), bow_mm=0.15)
    quiet = np.array([not result.doubts for result in lot.results])
    off, u = np.abs(lot.errors("stiff_side_deg", 2)), lot.of("u_stiff_side_deg")
    assert np.mean(quiet & (off > 2 * u)) <= 1 - ENOUGH
    assert lot.covered("spread_thou", 1) >= ENOUGH


@pytest.mark.slow
@pytest.mark.parametrize("warming_n", [0.003, 0.03])
def test_a_zero_that_wanders_is_in_the_uncertainty_of_every_quantity(warming_n):
    lot = Lot(Sins(warming_n=warming_n))
    assert lot.all_covered() >= ENOUGH
    assert lot.covered("spine_thou", 0) >= ENOUGH


@pytest.mark.slow
def test_the_numbers_of_a_shaft_do_not_depend_on_its_company():
    rng = np.random.default_rng(5)
    shafts = [drawn(rng, number, free=number % 2 > 0, spread_thou=20.0 + number) for number in range(6)]
    sins = [Sins(), Sins(roller_mm=0.01), Sins(slip=(0.0, 0.008)), Sins(skid_deg=3.0), Sins(warming_n=0.1), Sins()]
    runs = [turning_run(shaft, made_gauge(), sin, rng) for shaft, sin in zip(shafts, sins, strict=True)]
    together = evaluate(runs, careful_calibration())
    assert together == [evaluate([run], careful_calibration())[0] for run in runs]
