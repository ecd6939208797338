"""Set cards and shaft labels: read back from the files by other readers (pdfium, ZXing); what is refused."""

import re

import pypdfium2
import pytest
import zxingcpp
from commands_rig import complaint, midspan
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result_form import ResultKind
from midspan.report.labels import Sheet, load_sheet
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.stock import shafts_of
from midspan.sets.weights import weight_of
from midspan.store.lookup import newest
from results import told
from stores import add_result, run_of, store_in

SPINES = (500.0, 500.6, 501.3)
HOSTILE = "<script>alert(1)</script> & co"
LIMITS = Limits(number=3, spine_thou=3.0)


@pytest.fixture
def folder(tmp_path, store_place):
    """A database with a set "spring 1" of three shafts, invented, and one of 36 with long names."""
    with store_place.open() as store:
        batch = store.begin_batch("blue", 0)
        many = [(10 + i, 495.0 + i / 7, f"a shaft with a very long name indeed, number {i} of them") for i in range(36)]
        few = [(1, SPINES[0], "blå-1"), (2, SPINES[1], HOSTILE), (3, SPINES[2], "")]
        for shaft, spine, label in few + many:
            result = told(
                spine_thou=spine, u_spine_thou=0.2, spread_thou=2.5, runout_mm=0.0508, gauge="bench",
                calibration="bench-2026", stiff_side_deg=34.0, started_ms=1_780_000_000_000,
            )  # fmt: skip
            add_result(store, run_of(shaft, label, at_ms=1_780_000_000_000), result, batch=batch)
        sets, found = Sets(store), shafts_of(store, [one[0] for one in few + many])
        sets.keep({"spring 1": [found[number] for number in (1, 2, 3)]}, LIMITS, 0)
        sets.keep({"many": [found[one[0]] for one in many]}, LIMITS, 0)
    return tmp_path


def pages(path):
    """The text of each page of a PDF, as pdfium reads it."""
    document = pypdfium2.PdfDocument(path)
    return [document[i].get_textpage().get_text_range() for i in range(len(document))]


def codes(path):
    """What ZXing reads on each page of a PDF, printed at 300 dots an inch."""
    document = pypdfium2.PdfDocument(path)
    images = [document[i].render(scale=300 / 72).to_pil() for i in range(len(document))]
    return [[one.text for one in zxingcpp.read_barcodes(image)] for image in images]


def test_a_card_says_what_a_customer_has_to_know(folder):
    done = midspan("sets", "card", "spring 1", folder=folder)
    assert (done.returncode, done.stdout) == (0, "card-spring-1.html\ncard-spring-1.pdf\n")
    page = (folder / "card-spring-1.html").read_text(encoding="utf-8")
    (paper,) = pages(folder / "card-spring-1.pdf")
    paper = " ".join(paper.split())
    for words in (
        "spring 1", "3 shafts, mean spine 500.63 ± 0.23 thou", "500.00", "501.30", "2.50", "0.051",
        "bench-2026", "28 in", "880 g", "2026-05-28", "temperature not noted", "Never shoot a shaft that is cracked",
        "the set spans 1.30 ± 0.57 thou",
    ):  # fmt: skip
        assert words in page, words
        assert words in paper, words
    assert "weight, gr" not in page, "no shaft of it was weighed"
    assert "stiff side" not in page, "the gauge's angle is worth nothing once a shaft is lifted off"


def test_a_span_that_is_noise_is_given_without_an_uncertainty(folder):
    midspan("sets", "apart", "many", folder=folder)
    with store_in(folder).open() as store:
        found = shafts_of(store, [10, 11])
        Sets(store).keep({"alike": list(found.values())}, Limits(number=2, spine_thou=3.0), 0)
    midspan("sets", "card", "alike", folder=folder)
    page = (folder / "card-alike.html").read_text(encoding="utf-8")
    assert "From its stiffest to its softest shaft the set shows 0.143 thou." in page
    assert "it tells none of them apart" in page
    assert "spans" not in page


def test_a_weight_that_is_known_stands_on_the_card(folder):
    with store_in(folder).open() as store:
        Sets(store).weigh({"1": weight_of("312.4", "grains", "shaft 1")}, 0)
    midspan("sets", "card", "spring 1", "--out", "new", folder=folder)
    assert "312.4" in (folder / "new.html").read_text(encoding="utf-8")
    assert "312.4" in pages(folder / "new.pdf")[0]


