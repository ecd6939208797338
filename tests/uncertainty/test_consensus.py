"""Reference values and deviations from them, against published comparisons and properties that any unit must keep."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConversionError
from midspan.uncertainty.consensus import Results, consensus, equivalence, without_each
from places import DATA

PUBLISHED = json.loads((DATA / "agreement.json").read_text(encoding="utf-8"))  # each with its source
Z_95 = 1.959963984540054


def independent(known):
    """Return results of one thing with no errors in common."""
    variance = np.array(known["variance"]) if "variance" in known else np.square(known["u"])
    return Results.of_one_thing(np.array(known["x"], dtype=float), np.diag(variance))


def test_nine_laboratories_scatter_as_published():
    known = PUBLISHED["nine_laboratories"]
    answers = known["published"]
    found = consensus(independent(known))
    assert not found.is_consistent
    assert (found.chi2, found.dof, found.p) == pytest.approx((answers["Q"], answers["Q_dof"], answers["Q_p"]), rel=1e-9)
    assert found.tau == pytest.approx(answers["tau_PM"], abs=6e-5)
    assert found.tau**2 == pytest.approx(answers["tau2_PM"], rel=1e-6)
    assert found.values[0] == pytest.approx(answers["mean_PM"], rel=1e-9)
    assert found.u[0] == pytest.approx(answers["se_PM"], rel=1e-7)


@pytest.mark.parametrize("known", PUBLISHED["two_reviews"]["sets"])
def test_the_scatter_of_two_reviews_is_that_published(known):
    assert consensus(independent(known), scatter=True).tau ** 2 == pytest.approx(known["tau2_PM"], abs=6e-5)


def test_six_trials_are_combined_as_published():
    known = PUBLISHED["six_trials"]
    found = consensus(independent(known), scatter=True)
    answers = known["published"]
    assert (found.tau, found.values[0], found.u[0]) == pytest.approx(
        (answers["tau"], answers["mean"], answers["se"]), abs=6e-5
    )


def test_consistent_results_need_no_scatter_and_inconsistent_ones_do():
    calm, rough = PUBLISHED["consistent_and_not"]["consistent"], PUBLISHED["consistent_and_not"]["inconsistent"]
    found = consensus(independent(calm))
    ends = [found.values[0] + sign * Z_95 * found.u[0] for sign in (-1, 1)]
    assert (found.values[0], found.tau, found.is_consistent) == (pytest.approx(calm["mean"], abs=6e-5), 0.0, True)
    assert ends == pytest.approx(calm["ci95"], abs=6e-4)
    assert consensus(independent(calm), scatter=True).tau == 0.0  # truncated, as published
    plain = consensus(independent(rough), scatter=False)
    ends = [plain.values[0] + sign * Z_95 * plain.u[0] for sign in (-1, 1)]
    assert plain.values[0] == pytest.approx(rough["weighted_mean"], abs=4e-4)  # variances are printed to 4 digits
    assert ends == pytest.approx(rough["ci95"], abs=6e-4)
    assert not plain.is_consistent


def test_a_key_comparison_gets_its_official_reference_value():
    known = PUBLISHED["activity_of_barium_133"]
    found = consensus(independent(known), scatter=False)
    assert (round(found.values[0]), round(found.u[0])) == (known["reference"], known["u_reference"])


def test_a_shared_error_counts_once():
    known = PUBLISHED["shared_scale"]["peelle"]
    values = np.array(known["x"])
    found = consensus(Results.of_one_thing(values, np.array(known["covariance"])), scatter=False)
    assert (found.values[0], found.u[0]) == pytest.approx((known["estimate"], known["u"]), abs=1e-8)
    alone = consensus(Results.of_one_thing(values, np.diag(np.diag(known["covariance"]))), scatter=False)
    told = known["without_correlation"]
    assert (alone.values[0], alone.u[0]) == pytest.approx((told["estimate"], told["u"]), abs=1e-8)


def test_a_shared_scale_error_is_that_of_the_common_value():
    """Taken from each reading it pulls the mean out of the range of the results; from the common value it does not."""
    known = PUBLISHED["shared_scale"]["neudecker"]
    values, own = np.array(known["x"]), np.diag(np.square(known["u_own"]))
    for scale, answer in (
        (values, known["from_each_result"]),
        (np.full(2, known["from_common_value"]), known["from_common_value"]),
    ):
        shared = np.outer(scale, scale) * known["common_relative"] ** 2
        found = consensus(Results.of_one_thing(values, own + shared), scatter=False)
        assert found.values[0] == pytest.approx(answer, abs=5e-5)


@pytest.mark.parametrize("case", list(PUBLISHED["two_things"]["covariances"]))
def test_two_things_on_two_instruments_are_combined_together(case):
    known = PUBLISHED["two_things"]
    covariance = np.array(known["covariances"][case])
    answers = known["published"][case]
    results = Results(np.array(known["x"]), covariance, np.array(known["things"]))
    found = consensus(results, scatter=False)
    assert found.values == pytest.approx(answers["estimate"], rel=1e-7)
    assert found.u == pytest.approx(answers["u"], rel=1e-7)
    assert found.chi2 == pytest.approx(answers["chi2"], rel=1e-7)
    if "weights" in answers:
        assert found.weights == pytest.approx(np.array(answers["weights"]), abs=1e-8)


def test_a_budget_by_source_with_sources_in_common():
    known = PUBLISHED["by_source"]
    a, b = np.array(known["u_A"]), np.array(known["u_B"])
    shared = float(np.sum(np.array(known["correlation"]) * a * b))
    covariance = np.array([[a @ a, shared], [shared, b @ b]])
    found = consensus(Results.of_one_thing(np.array(known["x"]), covariance), scatter=False)
    answers = known["published"]
    assert covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1]) == pytest.approx(answers["correlation"])
    assert found.values[0] == pytest.approx(answers["estimate"], rel=1e-8)
    assert found.weights[0] == pytest.approx(answers["weights"], abs=1e-8)
    assert (found.chi2, found.p) == pytest.approx((answers["chi2"], answers["p"]), rel=1e-8)


def test_the_same_laboratory_stands_out_as_in_the_published_deviations():
    known = PUBLISHED["six_laboratories"]
    results = independent(known)
    alone = without_each(results)
    told = np.array(known["leave_one_out_D"])
    assert (np.sign(alone.deviations) == np.sign(told)).all()
    ours, theirs = np.abs(alone.deviations / alone.u), np.abs(told) / np.array(known["U95"])
    assert ours.argmax() == theirs.argmax() == 5


numbers = st.floats(-1e3, 1e3)
sizes = st.floats(0.01, 10.0)


@given(st.lists(st.tuples(numbers, sizes), min_size=2, max_size=8), st.floats(1e-6, 1e6), numbers)
def test_another_unit_or_zero_changes_nothing_else(some, factor, shift):
    x, u = (np.array(column) for column in zip(*some, strict=True))
    first = consensus(Results.of_one_thing(x, np.diag(u**2)))
    again = consensus(Results.of_one_thing((x + shift) * factor, np.diag((u * factor) ** 2)))
    width = float(np.ptp(x)) + float(u.max())
    assert abs(again.values[0] / factor - shift - first.values[0]) <= 1e-7 * (width + abs(shift))
    if abs(first.p - 0.05) > 1e-9:
        assert again.u[0] / factor == pytest.approx(first.u[0], rel=1e-5)
        assert first.is_consistent == again.is_consistent


@given(st.lists(st.tuples(numbers, sizes), min_size=2, max_size=8))
def test_deviations_of_consistent_results_are_those_of_the_closed_form(some):
    x, u = (np.array(column) for column in zip(*some, strict=True))
    results = Results.of_one_thing(x, np.diag(u**2))
    found = consensus(results, scatter=False)
    off = equivalence(results, found)
    # u(D)^2 = u^2 - u(reference)^2: M. G. Cox, Metrologia 39 (2002) 589, equation (5)
    assert off.u == pytest.approx(np.sqrt(np.maximum(u**2 - found.u[0] ** 2, 0.0)), abs=1e-6 * float(u.max()))
    assert float(found.weights.sum()) == pytest.approx(1.0)
    assert float((found.weights[0] * off.deviations).sum()) == pytest.approx(0.0, abs=1e-8 * (1 + np.abs(x).max()))


def test_deviations_of_sound_instruments_are_beyond_their_limit_one_time_in_twenty():
    random = np.random.default_rng(7)
    beyond = []
    for _ in range(2000):
        u = random.uniform(0.1, 0.4, 4)
        shared = 0.15
        x = 500 + shared * random.standard_normal() + u * random.standard_normal(4)
        results = Results.of_one_thing(x, np.diag(u**2) + shared**2)
        beyond.append(np.abs(equivalence(results, consensus(results, scatter=False)).e_n(Z_95)) > 1)
    assert 0.04 < np.mean(beyond) < 0.06  # 8,000 of them: 5 % within four standard errors


def test_a_covariance_that_cannot_be_is_refused():
    with pytest.raises(ConversionError) as refused:
        consensus(Results.of_one_thing(np.array([1.0, 2.0]), np.array([[1.0, 2.0], [2.0, 1.0]])))
    assert refused.value.code == "covariance"


def test_a_single_result_is_its_own_reference_and_has_no_other():
    alone = Results.of_one_thing(np.array([500.0]), np.array([[0.04]]))
    found = consensus(alone)
    assert (found.values[0], found.u[0], found.dof, found.is_consistent) == (500.0, 0.2, 0, True)
    assert np.isnan(without_each(alone).deviations[0])
