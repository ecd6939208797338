"""Routes of judged shafts."""

import re

import pytest
from midspan.decision.concerns import with_crack_limit
from midspan.decision.decision import Decision, Outcome
from midspan.sorting.routing import INTERRUPTIONS, MOST_INTERRUPTIONS, Judged, recheck_route, route_of
from midspan.store.transit import Transit, TransitStage, WayStep
from night_rig import BAR, CRACKED, PLAN, RECHECK, REJECTED, RETURN, SOFTER, STIFFER, plan_with

ONCE = (WayStep(TransitStage.JUDGED, 1),)
GOOD, FULL = 0.1, dict.fromkeys(range(1, 7), 40)


def routed(judged, steps=ONCE, counts=None, standard=None, source="HOPPER", plan=None):
    """Return the route of a shaft with this verdict."""
    return route_of(judged, Transit(1, 1, source, standard, 0, steps), plan or plan_with(standard=[BAR]), counts or {})


@pytest.mark.parametrize(
    ("judged", "place"),
    [
        (Judged(Outcome.ACCEPTED, "500", GOOD), STIFFER),
        (Judged(Outcome.ACCEPTED, "510", GOOD), SOFTER),
        (Judged(Outcome.REJECTED, None, GOOD), REJECTED),
        (Judged(Outcome.ACCEPTED, "500", 9.0), STIFFER),  # the verdict says, by the limit that held then
        (Judged(Outcome.REJECTED, None, GOOD, cracked=True), CRACKED),
    ],
)
def test_a_verdict_has_its_place(judged, place):
    assert routed(judged).place == place


@pytest.mark.parametrize("outcome", [Outcome.DOUBTFUL, Outcome.INSTRUMENT_FAULT])
def test_what_is_unsure_is_measured_again_as_often_as_planned_then_goes_to_recheck(outcome):
    assert routed(Judged(outcome)).again
    assert routed(Judged(outcome), ONCE * 2).place == RECHECK
    assert routed(Judged(outcome, None, 2.0, cracked=True), ONCE * 2).place == CRACKED  # unsure of all but the crack
    never = plan_with(sort={"measure_again": 0})
    assert routed(Judged(outcome), plan=never).place == RECHECK


@pytest.mark.parametrize("cause", sorted(INTERRUPTIONS))
def test_what_was_interrupted_is_measured_again_without_counting(cause):
    interrupted = WayStep(TransitStage.JUDGED, 1, words=cause)
    assert routed(Judged(Outcome.DOUBTFUL, cause=cause), (interrupted,) * 5).again
    assert routed(Judged(Outcome.DOUBTFUL), (*(interrupted,) * 5, *ONCE)).again
    assert routed(Judged(Outcome.DOUBTFUL), (*(interrupted,) * 5, *ONCE * 2)).place == RECHECK
    assert routed(Judged(Outcome.DOUBTFUL, cause=cause), (interrupted,) * (MOST_INTERRUPTIONS + 1)).place == RECHECK


def test_a_full_place_hands_over_to_the_next_of_its_bin_then_to_recheck():
    two = plan_with(place=[*PLAN["place"], {"number": 7, "bin": "500", "holds": 10}])
    good = Judged(Outcome.ACCEPTED, "500", GOOD)
    assert routed(good, counts={STIFFER: 39}, plan=two).place == STIFFER
    second = routed(good, counts={STIFFER: 40}, plan=two)
    assert (second.place, second.words) == (7, "")
    third = routed(good, counts={STIFFER: 40, 7: 10}, plan=two)
    assert (third.place, third.full) == (RECHECK, (STIFFER, 7))
    assert [two.place_called(place) in third.words for place in (STIFFER, 7, RECHECK)] == [True] * 3
    nowhere = routed(good, counts={**FULL, 7: 10}, plan=two)
    assert (nowhere.place, nowhere.full) == (None, (STIFFER, 7, RECHECK))


def test_what_may_be_cracked_never_lies_among_others():
    full = routed(Judged(Outcome.REJECTED, None, 2.0, cracked=True), counts={CRACKED: 10})
    assert (full.place, full.full) == (None, (CRACKED,))
    assert "place 6 (cracked)" in full.words
    assert recheck_route(plan_with(), FULL).place is None


def test_a_standard_goes_home_whatever_it_reads():
    for outcome in Outcome:
        home = routed(Judged(outcome, None, GOOD), standard="bar 7", source="SLOT")
        assert (home.again, home.place) == (False, RETURN)
    assert routed(Judged(Outcome.DOUBTFUL), standard="bar 7", source="SLOT").again  # unmeasured
    assert routed(Judged(Outcome.DOUBTFUL), ONCE * 2, standard="bar 7", source="SLOT").place == RETURN
    assert routed(Judged(Outcome.ACCEPTED, "500", 9.0, cracked=True), standard="bar 7", source="SLOT").place == RETURN


def test_a_hint_at_a_crack_is_a_rejection_that_says_why():
    hinted = with_crack_limit(Decision(Outcome.ACCEPTED, ("near",), "500"), 2.0, 1.5)
    assert (hinted.outcome, hinted.bin) == (Outcome.REJECTED, None)
    assert hinted.reasons[0].startswith("CRACK_SUSPECTED: ")
    assert re.findall(r"([\d.]+) %", hinted.reasons[0]) == ["2.00", "1.5"]
    doubtful = with_crack_limit(Decision(Outcome.DOUBTFUL, ("noisy",)), 2.0, 1.5)
    assert (doubtful.outcome, len(doubtful.reasons)) == (Outcome.DOUBTFUL, 2)
    same = Decision(Outcome.DOUBTFUL, ("x",))
    assert with_crack_limit(same, None, 1.5) is same  # unmeasured
    assert with_crack_limit(same, 9.0, None) is same  # nobody set a limit


@pytest.mark.parametrize(("hysteresis_pct", "cracked"), [(1.5, False), (1.51, True), (9.0, True), (float("nan"), True)])
def test_a_hint_begins_beyond_the_limit_and_a_number_that_is_none_never_passes(hysteresis_pct, cracked):
    hinted = with_crack_limit(Decision(Outcome.ACCEPTED, (), "500"), hysteresis_pct, 1.5)
    assert (hinted.outcome is Outcome.REJECTED) == cracked
