"""The morning report: what it counts, what it asks for, and that it is one harmless, legible page."""

import copy
import re
import xml.etree.ElementTree as ElementTree
from datetime import UTC, timedelta, timezone
from html.parser import HTMLParser

import pytest
from commands_rig import complaint, midspan
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.formatting import ranges
from midspan.decision.decision import Decision, Outcome
from midspan.report.night_data import read_night
from midspan.report.night_html import page, write_report
from midspan.report.night_lists import MOST_ROWS
from midspan.report.night_plots import SLOTS, gauge_chart
from midspan.report.night_statistics import pace, places
from midspan.report.night_text import headline, story, todos
from midspan.store.evaluation import Evaluation
from midspan.store.journal import Journal
from midspan.store.transit import RunEventKind, Step, TransitStage
from night_on_paper import BANDS, CRACKED, EVENING_MS, PLAN, SHAFT_MS, paper_night, quiet_night, rough_night
from results import told
from stores import run_of, store_in

FITS = (497.0, Decision(Outcome.ACCEPTED, (), "stiffer dozen"), 1)
HOSTILE = "<script>alert(1)</script>\"'&amp;$x^2$_</svg>細\x07"
VOID = {"meta", "br", "link", "img", "input"}


class Reader(HTMLParser):
    """Elements, attributes and text of a page; fails when an element is not closed where it should be."""

    def __init__(self, html):
        super().__init__()
        self.open, self.elements, self.text, self.cells = [], [], "", []
        self.feed(html)
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))
        if tag in ("td", "th"):
            self.cells.append("")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open and "svg" not in self.open:
            self.text += data
            if self.cells and self.open[-1:] != ["tr"]:
                self.cells[-1] += data


def record_of(place):
    with place.open() as store:
        return read_night(store, None)


def night_with(place, make, **also):
    """The record of a night in which `make` did what a test is about, then it ended."""
    with paper_night(place, **also) as night:
        night.check()
        make(night)
        if not any(one.kind is RunEventKind.STOPPED for one in night.journal.events(night.number)):
            night.happened(RunEventKind.ENDED, "the hopper is empty")
    return record_of(place)


def html_of(record, zone=UTC):
    return page(record, zone).html


def said(record):
    """The text of the page without its markup, in one line."""
    return " ".join(Reader(html_of(record)).text.split())


@pytest.fixture(scope="module")
def rough(tmp_path_factory):
    return record_of(rough_night(store_in(tmp_path_factory.mktemp("rough"))))


@pytest.fixture(scope="module")
def rough_page(rough):
    return html_of(rough)


# What it counts


def test_every_shaft_of_the_stock_is_counted_once(rough):
    """Against the journal's own steps, counted here in another way."""
    ends = [one for one in rough.transits if one.standard is None and one.steps]
    fell = {}
    for one in ends:
        fell.setdefault((one.stage, one.steps[-1].place), []).append(one.shaft)
    for place in places(rough):
        stock = [one.shaft for one in place.here if one.standard is None]
        assert stock == fell.get((TransitStage.IN_BIN, place.number), [])
        assert [one.shaft for one in place.unsure] == fell.get((TransitStage.UNCERTAIN, place.number), [])
        assert place.fell == sum(one.steps[-1].passed for one in rough.transits if one in place.here)
    numbers = list(
        map(
            int,
            re.findall(
                r"\b(\d+) (?:shafts\.|lie in|were turned|may be|wait to)", " ".join(story(rough, places(rough), UTC))
            ),
        )
    )
    taken_in, *lie = numbers
    uncertain, in_gauge = 1, 1
    assert taken_in == sum(lie) + uncertain + in_gauge == len(ends)


def test_means_are_those_of_the_shafts_that_fell_there(rough):
    for place in places(rough):
        spines = [
            rough.measured[one.result].spine_thou
            for one in place.here
            if one.result and rough.measured[one.result].spine_thou
        ]
        if place.is_bin:
            assert place.mean_thou == pytest.approx(sum(spines) / len(spines))


def test_the_page_tells_the_night(rough, rough_page):
    text = " ".join(Reader(rough_page).text.split())
    assert "Night 1 on gauge attic · Tue 24 Nov 2026, 20:04 to 23:08" in text
    assert "The night stopped. Ten things wait for you." in text
    (unsure,) = [place for place in places(rough) if place.unsure]
    assert f"place 1 (stiffer dozen) recount {len(unsure.here)} or {len(unsure.here) + 1} 1500" in text
    assert "right 6 times of 7" in text
    assert "TWO_SHAFTS: A second shaft lies above the one on the rollers." in text
    assert "1 more came along with another and was not measured." in text
    assert "and 1 more" in text
    assert "longest from 20:40 to 21:20" in text
    assert "calibration: attic-7" in text


