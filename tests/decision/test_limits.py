"""Verdicts near limits by the numbers their reasons name, over stretches of bins with gaps between them."""

import math
import re
from dataclasses import dataclass, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.decision.bands import EXAMPLE, Bands, DecisionRule
from midspan.decision.decision import Decision, Outcome, judge
from midspan.decision.limit_test import Comparison, LimitEffect
from midspan.measurement.result import Unmeasured

# Four stretches; the second of two bins.
ENDS = [(440.0, 450.0), (470.0, 480.0), (480.0, 490.0), (510.0, 520.0), (540.0, 550.0)]
RULES = {"guarded both ways": (1, 1), "guarded acceptance": (1, -1), "guarded rejection": (-1, 1), "simple": (0, 0)}


def bands(kind="guarded both ways", ends=ENDS, limits=(), **rule):
    bins = [{"name": f"{low:g}", "spine_thou": [low, high], **dict(limits)} for low, high in ends]
    return Bands.model_validate({"rule": {"kind": kind, **rule}, "bin": bins})


@dataclass(frozen=True)
class Shaft:
    spine_thou: float = 475.0
    u_spine_thou: float = 0.5
    spread_thou: float = 2.0
    u_spread_thou: float = 0.05
    spread_floor_thou: float = 0.1
    runout_mm: float | None = 0.05
    u_runout_mm: float | None = 0.002
    hysteresis_pct: float | None = 0.2
    u_hysteresis_pct: float | None = 0.02
    faults: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


def numbers(reason):
    return [float(number) for number in re.findall(r"-?\d+\.?\d*", reason)]


def expected_of(spine, u, kind, coverage=2.0):
    """Return the outcome by the definition of the rules (JCGM 106:2012, clause 8) at the ends of each stretch."""
    stretches = [(440.0, 450.0), (470.0, 490.0), (510.0, 520.0), (540.0, 550.0)]
    accept, reject = (margin * coverage * u for margin in RULES[kind])
    if any(low + accept <= spine <= high - accept for low, high in stretches):
        return Outcome.ACCEPTED
    if all(spine < low - reject or spine > high + reject for low, high in stretches) or reject < accept:
        return Outcome.REJECTED
    return Outcome.DOUBTFUL


@given(st.floats(430, 560), st.floats(0.01, 2.0), st.sampled_from(list(RULES)))
def test_a_spine_anywhere_by_every_rule(spine, u, kind):
    accept, reject = (margin * 2.0 * u for margin in RULES[kind])
    if any(abs(abs(spine - end) - by) < 1e-6 for pair in ENDS for end in pair for by in (0, abs(accept), abs(reject))):
        return  # on an end itself: see the tests of edges
    assert judge(Shaft(spine_thou=spine, u_spine_thou=u), bands(kind)).outcome is expected_of(spine, u, kind)


@pytest.mark.parametrize(
    ("spine", "limits"),
    [(430.0, [440.0]), (455.0, [450.0, 470.0]), (500.0, [490.0, 510.0]), (530.0, [520.0, 540.0]), (560.0, [550.0])],
)
def test_a_spine_in_no_band_is_held_against_the_nearest_ends_on_either_side(spine, limits):
    verdict = judge(Shaft(spine_thou=spine), bands())
    assert verdict.outcome is Outcome.REJECTED
    assert [numbers(reason) for reason in verdict.reasons] == [[spine, limit] for limit in limits]


@pytest.mark.parametrize("spine", [470.3, 489.7])
def test_a_spine_in_a_stretch_is_held_against_both_its_ends(spine):
    verdict = judge(Shaft(spine_thou=spine), bands())
    assert verdict.outcome is Outcome.DOUBTFUL
    (reason,) = verdict.reasons
    assert numbers(reason) == [spine, 470.0 if spine < 480 else 490.0]


def test_a_stretch_narrower_than_u_is_doubtful_at_both_ends():
    verdict = judge(Shaft(spine_thou=500.0, u_spine_thou=3.0), bands(ends=[(498.0, 502.0)]))
    assert verdict.outcome is Outcome.DOUBTFUL
    assert [numbers(reason)[-1] for reason in verdict.reasons] == [498.0, 502.0]


def test_a_spine_within_u_of_one_end_only_is_doubtful_for_that_one():
    verdict = judge(Shaft(spine_thou=469.5), bands())
    assert verdict.outcome is Outcome.DOUBTFUL
    assert [numbers(reason)[-1] for reason in verdict.reasons] == [470.0]


