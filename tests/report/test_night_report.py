"""The report of a run: what it counts, what it asks for, and that it is one harmless, legible page."""

import copy
import re
import xml.etree.ElementTree as ElementTree
from datetime import UTC, datetime, timedelta, timezone

import pytest
from commands_rig import midspan, refusal
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError, OutputError, StoreError
from midspan.base.formatting import ranges
from midspan.decision.decision import Decision, Outcome
from midspan.report.night_data import read_night
from midspan.report.night_html import page, write_report
from midspan.report.night_lists import MOST_ROWS, turned_away
from midspan.report.night_plots import SLOTS, gauge_chart
from midspan.report.night_statistics import pace, places, suspects
from midspan.report.night_text import end_of, headline, story, todos
from midspan.store.evaluation import Evaluation
from midspan.store.journal import Journal
from midspan.store.transit import RunEventKind, TransitStage, WayStep
from night_on_paper import BANDS, CRACKED, EVENING_MS, PLAN, SHAFT_MS, paper_night, quiet_night, rough_night
from results import told
from screens import PageText, screen
from stores import run_of, store_in

pytestmark = pytest.mark.slow

FITS = (497.0, Decision(Outcome.ACCEPTED, (), "stiffer dozen"), 1)
HOSTILE = "<script>alert(1)</script>\"'&amp;$x^2$_</svg>細\x07"


def record_of(place):
    """Return the record of the newest run of a store."""
    with place.open() as store:
        return read_night(store, None)


def night_with(place, make, **also):
    """Return the record of a run in which `make` did what a test is about, and which then ended."""
    with paper_night(place, **also) as night:
        night.check()
        make(night)
        if not any(event.kind is RunEventKind.STOPPED for event in night.journal.events(night.number)):
            night.happened(RunEventKind.ENDED, "the hopper is empty")
    return record_of(place)


def html_of(record, zone=UTC):
    """Return the page of a run, by default with times in UTC."""
    return page(record, zone).html


def said(record):
    """Return the words of the page of a run."""
    return PageText(html_of(record)).text


@pytest.fixture(scope="module")
def rough(tmp_path_factory):
    return record_of(rough_night(store_in(tmp_path_factory.mktemp("rough"))))


@pytest.fixture(scope="module")
def rough_page(rough):
    return html_of(rough)


# What it counts


def test_every_shaft_of_the_stock_is_counted_once(rough):
    """Compare with the journal's own steps, counted here in another way."""
    ends = [transit for transit in rough.transits if transit.standard is None and transit.steps]
    fell = {}
    for transit in ends:
        fell.setdefault((transit.stage, transit.steps[-1].place), []).append(transit.shaft)
    for place in places(rough):
        stock = [transit.shaft for transit in place.here if transit.standard is None]
        assert stock == fell.get((TransitStage.IN_BIN, place.number), [])
        assert [transit.shaft for transit in place.unsure] == fell.get((TransitStage.UNCERTAIN, place.number), [])
        fed = [transit for transit in (*place.here, *place.unsure) if transit.standard is None]
        assert place.sent == sum(max(1, transit.steps[-1].passed or 0) for transit in fed)
    said = next(sentence for sentence in story(rough, UTC) if "shafts:" in sentence)
    whole, parts = said.split(". ")[0].split(": ")
    along = sum(max(0, (transit.steps[-1].passed or 0) - 1) for transit in ends)
    assert int(whole.split()[0]) == sum(int(part.split()[0]) for part in parts.split(", ")) == len(ends) + along
    assert sum(int(number) for number in re.findall(r"\d+", said.split(". ")[1])) == len(ends) + along


def test_means_are_those_of_the_shafts_that_fell_there(rough):
    for place in places(rough):
        spines = [
            rough.measured[transit.result].spine_thou
            for transit in place.here
            if transit.result and rough.measured[transit.result].spine_thou
        ]
        if place.is_bin:
            assert place.mean_thou == pytest.approx(sum(spines) / len(spines))


def test_the_page_tells_the_night(rough_page, snapshot):
    assert screen(PageText(rough_page).text) == snapshot


def test_times_are_those_of_the_zone(rough):
    hour_later = timezone(timedelta(hours=1))
    begun = datetime.fromtimestamp(rough.night.begun_ms / 1000, UTC)
    for zone in (UTC, hour_later):
        assert f"{begun.astimezone(zone):%H:%M}" in PageText(html_of(rough, zone)).lines[1]


