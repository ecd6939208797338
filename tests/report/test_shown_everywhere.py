"""A shaft's spine has one value, one ± and one unit wherever a person reads it.

Each screen, page, report, card and label is made of one stored shaft under each choice of units, as the workspace file
states it. What has to stand there is computed in this file: k by Student's t as scipy has it (JCGM 100:2008, G.3.4),
1 in = 25.4 mm exactly, pounds from the result's own field.
"""

import html
import math
import re
from dataclasses import replace

import numpy as np
import pypdfium2
import pytest
from commands_rig import midspan
from hand_rig import good, result_of
from midspan.base.shown_units import AcrossUnit, ShownUnits, WeightUnit, WoodSpine, showing
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result import ShaftResult, evaluate
from midspan.measurement.shown_quantities import spine_text
from midspan.report import result_text
from midspan.report.night_data import read_night
from midspan.report.sets_text import further_text
from midspan.sets.limits import QUANTITIES, Limits
from midspan.sets.registry import Sets
from midspan.sets.stock import shafts_of
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.older_spines import json_of
from midspan.store.spine_freedom import FREEDOM, freedom_of
from midspan.store.tables import ResultRow
from midspan.store.transit import RunFindings, TransitStage, WayStep
from midspan.web.follow import Clock, Follower
from midspan.web.views import Views
from night_on_paper import EVENING_MS, paper_night
from scipy.stats import t
from screens import printed
from sqlalchemy import select
from stores import add_result, run_of, store_in
from synthetic import Gauge, Shaft, paper_calibration, raw_run

FREE = 6.0  # few degrees of freedom: at many, k = 1.96 could not be told from k = 2
CHOICES = {
    "thou": "",
    "mm": '[shown]\nacross = "mm"\nweight = "grams"\n',
    "both": '[shown]\nwood = "both"\n',
    "pounds": '[shown]\nwood = "pounds"\n',
}


def measured(number):
    """Return the result of a paper shaft whose u has few degrees of freedom."""
    truth = Shaft(spine_thou=498.0 + 0.3 * number, number=number)
    (result,) = evaluate([raw_run(truth, Gauge(), np.random.default_rng(number))], paper_calibration())
    assert isinstance(result, ShaftResult)
    return replace(result, dof_spine=FREE)


def sorted_into_a_bin(night):
    """Sort the next shaft of a night into a bin; return its number."""
    shaft = night.fed()
    night.journal.note(shaft, WayStep(TransitStage.MEASURING, night.at_ms + 2000, archive_bytes=9000 * shaft))
    transit = night.journal.open_transit(night.plan.gauge.name)
    run = RunReference("readings.avro", 9000 * shaft + transit.measured, shaft, "", night.at_ms)
    decision = Decision(Outcome.ACCEPTED, (), "stiffer dozen")
    # A rejected shaft is listed in the report with its spine.
    if shaft > 3:
        decision = Decision(Outcome.REJECTED, ("spread 7.00 thou, limit 5 thou",))
    night.journal.judged(transit, run, Evaluation(measured(shaft), decision, night.at_ms), RunFindings(watched={}))
    night.left(shaft, 4 if shaft > 3 else 1)
    return shaft


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return a folder with a database: a night of four shafts, of which three are the set "spring"."""
    made = tmp_path_factory.mktemp("shop")
    place = store_in(made)
    with paper_night(place) as night:
        numbers = [sorted_into_a_bin(night) for _ in range(4)]
    assert numbers == [1, 2, 3, 4]
    with place.open() as store:
        found = shafts_of(store, numbers[:3])
        Sets(store).keep({"spring": [found[number] for number in numbers[:3]]}, Limits(number=3, spine_thou=3.0), 0)
    return made


def expected(result, choice):
    """Return number and unit that must be read beside this shaft, to the places of two digits of the ±."""

    def with_range(value, reach, most):
        places = min(most, 1 - math.floor(math.log10(reach)))
        rounded_up = math.ceil(reach * 10**places - 1e-6) / 10**places
        return f"{value:.{places}f} ± {rounded_up if places == most else reach:.{places}f}"

    k = t.ppf(0.975, FREE)
    thou = with_range(result.spine_thou, k * result.u_spine_thou, 2)
    pounds = with_range(result.older_lb, k * result.u_older_lb, 2)
    return {
        "thou": (thou, "thou"),
        "mm": (with_range(result.spine_thou * 0.0254, k * result.u_spine_thou * 0.0254, 4), "mm"),
        "both": (f"{thou} ({pounds})", f"{thou} thou ({pounds} lb)"),
        "pounds": (pounds, "lb"),
    }[choice]


def text_of(page):
    """Return the words of an HTML page."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", page)))