def test_a_doubtful_spine_beyond_a_band_is_rejected_where_that_band_would_not_have_the_shaft():
    limits = {"spread_max_thou": 6.0}
    near = Shaft(spine_thou=469.5, spread_thou=9.0)
    verdict = judge(near, bands(limits=limits))
    assert verdict.outcome is Outcome.REJECTED
    assert [numbers(reason)[1] for reason in verdict.reasons][-1] == 6.0


@pytest.mark.parametrize(("spine", "name"), [(490.4, "480"), (509.6, "510"), (550.4, "540"), (439.6, "440")])
def test_a_spine_that_the_rule_lets_pass_goes_to_the_band_it_is_beyond(spine, name):
    verdict = judge(Shaft(spine_thou=spine), bands("guarded rejection"))
    assert (verdict.outcome, verdict.bin) == (Outcome.ACCEPTED, name)
    (reason,) = verdict.reasons
    assert numbers(reason)[:2] == [spine, min((end for pair in ENDS for end in pair), key=lambda end: abs(end - spine))]


def test_a_spine_inside_by_less_than_u_is_let_pass_with_a_remark():
    verdict = judge(Shaft(spine_thou=489.6), bands("simple"))
    assert verdict.outcome is Outcome.ACCEPTED
    assert numbers(verdict.reasons[0]) == [489.6, 490.0]


@pytest.mark.parametrize(("spine", "borders"), [(480.9, 1), (479.1, 1), (481.0, 0), (479.0, 0)])
def test_a_border_within_u_is_remarked_on(spine, borders):
    verdict = judge(Shaft(spine_thou=spine), bands())
    assert (verdict.outcome, len(verdict.reasons)) == (Outcome.ACCEPTED, borders)
    assert verdict.bin == ("480" if spine > 480 else "470")
    if borders:
        assert numbers(verdict.reasons[0]) == [480.0, 470.0 if spine > 480 else 480.0]


@pytest.mark.parametrize(
    ("value_field", "u_field", "limit", "in_thou"),
    [("spread_thou", "u_spread_thou", {"spread_max_thou": 6.0}, 1.0),
     ("runout_mm", "u_runout_mm", {"runout_max_thou": 6.0}, 0.0254),
     ("hysteresis_pct", "u_hysteresis_pct", {"hysteresis_max_pct": 6.0}, 1.0)],
)  # fmt: skip
def test_an_upper_limit_names_value_and_limit_in_its_own_unit(value_field, u_field, limit, in_thou):
    high = replace(Shaft(), **{value_field: 7.5 * in_thou, u_field: 0.25 * in_thou})
    verdict = judge(high, bands(limits=limit, coverage_factor=3.0))
    assert verdict.outcome is Outcome.REJECTED
    assert numbers(verdict.reasons[0]) == pytest.approx([7.5, 6.0])
    near = replace(high, **{value_field: 6.5 * in_thou})
    assert judge(near, bands(limits=limit, coverage_factor=3.0)).outcome is Outcome.DOUBTFUL
    assert judge(near, bands(limits=limit, coverage_factor=1.5)).outcome is Outcome.REJECTED


@pytest.mark.parametrize(
    ("limit", "field"), [("runout_max_thou", "runout_mm"), ("hysteresis_max_pct", "hysteresis_pct")]
)
def test_what_was_not_measured_is_doubtful_where_a_bin_limits_it(limit, field):
    unknown = replace(Shaft(), **{field: None, f"u_{field}": None})
    assert judge(unknown, bands(limits={limit: 3.25})).outcome is Outcome.DOUBTFUL
    assert 3.25 in numbers(judge(unknown, bands(limits={limit: 3.25})).reasons[0])
    assert judge(unknown, bands()).outcome is Outcome.ACCEPTED


@pytest.mark.parametrize("field", ["runout_mm", "hysteresis_pct"])
def test_half_of_a_quantity_missing_is_a_fault(field):
    for name in (field, f"u_{field}"):
        verdict = judge(replace(Shaft(), **{name: None}), bands())
        assert verdict.outcome is Outcome.INSTRUMENT_FAULT
        assert name in verdict.reasons[0].split()
        assert [concern.words for concern in verdict.concerns] == list(verdict.reasons)


