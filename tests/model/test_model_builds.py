"""Each build as a whole: nothing in it overlaps, comes loose, cannot be made or stands in a shaft's way."""

import pytest
from frame.dimensions import Frame
from model.checks.ways import by_hand_findings
from model.checks.whole import BUILDS, findings

FRAME = Frame.load()


@pytest.mark.parametrize("name", BUILDS)
def test_nothing_is_wrong_with_a_build(name):
    assert [str(finding) for finding in findings(BUILDS[name]())] == []


@pytest.mark.parametrize("span", [FRAME.support.span, FRAME.support.short_span])
def test_shafts_of_all_sizes_can_be_laid_in_by_hand(span):
    assert [str(finding) for finding in by_hand_findings(FRAME, span)] == []