def test_times_are_those_of_the_place(rough):
    assert "Tue 24 Nov 2026, 21:04 to Wed 25 Nov, 00:08" in html_of(rough, timezone(timedelta(hours=1)))


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


def test_a_quiet_night_asks_for_nothing(store_place):
    record = night_with(store_place, lambda night: [night.sorted_shaft(*FITS) for _ in range(3)])
    assert todos(record, places(record), UTC) == []
    text = said(record)
    assert "The night came to its end. Nothing waits for you." in text
    assert "3 lie in bins that they fit." in text
    assert "It ended because the hopper is empty." in text
    assert "To do now" not in text
    assert "Every shaft was measured." in text


def lay_on_the_rollers(night):
    night.judged(night.fed(), 500.0, FITS[1])


def was_ordered(night):
    night.journal.order(night.number, "HOPPER", None, night.at_ms)


def was_leaving(night):
    shaft = night.fed()
    night.judged(shaft, 500.0, FITS[1])
    night.journal.note(shaft, Step(TransitStage.LEAVING, night.at_ms, place=2))


def was_taken_out(night):
    night.journal.note(night.fed(), Step(TransitStage.TAKEN_OUT, night.at_ms, words="it is not in the gauge"))


def filled(night):
    last = [night.sorted_shaft(501.0, CRACKED, 5) for _ in range(20)][-1]
    night.happened(RunEventKind.EMPTIED, "emptied", place=5, shaft=last)
    for _ in range(50):
        night.sorted_shaft(501.0, CRACKED, 5)


def happens(kind, words, **also):
    return lambda night: night.happened(kind, words, **also)


def one_shaft(spine_thou, decision, place, passed=1):
    return lambda night: night.sorted_shaft(spine_thou, decision, place, passed)


DOUBTED = Decision(Outcome.DOUBTFUL, ("it scatters",))
CASES = [
    (lay_on_the_rollers, "is still in the gauge."),
    (was_ordered, "was to be fed last: look whether one lies in the gauge."),
    (was_leaving, "is in the gauge or in place 2 (softer dozen)."),
    (was_taken_out, "Put shaft 2 back into the hopper, if you know which they are."),
    (happens(RunEventKind.STOPPED, "the disk is full"), "See to what stopped the night at 20:04: the disk is full."),
    (
        one_shaft(500.0, FITS[1], 5),
        "Take 1 shaft out of place 5 (cracked): what lies there may be cracked and must not be",
    ),
    (one_shaft(*FITS, passed=0), "It is not sure of shaft 2: the chute did not see it pass."),
    (one_shaft(*FITS, passed=2), "With shaft 2 another one came along that was not measured."),
    (one_shaft(500.0, DOUBTED, 3), "Measure 1 shaft in place 3 (recheck) once more, or sort them by hand."),
    (lambda night: night.check(1.5), "Find out why check standard bar 7 read wrong at 20:04"),
    (
        happens(RunEventKind.ALARM, "it hums", code="CELL_NOISY"),
        "CELL_NOISY came once, first at 20:04. Look for vibration",
    ),
    (filled, "Empty place 5 (cracked). It is full: 50 of 50."),
    (happens(RunEventKind.CLOCK, "it went back an hour"), "Set the computer's clock"),
    (happens(RunEventKind.NOTICE, "webhook 1: not delivered"), "See to the notices: not all of them reached you."),
]


@pytest.mark.parametrize(("make", "asked"), CASES, ids=[asked[:24] for _, asked in CASES])
def test_what_happened_is_asked_for(store_place, make, asked):
    record = night_with(store_place, make)
    assert asked in " ".join(f"{todo.what} {todo.how}" for todo in todos(record, places(record), UTC))
    assert asked in said(record)


def test_suspects_are_named_by_place_and_by_how_they_fell(store_place):
    def make(night):
        before = night.sorted_shaft(*FITS)
        since = [night.sorted_shaft(*FITS), night.sorted_shaft(501.0, FITS[1], 2), night.sorted_shaft(*FITS)]
        night.check(1.5, suspects=[*since])
        night.sorted_shaft(501.0, FITS[1], 2)
        assert before not in since

    record = night_with(store_place, make)
    asked = next(todo for todo in todos(record, places(record), UTC) if "again" in todo.what)
    assert asked.what == "Measure 3 shafts again: the gauge was not to be trusted."
    assert "Place 1 (stiffer dozen): the last 2; place 2 (softer dozen): 1 of those there." in asked.how
    assert "Suspects: to be measured again" in said(record)


