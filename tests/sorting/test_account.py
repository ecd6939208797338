"""An account of a run: every shaft once, the same numbers on terminal, page, report and in notices."""

import re
from collections import Counter

from hypothesis import given
from hypothesis import strategies as st
from midspan.sorting.account import account_of
from midspan.store.transit import Transit, TransitStage, WayStep
from night_rig import plan_with

PLACES = (1, 2, 3, 4)
ways = st.builds(
    dict,
    stage=st.sampled_from(sorted(TransitStage)),
    place=st.sampled_from(PLACES),
    passed=st.integers(0, 3),
    two_lay_there=st.booleans(),
    standard=st.sampled_from([None, None, "bar 7"]),
    measured=st.booleans(),
)


def transit_of(shaft, way):
    """Return a shaft with the steps that lead to a stage."""
    steps = [WayStep(TransitStage.IN_GAUGE, 1, words="TWO_SHAFTS" if way["two_lay_there"] else None)]
    if way["measured"]:
        steps.append(WayStep(TransitStage.JUDGED, 2, result=shaft))
    if way["stage"] is TransitStage.IN_GAUGE:
        return Transit(shaft, 1, "HOPPER", way["standard"], 0, tuple(steps))
    seen = way["passed"] if way["stage"] is TransitStage.IN_BIN else None
    steps.append(WayStep(way["stage"], 3, place=way["place"], passed=seen))
    return Transit(shaft, 1, "HOPPER", way["standard"], 0, tuple(steps))


@given(st.lists(ways, max_size=30))
def test_every_shaft_counts_once_and_the_line_adds_up(ways):
    transits = [transit_of(shaft, way) for shaft, way in enumerate(ways, 1)]
    account = account_of(transits, {shaft for shaft, way in enumerate(ways, 1) if way["measured"]})
    lay = Counter()  # counted here on its own: one way, one shaft, unless the chute or the rollers saw more
    for way in ways:
        if way["standard"] is None and way["stage"] is not TransitStage.NO_SHAFT:
            seen = way["passed"] if way["stage"] is TransitStage.IN_BIN else 0
            lay[way["stage"]] += max(seen, 2 if way["two_lay_there"] else 1)
    assert account.shafts == lay.total()
    assert account.taken_out == lay[TransitStage.TAKEN_OUT]
    assert account.uncertain.total() == lay[TransitStage.UNCERTAIN]
    assert account.confirmed.total() == lay[TransitStage.IN_BIN]
    assert account.measured + account.unmeasured == account.done + account.in_gauge == account.shafts
    where, *measured = account.words(plan_with()).split(". ")
    numbers = [int(number) for number in re.findall(r"(?<!plan )\b\d+", where)]
    assert numbers[0] == sum(numbers[1:])
    if account.shafts:
        told = [int(number) for number in re.findall(r"\d+", measured[0])]
        assert sum(told) in (0, account.shafts)  # 0 where all or none were measured
