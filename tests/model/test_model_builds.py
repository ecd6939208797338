"""Each build as a whole: nothing in it overlaps, comes loose, cannot be made or stands in a shaft's way."""

import pytest
from frame.dimensions import Frame
from model.checks.ways import by_hand_findings, carried_back_findings, fed_findings
from model.checks.whole import BUILDS, findings

FRAME = Frame.load()


@pytest.mark.parametrize("name", BUILDS)
def test_nothing_is_wrong_with_a_build(name):
    assert [str(finding) for finding in findings(BUILDS[name]())] == []


@pytest.mark.parametrize("span", [FRAME.support.span, FRAME.support.short_span])
def test_shafts_of_all_sizes_can_be_laid_in_by_hand(span):
    assert [str(finding) for finding in by_hand_findings(FRAME, span)] == []


@pytest.mark.parametrize("span", [FRAME.support.span, FRAME.support.short_span])
def test_shafts_of_all_sizes_are_fed_and_taken_out(span):
    assert [str(finding) for finding in fed_findings(FRAME, span)] == []


def test_the_check_standard_is_carried_back():
    assert [str(finding) for finding in carried_back_findings(FRAME)] == []
