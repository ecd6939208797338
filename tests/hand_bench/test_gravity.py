"""Normal gravity and the force of masses in air, against published values."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError, ConversionError
from midspan.hand_bench.gravity import U_ANOMALY, local_gravity, normal_gravity, typed_gravity
from midspan.hand_bench.masses import Air, Mass, buoyancy_factor, load_masses, stacked

# WGS 84, NGA.STND.0036: gravity at the equator and the poles; between them values of the boule library (Fatiando a
# Terra, version 0.6.0), which integrates nothing but evaluates another closed form (Lakshmanan 1991, Li and Goetze
# 2001). m/s2.
WGS_84 = {0: 9.7803253359, 30: 9.793247269219, 45: 9.806197769377, 60: 9.819176953118, 90: 9.8321849379}
WGS_84_1000_M = {0: 9.777238264594, 45: 9.803112896927, 90: 9.829102274252}
# H. Moritz, Geodetic Reference System 1980, J. Geod. 74 (2000): another ellipsoid, whose difference is known.
GRS_80 = {0: 9.7803267715, 45: 9.806199203, 90: 9.8321863685}


@pytest.mark.parametrize(("latitude", "gravity"), WGS_84.items())
def test_on_the_ellipsoid(latitude, gravity):
    assert normal_gravity(latitude) == pytest.approx(gravity, abs=2e-10)
    assert normal_gravity(-latitude) == normal_gravity(latitude)


@pytest.mark.parametrize(("latitude", "gravity"), WGS_84_1000_M.items())
def test_at_a_thousand_metres(latitude, gravity):
    # The series in height leaves out what grows with its cube.
    assert normal_gravity(latitude, 1000.0) == pytest.approx(gravity, abs=2e-7)


@pytest.mark.parametrize(("latitude", "gravity"), GRS_80.items())
def test_another_reference_system_differs_by_its_mass_only(latitude, gravity):
    assert normal_gravity(latitude) == pytest.approx(gravity, abs=2e-6)


def test_the_free_air_gradient():
    # 3.086e-6 per s2 (any textbook of geodesy)
    gradient = (normal_gravity(45.0, 100.0) - normal_gravity(45.0)) / 100
    assert gradient == pytest.approx(-3.086e-6, rel=1e-3)


def test_the_anomaly_is_the_uncertainty_of_a_place():
    here = local_gravity(47.0, 400.0)
    assert here.m_s2 == normal_gravity(47.0, 400.0)
    assert here.u_m_s2 == U_ANOMALY


@pytest.mark.parametrize(("latitude", "height"), [(91.0, 0.0), (45.0, 9000.0), (math.nan, 0.0), (45.0, math.nan)])
def test_no_such_place(latitude, height):
    with pytest.raises(ConversionError) as caught:
        normal_gravity(latitude, height)
    assert caught.value.code == ("height" if -90 <= latitude <= 90 else "latitude")


@pytest.mark.parametrize("gravity", [981.0, 1.62, math.nan, 32.17])
def test_gravity_in_another_unit_is_refused(gravity):
    with pytest.raises(ConversionError) as caught:
        typed_gravity(gravity, 1e-5)
    assert caught.value.code == "gravity"


@pytest.mark.parametrize("u", [-1e-5, 0.05, math.nan])
def test_an_absurd_uncertainty_of_gravity_is_refused(u):
    with pytest.raises(ConversionError) as caught:
        typed_gravity(9.81, u)
    assert caught.value.code == "u_gravity"


# Buoyancy. JCGM 101:2008, 9.3: 100 g, air rectangular from 1.10 to 1.30, density rectangular from 7000 to 9000 and
# a reference of 8000; the published standard uncertainty with the product term is 0.075 mg, without it 0.0539.
TO_U = 1 / math.sqrt(3)


def test_the_product_term_of_the_published_weighing():
    reference = math.hypot(0.050, 0.020)  # mg, of the reference mass and the difference
    _, u = buoyancy_factor(8000.0, 1000 * TO_U, Air(1.2, 0.1 * TO_U))
    lone, by_air = u, 0.1 * TO_U / 8000
    # In the publication both masses are in the same air, which acts on both alike.
    product = math.sqrt(lone**2 - by_air**2) * 100_000
    assert math.hypot(reference, product) == pytest.approx(0.075, abs=5e-4)


def test_conventional_air_lifts_conventional_mass_by_fifteen_parts_in_a_hundred_thousand():
    # 1.2 / 8000 by the definition of conventional mass (OIML D 28)
    for density in (1000.0, 2700.0, 8000.0, 11_000.0):
        assert buoyancy_factor(density, 0.0, Air(1.2, 0.0))[0] == pytest.approx(1 - 1.2 / 8000, rel=1e-12)


def test_thinner_air_lifts_less():
    assert buoyancy_factor(2700.0, 0.0, Air(1.0, 0.0))[0] > buoyancy_factor(2700.0, 0.0, Air(1.2, 0.0))[0]


@given(st.floats(1.0, 5000.0), st.floats(9.77, 9.84), st.floats(1000.0, 12000.0), st.floats(0.9, 1.3))
def test_force_is_true_mass_times_gravity_less_the_weight_of_the_air(mass_g, gravity, density, air):
    # From first principles: find the true mass that balances a standard of 8000 in air of 1.2, and weigh it in air.
    volume_of_standard = mass_g / 1000 / 8000
    true_kg = (mass_g / 1000 - 1.2 * volume_of_standard) / (1 - 1.2 / density)
    expected = gravity * (true_kg - air * true_kg / density)
    assert Mass("m", mass_g, 0.0, density, 0.0).force_n(gravity, Air(air, 0.0)).newtons == pytest.approx(expected)


def test_masses_of_a_set_share_their_errors():
    force = Mass("m", 500.0, 0.01).force_n(9.8, Air())
    assert stacked([force, force]).u_mass_n == pytest.approx(2 * force.u_mass_n)
    assert stacked([]).newtons == 0


def test_a_masses_file(tmp_path):
    file = tmp_path / "masses.toml"
    file.write_text('[[mass]]\nname = "500"\nmass_g = 500.002\nu_mass_g = 0.008\ncertificate = "K-17"\n')
    assert load_masses(file)["500"] == Mass("500", 500.002, 0.008, certificate="K-17")
    file.write_text('[[mass]]\nname = "500"\nmass_kg = 0.5\nu_mass_g = 0.008\n')
    with pytest.raises(ConfigurationError, match=r"mass_kg .* mass_g\?"):
        load_masses(file)
