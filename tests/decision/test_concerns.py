"""What stays with a verdict through later evaluations, and what ends with the calibration: a table of all cases."""

import math
from datetime import date
from itertools import product

import pytest
from midspan.decision.concerns import carry, with_crack_limit
from midspan.decision.decision import Concern, ConcernKind, Decision, Outcome
from midspan.measurement.calibration_validity import of_another_gauge, ran_out
from synthetic import paper_calibration

CRACK, DOUBT, FAULT = (
    Concern(kind, f"a {kind.value}") for kind in (ConcernKind.CRACK, ConcernKind.DOUBT, ConcernKind.FAULT)
)
# From the least to the worst: nothing can be said of a shaft on a sick gauge, and little of a doubtful reading.
RANK = [Outcome.ACCEPTED, Outcome.REJECTED, Outcome.DOUBTFUL, Outcome.INSTRUMENT_FAULT]
BY_CONCERN = {CRACK: Outcome.REJECTED, DOUBT: Outcome.DOUBTFUL, FAULT: Outcome.INSTRUMENT_FAULT}


def verdict(outcome):
    return Decision(outcome, ("its own reason",), "500" if outcome is Outcome.ACCEPTED else None)


@pytest.mark.parametrize("outcome", RANK)
@pytest.mark.parametrize("wanted", list(product([False, True], repeat=3)))
def test_the_worse_of_a_verdict_and_its_earlier_concerns_counts(outcome, wanted):
    earlier = [concern for concern, taken in zip((CRACK, DOUBT, FAULT), wanted, strict=True) if taken]
    found = carry(verdict(outcome), earlier)
    worst = max([outcome, *(BY_CONCERN[concern] for concern in earlier)], key=RANK.index)
    assert found.outcome is worst
    assert found.bin == ("500" if outcome is Outcome.ACCEPTED and not earlier else None)
    assert found.concerns == tuple(earlier)
    assert found.reasons == (*(concern.words for concern in earlier), "its own reason")


@pytest.mark.parametrize("kind", list(ConcernKind))
def test_of_each_kind_the_verdict_s_own_concerns_are_enough(kind):
    own, old = Concern(kind, "found now"), Concern(kind, "found before")
    now = Decision(Outcome.INSTRUMENT_FAULT, ("found now",), concerns=(own,))
    assert carry(now, [old]) is now


def test_a_concern_is_carried_once_and_said_once():
    now = Decision(Outcome.REJECTED, (DOUBT.words, "too soft"))
    found = carry(now, [DOUBT, DOUBT])
    assert found.concerns == (DOUBT,)
    assert found.reasons == (DOUBT.words, "too soft")


def test_earlier_concerns_come_before_the_verdict_s_own():
    now = Decision(Outcome.DOUBTFUL, (DOUBT.words,), concerns=(DOUBT,))
    found = carry(now, [CRACK])
    assert found.concerns == (CRACK, DOUBT)
    assert found.outcome is Outcome.DOUBTFUL


def test_what_a_calibration_had_wrong_ends_with_it():
    calibration = paper_calibration(calibration={"gauge": "bench", "valid_until": date(2020, 1, 1)})
    words = [*of_another_gauge(calibration, "attic"), *ran_out(calibration, date(2021, 1, 1))]
    assert len(words) == 2
    found = carry(
        verdict(Outcome.ACCEPTED), [Concern(ConcernKind.FAULT, words[0]), Concern(ConcernKind.DOUBT, words[1])]
    )
    assert found == verdict(Outcome.ACCEPTED)


@pytest.mark.parametrize(
    ("hysteresis_pct", "limit_pct", "expected"),
    [(1.5, 1.5, False), (1.5001, 1.5, True), (0.0, 1.5, False), (-3.0, 1.5, False), (None, 1.5, False),
     (9.0, None, False), (None, None, False), (math.nan, 1.5, True), (math.inf, 1.5, True)],
)  # fmt: skip
def test_hysteresis_beyond_the_limit_hints_at_a_crack(hysteresis_pct, limit_pct, expected):
    # No margin: a value that is no number is not below the limit either.
    found = with_crack_limit(verdict(Outcome.ACCEPTED), hysteresis_pct, limit_pct)
    assert bool(found.concerns) is expected


@pytest.mark.parametrize("outcome", RANK)
def test_a_suspected_crack_rejects_what_is_not_unsure(outcome):
    found = with_crack_limit(verdict(outcome), 2.345, 1.5)
    assert found.outcome is max(outcome, Outcome.REJECTED, key=RANK.index)
    ((kind, words),) = [(concern.kind, concern.words) for concern in found.concerns]
    assert kind is ConcernKind.CRACK
    assert words.startswith("CRACK_SUSPECTED")
    assert {"2.35", "1.5"} & set(words.split()) or {"2.34", "1.5"} & set(words.split())
    assert found.bin is None


@pytest.mark.parametrize("outcome", RANK)
def test_below_the_limit_a_verdict_stays_as_it_is(outcome):
    now = verdict(outcome)
    assert with_crack_limit(now, 1.4, 1.5) is now