def test_the_pace_is_counted_without_the_pause(store_place):
    def make(night):
        for _ in range(10):
            night.ordinary_shaft()
        night.at_ms += 3_600_000 - SHAFT_MS
        night.ordinary_shaft()

    found = pace(night_with(store_place, make))
    assert (found.shafts, found.usual_s) == (11, SHAFT_MS / 1000)
    assert found.pauses == ((EVENING_MS + 11 * SHAFT_MS, EVENING_MS + 11 * SHAFT_MS + 3_600_000),)
    assert found.per_hour == pytest.approx(11 / (1 + 11 * SHAFT_MS / 3.6e6))


def test_what_a_shaft_was_judged_by_stays_when_its_readings_are_evaluated_again(store_place):
    quiet_night(store_place, 5)
    before = html_of(record_of(store_place))
    with store_place.open() as store:
        record = read_night(store, None)
        shaft = record.stock[0].shaft
        run = run_of(shaft, archive="readings.avro", at_ms=EVENING_MS + SHAFT_MS)
        store.add(record.night.batch, run, Evaluation(told(spine_thou=600.0, u_spine_thou=0.1), FITS[1], 9))
    assert html_of(record_of(store_place)) == before


@given(st.lists(st.integers(0, 60)))
def test_ranges_name_every_number_once(numbers):
    named = []
    for part in filter(None, ranges(numbers).split(", ")):
        ends = [int(end) for end in part.split(" to ")]
        named += range(ends[0], ends[-1] + 1)
    assert named == sorted(set(numbers))


# What it asks for


def test_a_quiet_night_asks_for_nothing(store_place, snapshot):
    record = night_with(store_place, lambda night: [night.sorted_shaft(*FITS) for _ in range(3)])
    assert todos(record, places(record), UTC) == []
    assert screen(said(record)) == snapshot


def lay_on_the_rollers(night):
    night.judged(night.fed(), 500.0, FITS[1])


def was_ordered(night):
    night.journal.order(night.number, "HOPPER", None, night.at_ms)


def was_leaving(night):
    shaft = night.fed()
    night.judged(shaft, 500.0, FITS[1])
    night.journal.note(shaft, WayStep(TransitStage.LEAVING, night.at_ms, place=2))


def was_taken_out(night):
    night.journal.note(night.fed(), WayStep(TransitStage.TAKEN_OUT, night.at_ms, words="it is not in the gauge"))


def filled(night):
    last = [night.sorted_shaft(501.0, CRACKED, 5) for _ in range(20)][-1]
    night.happened(RunEventKind.EMPTIED, "emptied", place=5, shaft=last)
    for _ in range(50):
        night.sorted_shaft(501.0, CRACKED, 5)


def happens(kind, words, **also):
    return lambda night: night.happened(kind, words, **also)


def one_shaft(spine_thou, decision, place, passed=1):
    return lambda night: night.sorted_shaft(spine_thou, decision, place, passed)


def suspects_in_two_places(night):
    before = night.sorted_shaft(*FITS)
    since = [night.sorted_shaft(*FITS), night.sorted_shaft(501.0, FITS[1], 2), night.sorted_shaft(*FITS)]
    night.check(1.5, suspects=[*since])
    night.sorted_shaft(501.0, FITS[1], 2)
    assert before not in since


DOUBTED = Decision(Outcome.DOUBTFUL, ("it scatters",))
CASES = {
    "shaft on the rollers": lay_on_the_rollers,
    "shaft ordered": was_ordered,
    "shaft leaving": was_leaving,
    "shaft taken out": was_taken_out,
    "stopped": happens(RunEventKind.STOPPED, "the disk is full"),
    "cracked": one_shaft(500.0, FITS[1], 5),
    "not seen to pass": one_shaft(*FITS, passed=0),
    "two passed": one_shaft(*FITS, passed=2),
    "doubted": one_shaft(500.0, DOUBTED, 3),
    "standard read wrong": lambda night: night.check(1.5),
    "suspects": suspects_in_two_places,
    "alarm": happens(RunEventKind.ALARM, "it hums", code="CELL_NOISY"),
    "place full": filled,
    "clock set": happens(RunEventKind.CLOCK, "it went back an hour"),
    "notice lost": happens(RunEventKind.NOTICE, "webhook 1: not delivered"),
}


