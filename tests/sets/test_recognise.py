"""Which shaft is this: probabilities against handbook tables, drawn batches, and full evaluations of a paper gauge.

The code under test never sees which shafts are the same, nor how the batch was drawn.
"""

import json

import numpy as np
import pytest
from commands_rig import answer, shafts
from known_rig import (
    EXAMPLE,
    SPINE,
    SPINE_SD,
    as_stated,
    drawn_batch,
    drawn_errors,
    measured,
    mounted_again,
    part_of,
)
from midspan.base.errors import StoreError
from midspan.measurement.result import evaluate
from midspan.sets.fingerprint import Uncertain, fingerprints
from midspan.sets.recognise import KnownShafts, Naming, recognise
from midspan.sets.turning_likelihood import turned_agreement
from midspan.sets.which import which_shaft
from results import told
from scipy.special import ive
from stores import ACCEPTED, add_result, run_of
from synthetic import Shaft, drawn_gauge, paper_calibration, raw_run

N = 2000


# The average over the turning


@pytest.mark.parametrize("size", [0.0, 0.3, 1.0, 4.0, 300.0])
@pytest.mark.parametrize("order", [1, 2, 3])
def test_the_average_over_the_turning_is_a_bessel_function(size, order):
    """DLMF 10.32.1: the mean of exp(x cos t) over a turn is I0(x); one wave has no other shape, and no sense."""
    first, second = np.zeros((2, 1, 2, 3), complex)
    first[0, 0, order - 1], second[0, 0, order - 1] = size, size * 1.1j
    found = turned_agreement(first, second, np.full((1, 2, 3), 0.7))
    product = size * size * 1.1 / 0.7
    expected = np.log(ive(0, product)) + product - size**2 * (1 + 1.1**2) / 2 / 0.7
    assert found.log_mean[0] == pytest.approx(expected, abs=1e-2)
    assert found.squares[0] == pytest.approx((0.1 * size) ** 2 / 0.7, abs=1e-9)


def test_all_waves_together_agree_with_a_sum_over_fine_angles():
    rng = np.random.default_rng(1)
    angle = np.exp(1j * np.outer([1, 2, 3], np.arange(100_000) * 2 * np.pi / 100_000))
    for size in (0.3, 2.0, 15.0):
        first, second = (rng.normal(0, size, (8, 2, 3)) + 1j * rng.normal(0, size, (8, 2, 3)) for _ in range(2))
        variance = rng.uniform(0.5, 2, (8, 2, 3))
        second[::2] = np.conj(first[::2] * np.exp(2j * np.array([1, 2, 3]))) + 0.4
        found = turned_agreement(first, second, variance)
        for i in range(8):
            squares = np.array([
                sum(
                    (np.abs(first[i, s, n] - way[s, n] * angle[n]) ** 2 / variance[i, s, n])
                    for s in range(2) for n in range(3)
                )
                for way in (second[i], second[i].conj())
            ])  # fmt: skip
            least = squares.min()
            assert found.squares[i] == pytest.approx(least, rel=1e-4, abs=1e-6)
            expected = np.log(np.exp((least - squares) / 2).mean()) - least / 2
            assert found.log_mean[i] == pytest.approx(expected, abs=0.02)


def test_the_squares_of_a_shaft_measured_again_follow_the_tables_of_chi_square():
    """NIST/SEMATECH e-Handbook 1.3.6.7.4, 11 degrees of freedom: twelve parts of waves less the angle of turning."""
    rng, pairs = np.random.default_rng(2), 20_000
    waves = rng.uniform(20, 40, (pairs, 2, 3)) * np.exp(2j * np.pi * rng.random((pairs, 2, 3)))
    turned = np.where(
        rng.random(pairs)[:, None, None] < 0.5, waves.conj(), waves
    ) * np.exp(1j * rng.uniform(0, 6, (pairs, 1, 1)) * np.array([1, 2, 3]))  # fmt: skip
    noisy = turned + rng.normal(0, 1, turned.shape) + 1j * rng.normal(0, 1, turned.shape)
    squares = turned_agreement(waves, noisy, np.ones(waves.shape)).squares
    for critical, share in ((17.275, 0.10), (19.675, 0.05), (24.725, 0.01)):
        assert (squares > critical).mean() == pytest.approx(share, abs=4 * np.sqrt(share / pairs))