def test_names_are_shown_and_never_run(folder):
    midspan("sets", "card", "spring 1", folder=folder)
    page = (folder / "card-spring-1.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; co" in page
    (paper,) = pages(folder / "card-spring-1.pdf")
    assert "<script>alert(1)" in re.sub(r"\s", "", paper)
    assert "blå-1" in paper


def test_a_card_needs_no_other_file_and_no_network(folder):
    midspan("sets", "card", "spring 1", folder=folder)
    page = (folder / "card-spring-1.html").read_text(encoding="utf-8")
    assert not re.findall(r"https?:|src=|href=|url\(|@import", page)


def test_many_shafts_with_long_names_go_on_more_pages(folder):
    midspan("sets", "card", "many", folder=folder)
    papers = pages(folder / "card-many.pdf")
    assert len(papers) > 1
    assert sum(len(re.findall(r"number\s+\d+\s+of", paper)) for paper in papers) == 36
    assert all("spine, thou" in paper for paper in papers if "number" in paper), "each page has the headings"


def test_a_set_that_is_not_there_or_was_taken_apart_has_no_card(folder):
    assert "there is no set 'autumn'" in complaint(midspan("sets", "card", "autumn", folder=folder))
    midspan("sets", "apart", "spring 1", folder=folder)
    assert "there is no card to make" in complaint(midspan("sets", "card", "spring 1", folder=folder))
    assert not list(folder.glob("card-*"))


def test_a_card_in_a_folder_that_is_not_there_is_said(folder):
    done = midspan("sets", "card", "spring 1", "--out", "none/card", folder=folder)
    assert "cannot be written" in complaint(done)


def measured_again(folder, shaft, outcome, *reasons):
    """A newer result of a shaft, with this verdict."""
    with store_in(folder).open(create=False) as store:
        result = told(spine_thou=501.0, u_spine_thou=0.2, gauge="bench", calibration="bench-2026")
        run = run_of(shaft, offset=900_000, at_ms=1_790_000_000_000)
        add_result(store, run, result, Decision(outcome, reasons))


def test_a_set_with_a_shaft_found_bad_since_has_no_card(folder):
    measured_again(folder, 3, Outcome.REJECTED, "hysteresis 2.2 % is above 1")
    words = complaint(midspan("sets", "card", "spring 1", folder=folder))
    assert "shaft 3 is in it, but by now: rejected" in words
    assert not list(folder.glob("card-*"))
    assert "shaft 3 should not be in it any more: rejected" in midspan("sets", "show", "spring 1", folder=folder).stdout
    midspan("sets", "labels", "3", "--out", "l.pdf", folder=folder)
    (label,) = pages(folder / "l.pdf")
    assert "rejected" in label
    assert "spring 1" not in label


def test_a_set_with_a_spent_shaft_has_no_card_until_it_is_given_back(folder):
    midspan("sets", "spent", "2", folder=folder)
    assert "shaft 2 is in it, but by now: marked as spent" in complaint(
        midspan("sets", "card", "spring 1", folder=folder)
    )
    with store_in(folder).open(create=False) as store:
        Sets(store).mark([2], spent=False, words="found sound", at_ms=2)
    assert midspan("sets", "card", "spring 1", folder=folder).returncode == 0


def test_the_mean_is_said_to_be_worse_known_only_where_it_is(folder):
    midspan("sets", "card", "spring 1", folder=folder)
    assert "larger for the mean" not in (folder / "card-spring-1.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("out", ["mine", "mine.html", "mine.pdf", "mine.PDF"])
def test_an_ending_in_the_name_of_a_card_is_taken_as_meant(folder, out):
    done = midspan("sets", "card", "spring 1", "--out", out, folder=folder)
    assert done.stdout == "mine.html\nmine.pdf\n"


@pytest.mark.parametrize("out", [".", "/", "", ".."])
def test_a_card_without_a_name_is_refused(folder, out):
    assert "names no file" in complaint(midspan("sets", "card", "spring 1", "--out", out, folder=folder))


# Labels


def test_each_label_has_a_code_that_other_readers_read(folder):
    done = midspan("sets", "labels", "--set", "many", "--skip", 20, "--out", "l.pdf", folder=folder)
    assert done.stdout == "l.pdf: 36 labels on 2 sheets\n"
    first, second = codes(folder / "l.pdf")
    assert sorted(first) == [f"midspan shaft {10 + i}" for i in range(28)]
    assert sorted(second) == [f"midspan shaft {10 + i}" for i in range(28, 36)]
    assert "many" in pages(folder / "l.pdf")[0]


def test_what_a_reader_types_finds_the_shaft(folder):
    midspan("sets", "labels", "1", "--out", "l.pdf", folder=folder)
    ((code,),) = codes(folder / "l.pdf")
    done = midspan("sets", "spent", code, folder=folder)
    assert (done.returncode, done.stdout) == (0, "midspan shaft 1: marked as spent\n")
    assert "nothing was measured under the number or label 'midspan shaft 999'" in complaint(
        midspan("show", "midspan shaft 999", folder=folder)
    )


def test_a_label_shows_spine_with_its_uncertainty(folder):
    midspan("sets", "labels", "1", "2", "--out", "l.pdf", folder=folder)
    (text,) = pages(folder / "l.pdf")
    for words in ("1 blå-1", "500.00 ± 0.40 thou", "around 2.50", "spring 1"):
        assert words in text


def test_a_stiff_side_that_a_mark_on_the_shaft_tells_is_printed(folder):
    with store_in(folder).open(create=False) as store:
        result = told(ResultKind.HAND_BENCH, spine_thou=500.0, u_spine_thou=0.2, spread_thou=2.5, stiff_side_deg=34.0)
        run = run_of(1, "blå-1", archive="hand.jsonl", at_ms=1_790_000_000_000)
        add_result(store, run, result, Decision(Outcome.ACCEPTED))
    midspan("sets", "card", "spring 1", folder=folder)
    page = (folder / "card-spring-1.html").read_text(encoding="utf-8")
    assert "34 / 214" in page
    assert "Angles run from the mark on the shaft." in page
    midspan("sets", "labels", "1", "--out", "l.pdf", folder=folder)
    assert "around 2.50, stiff 34 / 214" in pages(folder / "l.pdf")[0]


def test_labels_on_other_paper(folder):
    (folder / "sheet.toml").write_text(
        "page_mm = [100.0, 50.0]\nlabel_mm = [90.0, 20.0]\ncolumns = 1\nrows = 2\nfirst_mm = [5.0, 4.0]\n"
        "step_mm = [90.0, 22.0]\noutline = false\n"
    )
    midspan("sets", "labels", "1", "2", "3", "--sheet", "sheet.toml", "--out", "l.pdf", folder=folder)
    assert [sorted(one) for one in codes(folder / "l.pdf")] == [
        ["midspan shaft 1", "midspan shaft 2"],
        ["midspan shaft 3"],
    ]
    document = pypdfium2.PdfDocument(folder / "l.pdf")
    assert [round(points * 25.4 / 72, 3) for points in document[0].get_size()] == [100.0, 50.0]


@pytest.mark.parametrize(
    "text",
    [
        "page_mm = [210.0, 297.0]\nlabel_mm = [70.0, 29.7]\nstep_mm = [70.0, 29.7]\nfirst_mm = [0.0, 0.0]\n"
        "columns = 3\nrows = 10",
        "page_mm = [100.3, 50.0]\nlabel_mm = [33.4, 20.0]\nstep_mm = [33.4, 20.0]\nfirst_mm = [0.1, 0.0]\n"
        "columns = 3\nrows = 2",
    ],
)
def test_labels_may_fill_their_sheet_to_the_edges(folder, text):
    (folder / "sheet.toml").write_text(text)
    midspan("sets", "labels", "1", "2", "--sheet", "sheet.toml", "--out", "l.pdf", folder=folder)
    assert codes(folder / "l.pdf") == [["midspan shaft 1", "midspan shaft 2"]]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("columns = 5", "the labels end at 250 mm, the paper is 210 mm wide"),
        ("rows = 13", "the paper is 297 mm high"),
        ("step_mm = [40.0, 22.3]", "labels 45 mm wide overlap 40 mm apart"),
        ("label_mm = [20.0, 21.0]", "a label needs to be 30 mm wide, not 20"),
        ("label_mm = [45.0, 5.0]", "a label needs to be 12 mm high, not 5"),
        ("colums = 3", "did you mean columns?"),
    ],
)
def test_a_sheet_that_cannot_be_printed_is_refused(folder, text, words):
    (folder / "sheet.toml").write_text(text)
    done = midspan("sets", "labels", "1", "--sheet", "sheet.toml", folder=folder)
    assert words in complaint(done)
    assert not (folder / "labels.pdf").exists()