@pytest.mark.parametrize(("floor", "expected"), [(6.0, Outcome.ACCEPTED), (6.01, Outcome.DOUBTFUL)])
def test_noise_that_reaches_the_limit_of_the_spread(floor, expected):
    assert judge(Shaft(spread_floor_thou=floor), bands(limits={"spread_max_thou": 6.0})).outcome is expected
    assert judge(Shaft(spread_floor_thou=floor), bands()).outcome is Outcome.ACCEPTED


def test_an_uncertainty_of_nothing_is_possible_and_a_negative_one_is_not():
    assert judge(Shaft(u_spine_thou=0.0), bands()).outcome is Outcome.ACCEPTED
    assert judge(Shaft(u_spine_thou=-1e-9), bands()).outcome is Outcome.INSTRUMENT_FAULT


def test_a_run_without_a_result_is_judged_by_its_reasons():
    assert judge(Unmeasured(1, "", ("too few readings",)), bands()) == Decision(Outcome.DOUBTFUL, ("too few readings",))
    assert judge(Unmeasured(1, "", ("CELL_STUCK",)), bands()).outcome is Outcome.INSTRUMENT_FAULT
    assert judge(Shaft(), bands()) == judge(Shaft(), bands())


# One comparison

EFFECTS = {
    # beyond a limit in multiples of U: effect by rule; None where nothing is to be said
    -1.5: dict.fromkeys(RULES),
    -0.5: {"guarded both ways": "DOUBT", "guarded acceptance": "AGAINST", "guarded rejection": "REMARK",
           "simple": "REMARK"},
    0.5: {"guarded both ways": "DOUBT", "guarded acceptance": "AGAINST", "guarded rejection": "REMARK",
          "simple": "AGAINST"},
    1.5: dict.fromkeys(RULES, "AGAINST"),
}  # fmt: skip


@pytest.mark.parametrize("kind", RULES)
@pytest.mark.parametrize("beyond", EFFECTS)
def test_the_effect_of_a_comparison_by_every_rule(kind, beyond):
    u = 0.4
    compare = Comparison("spread", 5.0 + beyond * u, u, "thou", DecisionRule(kind=kind))
    effects = [finding.effect.name for finding in compare.with_limit(5.0, beyond * u)]
    assert effects == [effect for effect in [EFFECTS[beyond][kind]] if effect]


@pytest.mark.parametrize(
    ("kind", "beyond", "inside_a_band", "in_no_band"),
    # Exactly at the end of a guard band: accepted with the end of a band, not of none; rejected only beyond it.
    [("guarded both ways", -0.4, [], ["DOUBT"]), ("guarded both ways", 0.4, ["DOUBT"], ["DOUBT"]),
     ("simple", 0.0, ["REMARK"], ["AGAINST"]), ("guarded rejection", 0.4, ["REMARK"], ["AGAINST"]),
     ("guarded acceptance", -0.4, [], ["AGAINST"])],
)  # fmt: skip
def test_exactly_on_the_end_of_a_guard_band(kind, beyond, inside_a_band, in_no_band):
    compare = Comparison("spine", 500.0, 0.4, "thou", DecisionRule(kind=kind))
    for outside, expected in ((False, inside_a_band), (True, in_no_band)):
        found = compare.with_limit(500.0, beyond, outside_bands=outside)
        assert [finding.effect.name for finding in found] == expected


def test_a_value_that_would_be_rounded_to_its_limit_gets_one_more_place():
    compare = Comparison("spine", 500.004, 0.01, "thou", DecisionRule())
    (finding,) = compare.with_limit(500.0, 0.004)
    assert finding.effect is LimitEffect.DOUBT
    assert numbers(finding.sentence) == [500.004, 500.0]


def test_a_value_inside_but_not_enough_names_what_the_rule_asks_for():
    compare = Comparison("spine", 499.8, 0.4, "thou", DecisionRule(kind="guarded acceptance", guard=1.5))
    (finding,) = compare.with_limit(500.0, -0.2)
    assert numbers(finding.sentence) == pytest.approx([499.8, 500.0, 0.6])
    (at_the_limit,) = replace(compare, value=500.0).with_limit(500.0, 0.0)
    assert numbers(at_the_limit.sentence) == pytest.approx([500.0, 500.0, 0.6])