def test_what_happened_is_asked_for(tmp_path, snapshot):
    """Each case asks for something, the page says it, and the words of all cases are kept in one snapshot."""
    asked = {}
    for name, make in CASES.items():
        record = night_with(store_in(tmp_path, f"{name}.db"), make)
        text = said(record)
        found = todos(record, places(record), UTC)
        assert found, name
        assert all(todo.what in text and todo.how in text for todo in found), name
        asked[name] = [f"{todo.what} {todo.how}" for todo in found]
    assert asked == snapshot


def test_suspects_are_named_by_place_and_by_how_they_fell(store_place):
    record = night_with(store_place, suspects_in_two_places)
    last_two, among_others = suspects(record, places(record))
    assert (len(last_two.numbers), last_two.all_last) == (2, True)
    assert (len(among_others.numbers), among_others.all_last) == (1, False)


def test_without_an_end_in_the_journal_the_report_says_so(store_place, snapshot):
    with paper_night(store_place) as night:
        night.sorted_shaft(*FITS)
    record = record_of(store_place)
    assert end_of(record) is None
    assert [headline(record), *story(record, UTC)] == snapshot


# Odd nights


def nothing(_):
    """No shaft comes."""


def measured_none(night):
    for _ in range(3):
        shaft = night.fed()
        night.judged(shaft, None, Decision(Outcome.DOUBTFUL, ("NO_CONTACT: the head met no shaft",)))
        night.left(shaft, 3)


def far_off(night):
    night.sorted_shaft(340.0, Decision(Outcome.REJECTED, ("spine 340.00 thou is below 493",)), 4)


def clock_went_back(night):
    night.sorted_shaft(*FITS)
    night.at_ms -= 3 * 3_600_000
    night.sorted_shaft(*FITS)


def went_elsewhere(night):
    night.sorted_shaft(497.0, FITS[1], 9)


@pytest.mark.parametrize("make", [nothing, measured_none, far_off, clock_went_back, went_elsewhere])
@pytest.mark.parametrize("bands", [BANDS, None], ids=["bands", "no bands"])
def test_an_odd_night_has_its_page(store_place, make, bands):
    record = night_with(store_place, make, bands=bands)
    text = said(record)
    assert not re.search(r"\b(nan|None)\b(?! is|\.)", text)


def test_a_night_longer_than_a_day_has_its_page(store_place):
    def make(night):
        for _ in range(60):
            night.ordinary_shaft()
            night.at_ms += 3_600_000

    record = night_with(store_place, make)
    found = pace(record)
    assert found.shafts == 60
    assert found.hours == pytest.approx(60 + 61 * SHAFT_MS / 3.6e6)  # the check standard is the 61st
    assert f"{found.hours:.1f} hours" in said(record)


def test_long_lists_are_cut_and_say_by_how_much(store_place):
    def make(night):
        for i in range(MOST_ROWS + 7):
            night.sorted_shaft(490.0, Decision(Outcome.REJECTED, (f"reason {i}",)), 4)

    record = night_with(store_place, make)
    assert turned_away(record, UTC).left == 7
    text = said(record)
    assert "7 more" in text
    assert f"reason {MOST_ROWS - 1}" in text
    assert f"reason {MOST_ROWS}" not in text


# One harmless, legible page


def hostile_night(place):
    plan, bands = copy.deepcopy(PLAN), copy.deepcopy(BANDS)
    name = HOSTILE[-32:]
    plan["gauge"]["name"] = plan["standard"][0]["name"] = name
    bands["bin"][0]["name"] = plan["place"][0]["bin"] = name
    plan["notices"] = {"webhook": ["https://shop.example/hunter2"]}
    with paper_night(place, plan=plan, bands=bands) as night:
        for _ in range(3):
            night.ordinary_shaft()
        night.sorted_shaft(490.0, Decision(Outcome.REJECTED, (HOSTILE,)), 4)
        night.happened(RunEventKind.FAULT, HOSTILE, code=HOSTILE)
        night.happened(RunEventKind.ALARM, HOSTILE, code=HOSTILE)
        night.happened(RunEventKind.STOPPED, HOSTILE)
    return record_of(place)


def test_nothing_that_people_wrote_becomes_markup(store_place):
    html = html_of(hostile_night(store_place))
    reader = PageText(html)
    assert "script" not in {tag for tag, _ in reader.elements}
    assert HOSTILE[:-1] + "?" in reader.text  # as it was written, but for the bell
    assert "\x07" not in html
    assert "hunter2" not in html
    assert not any(name.startswith("on") for _, attributes in reader.elements for name in attributes)