# Drawn batches


def asked_again(rng, batch, supports):
    """Return shafts of a batch, each as a gauge of its own measures it; that of the known ones has an error too."""
    errors = np.sqrt(2) * drawn_errors(rng, len(batch[0])) if supports else 0.0
    return measured(batch, rng, errors, supports=supports)


class Asked:
    """Answers on all shafts of a batch of which each was measured before, and on as many strangers."""

    def __init__(self, seed, supports, n=N):
        rng = np.random.default_rng(seed)
        batch = drawn_batch(rng, n)
        repeats = mounted_again(batch, rng)
        known = [KnownShafts(range(n), measured(batch, rng, supports=supports), repeats, not supports)]
        self.known = recognise(asked_again(rng, batch, supports), known, repeats)
        self.strangers = recognise(asked_again(rng, drawn_batch(rng, n), supports), known, repeats)

    def share(self, naming):
        """Return the share of the known shafts for which the answer is that."""
        return np.mean([found.naming is naming for found in self.known])

    @property
    def found(self):
        """Return the share of the known shafts that are named."""
        return np.mean([
            found.naming is Naming.SURE and found.candidates[0].shaft == i for i, found in enumerate(self.known)
        ])  # fmt: skip

    @property
    def wrong(self):
        """Return the share of the known shafts that get another's name or none."""
        return self.share(Naming.SURE) - self.found + self.share(Naming.NONE)

    def called(self):
        """Return every probability that was said of a shaft, and whether it was right."""
        said = [(each.probability, each.shaft == i) for i, found in enumerate(self.known) for each in found.candidates]
        said += [(each.probability, False) for found in self.strangers for each in found.candidates]
        return np.array(said, float).T


@pytest.mark.slow
def test_under_the_same_calibration_a_shaft_is_found():
    asked = Asked(1, supports=False)
    assert asked.found >= 0.99
    assert asked.wrong <= 0.001
    assert np.mean([found.naming is Naming.SURE for found in asked.strangers]) <= 0.002
    assert np.mean([found.naming is Naming.NONE for found in asked.strangers]) >= 0.98


@pytest.mark.slow
def test_of_what_is_called_nine_in_ten_nine_in_ten_are_right():
    """On another gauge: known shafts and strangers in equal numbers, as is assumed beforehand."""
    asked = Asked(2, supports=True, n=5000)
    assert asked.wrong <= 0.001
    assert 0.5 < asked.found < 0.95
    said, right = asked.called()
    for low, high in ((0.05, 0.3), (0.3, 0.7), (0.7, 0.85), (0.85, 0.95), (0.95, 0.99)):
        those = (said >= low) & (said < high)
        expected = said[those].mean()
        chance = np.sqrt(expected * (1 - expected) / those.sum())
        assert right[those].mean() == pytest.approx(expected, abs=0.03 + 3 * chance)


def test_it_does_not_matter_how_the_shaft_lies_or_which_others_are_asked_about():
    rng = np.random.default_rng(3)
    batch = drawn_batch(rng, 200)
    known = [KnownShafts(range(200), measured(batch, rng), mounted_again(batch, rng), is_same=True)]
    asked = measured(batch, rng)
    mirrored = fingerprints_of_turned(asked, 1.3)
    for (plain, turned), alone in zip(
        zip(recognise(asked, known), recognise(mirrored, known), strict=True),
        (recognise(asked.of([i]), known)[0] for i in range(200)),
        strict=True,
    ):
        assert plain == alone
        assert turned.none == pytest.approx(plain.none, rel=1e-4, abs=1e-12)
        assert [each.shaft for each in turned.candidates] == [each.shaft for each in plain.candidates]


def fingerprints_of_turned(prints, angle):
    """Return fingerprints of shafts laid in end for end and turned."""
    waves = prints.waves.conj() * np.exp(1j * angle * np.array([1, 2, 3]))
    return type(prints)(prints.log_spine, waves, prints.scatter, prints.stated)


