"""A computer's clock that steps by years in a night: report and page stay small, and run along the shafts."""

import re
from datetime import UTC

import pytest
from midspan.report.night_data import read_night
from midspan.report.night_html import page
from midspan.report.night_plots import check_chart, gauge_chart, pace_chart
from midspan.report.night_statistics import keeps_time, pace
from midspan.web.follow import Clock
from midspan.web.view_night import doing, pace_words
from night_on_paper import SHAFT_MS, paper_night

pytestmark = pytest.mark.slow

YEAR_MS = 31_557_600_000
DAY_MS = 86_400_000
SHAFTS = 80
CHARTS = [check_chart, gauge_chart, pace_chart]


def night_with_step(place, step_ms):
    """A night in which the clock is set after half of the shafts; it goes on."""
    with paper_night(place) as night:
        night.check(0.05)
        for i in range(SHAFTS):
            night.at_ms += step_ms if i == SHAFTS // 2 else 0
            night.ordinary_shaft()
        night.check(-0.1)
    with place.open() as store:
        return read_night(store, None)


def words_in(picture):
    return re.findall(r"<text[^>]*>([^<]*)</text>", picture)


@pytest.mark.parametrize("years", [-50, -1, 1, 10])
def test_a_clock_that_steps_by_years_leaves_the_report_small_and_its_axes_to_the_shafts(store_place, years):
    record = night_with_step(store_place, years * YEAR_MS)
    assert not keeps_time(record)
    assert len(page(record, UTC).html) < 200_000  # half of it is the page's own; a column for each hour makes millions
    numbers = {str(transit.shaft) for transit in record.transits}
    for chart in CHARTS:
        words = words_in(chart(record, UTC))
        assert "shaft" in words
        assert not [word for word in words if re.fullmatch(r"\d\d:\d\d", word)]
        assert len(numbers & set(words)) >= 4
    assert pace(record).usual_s == SHAFT_MS / 1000


@pytest.mark.parametrize("step_ms", [0, 30_000, DAY_MS, 3 * DAY_MS])
def test_a_pause_of_days_is_no_step_of_the_clock(store_place, step_ms):
    record = night_with_step(store_place, step_ms)
    assert keeps_time(record)
    for chart in CHARTS:
        assert [word for word in words_in(chart(record, UTC)) if re.fullmatch(r"\d\d:\d\d", word)]


@pytest.mark.parametrize("years", [-10, 0, 10])
def test_rate_and_time_left_on_the_page_do_not_count_the_step(store_place, years):
    record = night_with_step(store_place, years * YEAR_MS)
    assert pace_words(record) == f"{3_600_000 / SHAFT_MS:.0f} an hour"


@pytest.mark.parametrize("years", [-10, 0, 10])
def test_the_page_sees_that_nothing_is_noted_any_more_whatever_the_clock_did(store_place, years):
    record = night_with_step(store_place, years * YEAR_MS)
    last_ms = record.transits[-1].steps[-1].at_ms
    assert doing(record, None, Clock(lambda: last_ms + 60_000, UTC))[1] == ""
    assert " 60 min" in doing(record, None, Clock(lambda: last_ms + 3_600_000, UTC))[1]


def test_how_long_each_shaft_took_is_drawn_without_the_step(store_place):
    picture = pace_chart(night_with_step(store_place, -YEAR_MS), UTC)
    (path,) = re.findall(r'<path d="([^"]*)"[^>]*stroke-width: 2', picture)
    heights = [float(y) for y in re.findall(r"[ML] \S+ (\S+)", path)]
    strokes = [abs(top - bottom) for bottom, top in zip(heights[::2], heights[1::2], strict=True)]
    assert len(strokes) == SHAFTS - 2  # between the shafts, but for the two with the step between them
    assert min(strokes) > 1  # point