def test_the_page_needs_nothing_else(rough_page):
    reader = PageText(rough_page)
    assert not {"script", "link", "img", "iframe", "object", "image"} & {tag for tag, _ in reader.elements}
    for _, attributes in reader.elements:
        for name in ("href", "xlink:href", "src"):
            assert attributes.get(name, "#").startswith("#")
    assert "@import" not in rough_page
    assert not re.findall(r"url\((?!#|&quot;#)", rough_page)
    assert rough_page.startswith("<!doctype html>") or rough_page.lstrip().startswith("<!doctype html>")


def test_the_pictures_are_sound_and_take_their_colours_from_the_page(rough_page):
    pictures = re.findall(r"<svg.*?</svg>", rough_page, re.DOTALL)
    assert len(pictures) == 4
    for picture in pictures:
        root = ElementTree.fromstring(picture.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))
        assert root.get("role") == "img"
        assert len(root.get("aria-label")) > 10
        assert not re.findall(r"#[0-9a-f]{6}\b", picture.replace('href="#', ""))
    assert "<metadata" not in rough_page


@pytest.mark.parametrize("number", [40, 700])
def test_every_time_of_the_night_is_drawn(store_place, number):
    """Each panel of the gauge's picture has a stroke for every shaft, or for every slot of a long run."""
    record = record_of(quiet_night(store_place, number))
    panels = re.findall(r'<path d="([^"]*)"[^>]*stroke-width: 2', gauge_chart(record, UTC))
    strokes = [panel.count("M ") for panel in panels]
    assert len(strokes) == 4
    assert all(min(number, SLOTS - 1) < count <= SLOTS for count in strokes)


def test_the_same_night_gives_the_same_page(rough, rough_page):
    assert html_of(rough) == rough_page


def luminance(colour):
    """Return the relative luminance of #rrggbb or #rgb (WCAG 2.2, definition of relative luminance)."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(ink, ground):
    """Return the contrast ratio of two colours (WCAG 2.2)."""
    light, dark = sorted((luminance(ink), luminance(ground)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_text_and_pictures_have_contrast_in_light_dark_and_print(rough_page):
    """Contrast is at least 4.5 for text and 3 for what a picture is read by (WCAG 2.2, 1.4.3 and 1.4.11)."""
    themes = [dict(re.findall(r"--(\w+): (#\w+)", block)) for block in re.findall(r":root \{(.*?)\}", rough_page)]
    assert len(themes) == 3
    for theme in themes:
        for ground in (theme["paper"], theme["card"]):
            assert contrast(theme["ink"], ground) >= 4.5
            assert contrast(theme["quiet"], ground) >= 4.5
        assert contrast(theme["ink"], theme["shade"]) >= 3  # the outline of a bar on the bar


# The command


def write_and_read(place, path):
    """Write the report of the newest run with the times of this computer, and return the page."""
    write_report(place, None, path)
    return path.read_text(encoding="utf-8")


def test_the_command_writes_the_newest_night(tmp_path, store_place):
    quiet_night(store_place, 4)
    done = midspan("report", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "night-1.html").read_text(encoding="utf-8") == write_and_read(store_place, tmp_path / "b.html")
    assert midspan("report", "1", "--out", "a.html", folder=tmp_path).returncode == 0
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "night-1.html").read_bytes()


def test_two_nights_are_told_apart(tmp_path, store_place):
    quiet_night(store_place, 2)
    quiet_night(store_place, 3)
    first, _ = write_report(store_place, 1, tmp_path / "1.html", UTC)
    second, _ = write_report(store_place, None, tmp_path / "2.html", UTC)
    assert "2 shafts:" in first.read_text()
    assert "3 shafts:" in second.read_text()


def test_what_cannot_be_reported_is_said_in_a_line(tmp_path, store_place):
    def refused(*words):
        return refusal(midspan("report", *words, folder=tmp_path), StoreError)

    nothing = refusal(midspan("report", folder=tmp_path), ConfigurationError)  # no such file yet, and no workspace
    assert nothing.code == "no_workspace"
    store_place.open().close()
    assert refused().code == "no_night"
    quiet_night(store_place, 2)
    assert refused("7").code == "unknown_night"
    unwritten = refusal(midspan("report", "--out", "no/such/folder.html", folder=tmp_path), OutputError)
    assert "no/such/folder.html" in str(unwritten)
    with store_place.open() as store:
        Journal(store).begin_night("attic", '{"strange": 1}', 0)
    assert refused().code == "unknown_plan"