def test_a_list_that_knows_only_spines_is_never_sure_in_a_crowd():
    rng = np.random.default_rng(4)
    batch = drawn_batch(rng, 500)
    unknown = np.full((500, 7), np.inf)
    only = Uncertain(unknown.copy(), unknown, as_stated(500).spine_thou, unknown[:, 0], unknown[:, 0])
    only.curve_thou[:, 0] = 0.0
    curve = np.zeros((500, 7))
    curve[:, 0] = batch[0]
    known = [KnownShafts(range(500), fingerprints(curve, np.zeros((500, 7)), only), None, is_same=False)]
    answers = recognise(measured(batch, rng), known)
    assert all(found.naming is Naming.NOT_SURE for found in answers)
    assert np.mean([found.none for found in answers]) == pytest.approx(0.5, abs=0.1)  # it says next to nothing


def test_without_known_shafts_it_is_none_of_them():
    rng = np.random.default_rng(5)
    assert recognise(measured(drawn_batch(rng, 3), rng), [])[0].naming is Naming.NONE


def test_use_makes_less_sure_and_finds_what_use_has_changed():
    rng = np.random.default_rng(6)
    batch = drawn_batch(rng, 60)
    known = [KnownShafts(range(60), measured(batch, rng), mounted_again(batch, rng), is_same=True)]
    spine, curve, surface = batch
    shot = measured((spine * 1.004, curve + 0.1, surface + 0.01), rng)
    assert all(found.naming is Naming.NONE for found in recognise(shot, known))
    allowed = recognise(shot, known, used=True)
    assert np.mean([found.candidates[0].shaft == i for i, found in enumerate(allowed) if found.candidates]) > 0.5
    assert all(found.candidates[0].shaft == i for i, found in enumerate(allowed) if found.naming is Naming.SURE)


# Full evaluations


@pytest.mark.slow
def test_full_evaluations_of_several_gauges_are_no_worse_than_drawn_results():
    """300 shafts of a batch, raw readings of paper gauges that differ as the example calibration states."""
    rng = np.random.default_rng(7)
    cal = paper_calibration({})
    made = [
        Shaft(
            spine_thou=rng.normal(SPINE, SPINE_SD), spread_thou=2 * abs(rng.normal(1.1, 0.6)),
            stiff_side_deg=rng.uniform(0, 180), bow_mm=abs(rng.normal(0.05, 0.03)),
            bow_deg=rng.uniform(0, 360), number=i,
        )
        for i in range(300)
    ]  # fmt: skip
    gauge, other = drawn_gauge(rng, cal), drawn_gauge(rng, cal)
    stock, again, elsewhere = (
        evaluate([raw_run(shaft, by, rng) for shaft in made], cal) for by in (gauge, gauge, other)
    )
    prints = [prints_of_results(results) for results in (stock, again, elsewhere)]
    for asked, is_same, least in ((prints[1], True, 0.99), (prints[2], False, 0.9)):
        answers = recognise(asked, [KnownShafts(range(300), prints[0], None, is_same)])
        right = [found.naming is Naming.SURE and found.candidates[0].shaft == i for i, found in enumerate(answers)]
        assert np.mean(right) >= least
        assert all(found.candidates[0].shaft == i for i, found in enumerate(answers) if found.naming is Naming.SURE)
        assert not [found for found in answers if found.naming is Naming.NONE]
    stated = [
        np.median([result.u_spine_thou for result in stock]),
        np.median([result.u_spread_thou / 2 for result in stock]),
        np.median([result.u_runout_mm / 2 for result in stock]),
    ]
    assert stated == pytest.approx([EXAMPLE.spine_thou, EXAMPLE.curve_thou[1], EXAMPLE.surface_mm[0]], rel=0.15)


def prints_of_results(results):
    """Return the fingerprints of whole results."""
    curve, surface, u_surface = (
        np.array([getattr(result, name) for result in results]) for name in ("curve_thou", "surface_mm", "u_surface_mm")
    )
    variances = np.array([np.array(result.curve_covariance)[::8] for result in results])
    u = (
        np.array([getattr(result, name) for result in results])
        for name in ("u_spine_thou", "u_spread_thou", "u_runout_mm")
    )
    return fingerprints(curve, surface, Uncertain(np.sqrt(variances), u_surface, *u))


# A store