def test_the_default_sheet_fits_on_its_paper():
    assert load_sheet(None) == Sheet()
    assert (Sheet().number, Sheet().place(0), Sheet().place(47), Sheet().place(48)) == (48, (0, 0), (3, 11), (0, 0))


def test_labels_of_nothing_and_of_too_full_a_sheet_are_refused(folder):
    assert "say which shafts" in complaint(midspan("sets", "labels", folder=folder))
    assert "a sheet has 48 labels" in complaint(midspan("sets", "labels", "1", "--skip", 48, folder=folder))
    assert "never measured" in complaint(midspan("sets", "labels", "77", folder=folder))


def test_labels_are_not_written_under_a_name_that_promises_something_else(folder):
    assert "l.docx: the name of a sheet" in complaint(midspan("sets", "labels", "1", "--out", "l.docx", folder=folder))
    assert not (folder / "l.docx").exists()


def test_a_code_shows_the_shaft_of_that_number_and_none_that_is_named_like_it(folder):
    with store_in(folder).open(create=False) as store:
        run = run_of(900, "1", archive="b.avro", at_ms=1_790_000_000_000)
        add_result(store, run, told(spine_thou=450.0, u_spine_thou=0.2), Decision(Outcome.ACCEPTED))
        assert newest(store, "midspan shaft 1").run.shaft == 1
        assert newest(store, "1").run.shaft == 1
        assert newest(store, "blå-1").run.shaft == 1