def test_without_an_end_in_the_journal_the_report_says_so(store_place):
    with paper_night(store_place) as night:
        night.sorted_shaft(*FITS)
    record = record_of(store_place)
    assert headline(record) == "The night has not come to its end"
    text = said(record)
    assert "The journal ends at 20:04 without saying why" in text
    assert "No check standard was measured" in text


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
    assert "nan" not in text.lower().split()
    assert "None " not in text.replace("None is in a place", "").replace("None.", "")


def test_a_night_longer_than_a_day_has_its_page(store_place):
    def make(night):
        for _ in range(60):
            night.ordinary_shaft()
            night.at_ms += 3_600_000

    assert "60 shafts in 60.4 hours" in said(night_with(store_place, make))


def test_long_lists_are_cut_and_say_by_how_much(store_place):
    def make(night):
        for i in range(MOST_ROWS + 7):
            night.sorted_shaft(490.0, Decision(Outcome.REJECTED, (f"reason {i}",)), 4)

    text = said(night_with(store_place, make))
    assert "7 more are not listed here; the journal has them all." in text
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
    reader = Reader(html)
    assert "script" not in {tag for tag, _ in reader.elements}
    assert HOSTILE[:-1] + "?" in reader.text  # as it was written, but for the bell
    assert "\x07" not in html
    assert "hunter2" not in html
    assert not any(name.startswith("on") for _, attributes in reader.elements for name in attributes)


def test_the_page_needs_nothing_else(rough_page):
    reader = Reader(rough_page)
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
    """Strokes in each panel of the gauge's picture: one for every shaft, or for every slot of a long night."""
    record = record_of(quiet_night(store_place, number))
    panels = re.findall(r'<path d="([^"]*)"[^>]*stroke-width: 2', gauge_chart(record, UTC))
    strokes = [panel.count("M ") for panel in panels]
    assert len(strokes) == 4
    assert all(min(number, SLOTS - 1) < one <= SLOTS for one in strokes)


def test_the_same_night_gives_the_same_page(rough, rough_page):
    assert html_of(rough) == rough_page


def luminance(colour):
    """Relative luminance of #rrggbb or #rgb (WCAG 2.2, definition of relative luminance)."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """Contrast ratio (WCAG 2.2)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_text_and_pictures_have_contrast_in_light_dark_and_print(rough_page):
    """4.5 for text and 3 for what a picture is read by (WCAG 2.2, 1.4.3 and 1.4.11)."""
    themes = [dict(re.findall(r"--(\w+): (#\w+)", block)) for block in re.findall(r":root \{(.*?)\}", rough_page)]
    assert len(themes) == 3
    for theme in themes:
        for ground in (theme["paper"], theme["card"]):
            assert contrast(theme["ink"], ground) >= 4.5
            assert contrast(theme["quiet"], ground) >= 4.5
        assert contrast(theme["ink"], theme["shade"]) >= 3  # the outline of a bar on the bar


# The command


def test_the_command_writes_the_newest_night(tmp_path, store_place):
    quiet_night(store_place, 4)
    done = midspan("report", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "night-1.html: open it in a browser" in done.stdout
    assert "Night 1 on gauge attic" in (tmp_path / "night-1.html").read_text(encoding="utf-8")
    assert midspan("report", "1", "--out", "a.html", folder=tmp_path).returncode == 0
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "night-1.html").read_bytes()


def test_two_nights_are_told_apart(tmp_path, store_place):
    quiet_night(store_place, 2)
    quiet_night(store_place, 3)
    first, _ = write_report(store_place, 1, tmp_path / "1.html", UTC)
    second, _ = write_report(store_place, None, tmp_path / "2.html", UTC)
    assert "took in 2 shafts" in first.read_text()
    assert "took in 3 shafts" in second.read_text()


def test_what_cannot_be_reported_is_said_in_a_line(tmp_path, store_place):
    assert "there is no such file" in complaint(midspan("report", folder=tmp_path))
    store_place.open().close()
    assert "no night was sorted into it" in complaint(midspan("report", folder=tmp_path))
    quiet_night(store_place, 2)
    assert "there is no night 7; the last one is 1" in complaint(midspan("report", "7", folder=tmp_path))
    assert "cannot be written" in complaint(midspan("report", "--out", "no/such/folder.html", folder=tmp_path))
    with store_place.open() as store:
        Journal(store).begin_night("attic", '{"strange": 1}', 0)
    assert "the plan of night 2 is not one of this version's" in complaint(midspan("report", folder=tmp_path))