def words_of(pdf):
    """Return the words of a PDF, as pdfium reads it."""
    document = pypdfium2.PdfDocument(pdf)
    return " ".join(" ".join(page.get_textpage().get_text_range().split()) for page in document)


def said(folder, *words):
    """Return what a command prints in the folder, where it finds the workspace file."""
    done = midspan(*words, folder=folder, columns=240)
    assert done.returncode == 0, done.stderr
    return " ".join(done.stdout.split())


def test_a_column_has_the_same_number_of_decimal_places_in_each_row():
    # 1 in = 25.4 mm and 1 lb = 7000 gr = 453.59237 g, all exactly (NIST SP 811, B.8).
    runout, weight = QUANTITIES[3], QUANTITIES[2]
    with showing(units_of("mm")):
        assert [further_text(mm / 0.0254, runout) for mm in (0.2, 0.112, 0.0, 1.5)] == [
            "0.200",
            "0.112",
            "0.000",
            "1.500",
        ]
        assert [further_text(gr, weight) for gr in (350.0, 30.0)] == ["22.68", "1.94"]
    assert [further_text(thou, runout) for thou in (8.0, 4.42)] == ["8.0", "4.4"]


@pytest.mark.slow
@pytest.mark.parametrize("choice", CHOICES)
def test_a_shaft_has_one_range_on_every_screen_page_and_paper(folder, choice):
    (folder / "midspan.toml").write_text(CHOICES[choice], encoding="utf-8")
    number, whole = expected(measured(2), choice)
    in_words = whole if choice == "both" else f"{number} {whole}"
    assert in_words in said(folder, "show", "2")
    for words in (("shafts", "show", "2"), ("shafts", "find"), ("sets", "show", "spring")):
        assert number in said(folder, *words)
    said(folder, "sets", "card", "spring", "--out", "card")
    assert number in text_of((folder / "card.html").read_text(encoding="utf-8"))
    assert number in words_of(folder / "card.pdf")
    if choice == "pounds":  # a difference of equal pounds would not be one of equal deflection
        assert "from the mean, thou (28 in, 880 g)" in text_of((folder / "card.html").read_text(encoding="utf-8"))
    said(folder, "shafts", "labels", "2", "--out", "labels.pdf")
    on_label = words_of(folder / "labels.pdf")
    assert all(part.rstrip(")") in on_label for part in in_words.split(" ("))  # pounds have a line of their own
    said(folder, "report", "--out", "night.html")
    assert expected(measured(4), choice)[0] in text_of((folder / "night.html").read_text(encoding="utf-8"))


@pytest.mark.slow
@pytest.mark.parametrize("choice", CHOICES)
def test_the_page_and_the_tables_of_a_session_say_the_same(folder, choice):
    number, whole = expected(measured(2), choice)
    in_words = whole if choice == "both" else f"{number} {whole}"
    views = Views(Follower(store_in(folder)), Clock(lambda: EVENING_MS))
    with showing(units_of(choice)):
        for page in (views.shafts(1, 0), views.set(1), views.live(views.night(1))[1]):
            assert number in text_of(page)
        assert in_words in text_of(views.shaft(2))
        table = printed(result_text.results_table([(measured(2), None)], None), 200)
        assert number in table
        assert in_words in printed(result_text.shaft_story(measured(2), None, None), 200)
        assert str(spine_text(measured(2))) == in_words


def units_of(choice):
    """Return the units of a choice."""
    return {
        "thou": ShownUnits(),
        "mm": ShownUnits(across=AcrossUnit.MM, weight=WeightUnit.GRAMS),
        "both": ShownUnits(wood=WoodSpine.BOTH),
        "pounds": ShownUnits(wood=WoodSpine.POUNDS),
    }[choice]


def test_lists_know_the_freedom_of_a_hand_bench_as_its_result_does(store):
    # Lists read four fields of a result, `show` the whole of it: both must give the same k.
    by_hand = result_of(good())
    for number, result in enumerate((by_hand, measured(1)), 1):
        add_result(store, run_of(number), result)
    with store.transaction() as session:
        rows = session.execute(select(json_of(FREEDOM), ResultRow.u_spine_thou).order_by(ResultRow.id)).all()
    found = [freedom_of(*row) for row in rows]
    assert found == pytest.approx([by_hand.dof_spine, FREE], rel=1e-9)
    stock = shafts_of(store, [1, 2])
    assert [str(spine_text(stock[1])), str(spine_text(stock[2]))] == [
        str(spine_text(by_hand)), str(spine_text(measured(1)))
    ]  # fmt: skip


def test_a_night_keeps_the_freedom_of_what_it_judged(folder):
    with store_in(folder).open_to_read() as store:
        record = read_night(store, 1)
    assert {judged.dof_spine for judged in record.measured.values()} == {FREE}