@pytest.mark.parametrize(("value", "word"), [(500.2, "above"), (499.8, "below")])
def test_the_side_of_a_limit_is_that_of_the_value(value, word):
    compare = Comparison("spine", value, 0.1, "thou", DecisionRule())
    (finding,) = compare.with_limit(500.0, 0.2, outside_bands=True)
    assert word in finding.sentence.split()
    passing = Comparison("spine", value, 0.3, "thou", DecisionRule(kind="guarded rejection"))
    (finding,) = passing.with_limit(500.0, 0.2)
    assert word in finding.sentence.split()


def test_margins_of_every_rule():
    assert DecisionRule().margins == (1.0, 1.0)
    for kind, signs in RULES.items():
        rule = DecisionRule(kind=kind) if kind == "simple" else DecisionRule(kind=kind, guard=1.25)
        assert rule.margins == tuple(1.25 * sign for sign in signs)
        assert rule.leaves_doubt is (kind == "guarded both ways")


def test_an_infinite_value_has_no_side_of_a_limit_that_passes():
    compare = Comparison("spread", math.inf, 0.1, "thou", DecisionRule())
    (finding,) = compare.with_limit(5.0, math.inf)
    assert finding.effect is LimitEffect.AGAINST


@pytest.mark.parametrize(("value", "word"), [(None, "missing:"), (math.nan, "nan:"), (math.inf, "inf:")])
def test_a_number_that_is_none_is_said_to_be_missing_or_what_it_is(value, word):
    verdict = judge(replace(Shaft(), spread_thou=value), bands())
    assert verdict.reasons[0].split()[:3] == ["spread_thou", "is", word]


@pytest.mark.parametrize(("guard", "expected"), [(0.5, Outcome.REJECTED), (1.0, Outcome.DOUBTFUL)])
def test_only_a_band_within_the_guard_may_still_have_the_shaft(guard, expected):
    # 0.4 thou beyond a band that its spread forbids, 1.6 short of one that allows it; U is 2.
    two = Bands.model_validate(
        {
            "rule": {"guard": guard},
            "bin": [
                {"name": "even", "spine_thou": [470.0, 480.0], "spread_max_thou": 3.0},
                {"name": "any", "spine_thou": [482.0, 490.0]},
            ],
        }
    )
    assert judge(Shaft(spine_thou=480.4, u_spine_thou=1.0, spread_thou=9.0), two).outcome is expected


@pytest.mark.parametrize("u_thou", [0.0, 0.5])
@pytest.mark.parametrize(
    ("kind", "expected"),
    [("guarded both ways", Outcome.DOUBTFUL), ("guarded acceptance", Outcome.REJECTED),
     ("guarded rejection", Outcome.ACCEPTED), ("simple", Outcome.REJECTED)],
)  # fmt: skip
def test_a_spine_on_the_high_end_of_the_last_band_lies_in_none(kind, expected, u_thou):
    # Without any uncertainty a guard band has no width, and the end itself is not part of the band.
    if u_thou == 0.0 and kind == "guarded rejection":
        expected = Outcome.REJECTED
    assert judge(Shaft(spine_thou=550.0, u_spine_thou=u_thou), bands(kind)).outcome is expected


@pytest.mark.parametrize("spine", [439.0, 551.0, 491.0, 509.0])
def test_a_spine_beyond_a_band_by_exactly_the_guard_band_is_doubtful(spine):
    verdict = judge(Shaft(spine_thou=spine), bands())
    assert (verdict.outcome, len(verdict.reasons)) == (Outcome.DOUBTFUL, 1)


def test_a_value_exactly_at_an_upper_limit_is_within_u_of_it():
    at = Shaft(spread_thou=6.0)
    verdict = judge(at, bands("guarded rejection", limits={"spread_max_thou": 6.0}))
    assert verdict.outcome is Outcome.ACCEPTED
    assert numbers(verdict.reasons[0]) == pytest.approx([6.0, 6.0])


@pytest.mark.parametrize("spine", [500.0, 510.0])
def test_the_example_s_bins_allow_a_spread_of_6_thou_at_a_factor_of_2(spine):
    found = [judge(Shaft(spine_thou=spine, spread_thou=spread), Bands.model_validate(EXAMPLE)).outcome
             for spread in (5.89, 5.91, 6.09, 6.11)]  # fmt: skip
    assert found == [Outcome.ACCEPTED, Outcome.DOUBTFUL, Outcome.DOUBTFUL, Outcome.REJECTED]
