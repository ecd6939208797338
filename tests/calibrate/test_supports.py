"""Shape of the supports and sinking: what the maker states or reads, against Hertz and against plain geometry."""

import math

import numpy as np
import pytest
from midspan.base.errors import ConfigurationError, ReadingsError
from midspan.calibrate.readings_table import readings_of
from midspan.calibrate.sinking import MATERIALS, calibrate_sinking, computed_sinking, hertz_approach_mm
from midspan.calibrate.supports import Supports

ROLLERS = Supports(2.0, 0.1, 30.0, 31.0)


def test_the_height_over_the_rims_in_a_nip_by_hand():
    # A shaft of 6 mm between rollers of 30 mm, axles 31 mm apart: its push leans by asin(31 / 36) = 59.44 degrees.
    assert ROLLERS.upright(6.0) == pytest.approx(math.cos(math.radians(59.44)), abs=1e-4)
    found = ROLLERS.section(6.0, 6.0)
    assert found["rim_mm"] == pytest.approx((2 + 3) * 0.5084, abs=1e-3)
    assert found["u_rim_mm"] == pytest.approx(0.1 * 0.5084, abs=1e-4)
    assert Supports(0.0, 0.0).section(6.0, 6.0) == {"rim_mm": 3.0, "u_rim_mm": 0.0}


def test_a_range_of_shafts_is_rectangular():
    # JCGM 100:2008, 4.3.7: on a knife edge the axis of shafts of 4 to 10 mm is 2 to 5 mm up.
    found = Supports(0.0, 0.0).section(4.0, 10.0)
    assert found["rim_mm"] == pytest.approx(3.5)
    assert found["u_rim_mm"] == pytest.approx(1.5 / math.sqrt(3))


@pytest.mark.parametrize(
    ("supports", "shafts", "code"),
    [
        (Supports(2.0, 0.1, 30.0), (4.0, 6.0), "rollers"),
        (Supports(2.0, 0.1, 30.0, 36.0), (4.0, 8.0), "falls_through"),
        (ROLLERS, (8.0, 6.0), "diameters"),
    ],
)
def test_supports_that_carry_no_shaft(supports, shafts, code):
    with pytest.raises(ConfigurationError) as caught:
        supports.section(*shafts)
    assert caught.value.code == code


@pytest.mark.parametrize(("force_n", "radius_mm"), [(1.0, 5.0), (10.0, 5.0), (10.0, 20.0)])
def test_a_ball_on_a_flat(force_n, radius_mm):
    # K. L. Johnson, Contact Mechanics (1985), 4.23: (9 F^2 / 16 R E*^2)^(1/3)
    steel = MATERIALS["steel"]
    modulus = steel.modulus_mpa / (2 * (1 - steel.poisson**2))
    expected = (9 * force_n**2 / (16 * radius_mm * modulus**2)) ** (1 / 3)
    assert hertz_approach_mm(force_n, (1 / radius_mm, 1 / radius_mm), steel) == pytest.approx(expected, rel=1e-6)


def test_crossed_cylinders_of_unlike_radii_by_the_integrals_themselves():
    # Johnson, 4.25 to 4.28, with the elliptic integrals as sums over the angle: a pressure 1.5 F / (pi a b) sinks both
    # bodies by the same everywhere, if the axes are right.
    curvatures, force = (1 / 2.0, 2 / 30.0 + 2 / 6.0), 4.243
    approach = hertz_approach_mm(force, curvatures, MATERIALS["carbon"])
    modulus = 1 / (MATERIALS["carbon"].compliance + MATERIALS["steel"].compliance)
    angle = (np.arange(4000) + 0.5) * math.pi / 2 / 4000
    shares = {}
    for ratio in np.linspace(0.5, 0.999, 2000):  # of the axes
        root = np.sqrt(1 - (1 - ratio**2) * np.sin(angle) ** 2)
        k, e = (float((value).mean() * math.pi / 2) for value in (1 / root, root))
        shares[ratio] = (e / ratio**2 - k) / (k - e), k, e
    wanted = max(curvatures) / min(curvatures)
    ratio = min(shares, key=lambda at: abs(shares[at][0] - wanted))
    _, k, e = shares[ratio]
    longer = (3 * force * (k - e) / (2 * math.pi * modulus * (1 - ratio**2) * min(curvatures) / 2)) ** (1 / 3)
    assert approach == pytest.approx(1.5 * force * k / (math.pi * longer * modulus), rel=2e-3)


@pytest.mark.parametrize(("material", "thou"), [("aluminium", 0.03), ("carbon", 0.20), ("wood", 1.14)])
def test_what_the_drawn_rims_do_to_a_shaft_of_6_mm(material, thou):
    """The hardware notes have the same theory, computed apart; the head's share comes on top."""
    found = computed_sinking(material, 6.0, ROLLERS)
    assert found.figures["too_soft_by_thou"] / 1.15 == pytest.approx(thou, abs=0.01)
    assert found.section["u_sink_mm_per_n"] > found.section["sink_mm_per_n"] / 4


def dial(shaft_mm=0.0046, steel_mm=0.0005, noise=1e-4, pairs=5, seed=1, masses=(44.0, 440.0)):
    """Return readings of a piece of a shaft and of a steel rod that sink by so much between two masses."""
    rng = np.random.default_rng(seed)
    body = [name for name in ("shaft", "steel") for _ in range(2 * pairs)]
    mass = list(masses) * (2 * pairs)
    down = {"shaft": shaft_mm, "steel": steel_mm}
    read = [down[name] * (load == masses[1]) + rng.normal(0, noise) for name, load in zip(body, mass, strict=True)]
    return readings_of("dial.csv", body=body, mass_g=mass, dial_mm=read)


def test_a_dial_over_a_support_gives_the_sinking():
    # 396 g more on one support are 7.767 N more on the head; both supports sink by 4.1 um, the head by 15 % of it.
    truth = 1.15 * 0.0041 / (2 * 0.396 * 9.80665)
    founds = [calibrate_sinking(dial(seed=seed)) for seed in range(200)]
    values = np.array([found.section["sink_mm_per_n"] for found in founds])
    assert values.mean() == pytest.approx(truth, rel=0.01)
    of_readings = [
        math.hypot(*(found.budget[name][0] for name in ("shaft_mm_per_n", "steel_mm_per_n"))) for found in founds
    ]
    assert np.sqrt(np.mean(np.square(of_readings))) == pytest.approx(values.std(), rel=0.2)
    assert {remark.code for remark in founds[0].remarks} == {"head_estimated"}
    other = calibrate_sinking(dial(masses=(100.0, 500.0)))
    assert {remark.code for remark in other.remarks} == {"head_estimated", "other_loads"}


@pytest.mark.parametrize(("table", "code"), [(dial(shaft_mm=-0.01), "reversed"), (dial(pairs=1), "too_few")])
def test_readings_of_a_dial_without_sense(table, code):
    with pytest.raises(ReadingsError) as caught:
        calibrate_sinking(table)
    assert caught.value.code == code


def test_a_knife_edge_cannot_be_computed():
    with pytest.raises(ReadingsError) as caught:
        computed_sinking("carbon", 6.0, Supports(0.0))
    assert caught.value.code == "knife_edge"