@pytest.fixture
def rack(store_place):
    """A store with 30 shafts, 1 to 30, and their batch."""
    rng = np.random.default_rng(8)
    batch = drawn_batch(rng, 30)
    with store_place.open() as store:
        for number in range(30):
            noted(store, number + 1, part_of(batch, number, number + 1), rng, at_ms=number)
    return store_place, batch, rng


def noted(store, number, batch, rng, *, at_ms=0, label="", **also):
    """Store a result of one shaft, with what a gauge states of it."""
    prints = measured(batch, rng)
    spine = float(np.exp(prints.log_spine[0]))
    curve, surface = (
        [mean, *np.stack([waves.real, waves.imag], axis=1).ravel().tolist()]
        for mean, waves in ((spine, prints.waves[0, 0] * spine), (0.0, prints.waves[0, 1] * spine))
    )
    u = as_stated(1)
    fields = {
        "gauge": "attic", "calibration": "attic-1", "evaluation": "3", "started_ms": at_ms, "spine_thou": spine,
        "u_spine_thou": float(u.spine_thou[0]), "u_spread_thou": float(u.spread_thou[0]),
        "u_runout_mm": float(u.runout_mm[0]), "runout_mm": 0.1, "spread_thou": 2.0, "hysteresis_pct": 0.1,
        "curve_thou": curve, "surface_mm": surface, "curve_covariance": np.diag(u.curve_thou[0] ** 2).ravel().tolist(),
        "u_surface_mm": u.surface_mm[0].tolist(),
    }  # fmt: skip
    run = run_of(number, label, offset=at_ms * 9000 + number, at_ms=at_ms)
    return add_result(store, run, told(**fields | also), ACCEPTED)


def test_a_shaft_without_a_label_is_named(rack):
    place, batch, rng = rack
    with place.open() as store:
        noted(store, 57, part_of(batch, 6, 7), rng, at_ms=100)
    found = answer(place, "which", group="shafts")
    assert (found["shaft"], found["naming"], found["candidates"][0]["shaft"], found["known"]) == (57, "sure", 7, 30)
    assert found["candidates"][0]["same_calibration"]
    assert found["none"] + sum(each["probability"] for each in found["candidates"]) == pytest.approx(1.0, abs=0.01)
    assert "midspan shafts join 7 57" in shafts(place, "which", 57).stdout


def test_a_stranger_is_none_of_them(rack):
    place, _, rng = rack
    with place.open() as store:
        noted(store, 57, drawn_batch(rng, 1), rng, at_ms=100)
    assert answer(place, "which", "57", group="shafts")["naming"] == "none of these"
    assert shafts(place, "which").returncode == 0


def test_another_calibration_counts_with_its_u(rack):
    place, batch, rng = rack
    with place.open() as store:
        spine, curve, surface = part_of(batch, 6, 7)
        noted(store, 57, (spine + 0.5, curve, surface), rng, at_ms=100)
        assert which_shaft(store).found.naming is Naming.NONE
        noted(store, 58, (spine + 0.5, curve, surface), rng, at_ms=101, calibration="attic-2")
        with pytest.raises(StoreError) as caught:
            which_shaft(store, 99)
        assert caught.value.code == "never_measured"
        found = which_shaft(store, 58).found
    assert 7 in [each.shaft for each in found.candidates]


def test_a_shaft_that_was_shot_gets_a_note(rack):
    place, batch, rng = rack
    with place.open() as store:
        spine, curve, surface = part_of(batch, 6, 7)
        noted(store, 57, (spine * 1.003, curve, surface), rng, at_ms=100)
        assert which_shaft(store).if_used.candidates[0].shaft == 7
        assert which_shaft(store, used=True).found.candidates[0].shaft == 7
    assert "--used" in shafts(place, "which").stdout
    assert json.loads(shafts(place, "which", "--json").stdout)["if_used"][0]["shaft"] == 7


def test_what_people_parted_or_an_earlier_version_measured_is_not_compared(rack):
    place, batch, rng = rack
    with place.open() as store:
        noted(store, 57, part_of(batch, 6, 7), rng, at_ms=100)
        noted(store, 40, part_of(batch, 7, 8), rng, at_ms=50, evaluation="1")
    assert shafts(place, "different", 7, 57).returncode == 0
    found = answer(place, "which", "57", group="shafts")
    assert found["naming"] == "none of these"
    assert (found["known"], list(found["left_out"].values())) == (29, [1])
