"""Set cards and shaft labels: read back from the files by other readers (pdfium, ZXing); what is refused."""

import re
from datetime import UTC

import pypdfium2
import pytest
import zxingcpp
from commands_rig import midspan, refusal
from midspan.base.errors import ConfigurationError, MatchingError, OutputError, StoreError
from midspan.base.label_shape import LabelPaper, LabelShape
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result_form import ResultKind
from midspan.report.label_sheet import Sheet, usual_sheet
from midspan.report.set_card import card_of
from midspan.report.sets_view import present, reviewed
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.stock import shafts_of, spoken_against
from midspan.sets.weights import weight_of
from midspan.store.lookup import newest
from results import told
from screens import PageText, screen
from stores import add_result, run_of, store_in

pytestmark = pytest.mark.slow

SPINES = (500.0, 500.6, 501.3)
HOSTILE = "<script>alert(1)</script> & co"
LIMITS = Limits(number=3, spine_thou=3.0)


@pytest.fixture
def folder(tmp_path, store_place):
    """Make a database with a set "spring 1" of three invented shafts and a set "many" of 36 with long names."""
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
        sets, found = Sets(store), shafts_of(store, [shaft for shaft, _, _ in few + many])
        sets.keep({"spring 1": [found[number] for number in (1, 2, 3)]}, LIMITS, 0)
        sets.keep({"many": [found[shaft] for shaft, _, _ in many]}, LIMITS, 0)
    return tmp_path


def pages(path):
    """Return the text of each page of a PDF, as pdfium reads it."""
    document = pypdfium2.PdfDocument(path)
    return [document[i].get_textpage().get_text_range() for i in range(len(document))]


def codes(path):
    """Return the codes that ZXing reads on each page of a PDF, printed at 300 dots an inch."""
    document = pypdfium2.PdfDocument(path)
    images = [document[i].render(scale=300 / 72).to_pil() for i in range(len(document))]
    return [[code.text for code in zxingcpp.read_barcodes(image)] for image in images]


def words_of(folder, card="card-spring-1"):
    """Return the words of a card's page."""
    return PageText((folder / f"{card}.html").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("temperatures_c", "numbers"), [((20.6, 23.4, 22.0), ["21", "23"]), ((21.3, 20.9, 21.0), ["21"])]
)
def test_a_card_names_the_temperatures_of_its_runs(store, temperatures_c, numbers):
    for shaft, temperature_c in enumerate(temperatures_c, 1):
        add_result(store, run_of(shaft), told(spine_thou=500.0, u_spine_thou=0.2, temperature_c=temperature_c))
    Sets(store).keep({"warm": list(shafts_of(store, [1, 2, 3]).values())}, LIMITS, 0)
    (line,) = (words for words in card_of(store, Sets(store).named("warm"), None, UTC).conditions if "°C" in words)
    assert re.findall(r"\d+", line.partition(",")[2]) == numbers


def test_a_card_says_what_a_customer_has_to_know(folder, snapshot):
    done = midspan("sets", "card", "spring 1", folder=folder)
    assert (done.returncode, done.stdout) == (0, "card-spring-1.html\ncard-spring-1.pdf\n")
    page = words_of(folder)
    assert screen(page.text) == snapshot
    paper = "".join(pages(folder / "card-spring-1.pdf")[0].split())
    for cell in (cell for line in page.lines for cell in line.split(" | ")):
        assert "".join(cell.split()) in paper, cell


def test_a_span_that_is_noise_is_given_without_an_uncertainty(folder):
    midspan("sets", "apart", "many", folder=folder)
    with store_in(folder).open() as store:
        found = shafts_of(store, [10, 11])
        Sets(store).keep({"alike": list(found.values())}, Limits(number=2, spine_thou=3.0), 0)
        kept = Sets(store).named("alike")
        looked_at = reviewed(store, present(store, kept))
        first, _ = card_of(store, kept, None, UTC).sentences
    assert not looked_at.is_told_apart
    assert f"{looked_at.range_thou:.3f} thou" in first
    assert "±" not in first


def test_a_weight_that_is_known_stands_on_the_card(folder):
    with store_in(folder).open() as store:
        Sets(store).weigh({"1": weight_of("312.4", "grains", "shaft 1")}, 0)
    midspan("sets", "card", "spring 1", "--out", "new", folder=folder)
    assert "312.4" in (folder / "new.html").read_text(encoding="utf-8")
    assert "312.4" in pages(folder / "new.pdf")[0]


def test_names_are_shown_and_never_run(folder):
    midspan("sets", "card", "spring 1", folder=folder)
    page = words_of(folder)
    assert "script" not in {tag for tag, _ in page.elements}
    assert HOSTILE in page.text
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
    assert "'autumn'" in str(refusal(midspan("sets", "card", "autumn", folder=folder), StoreError))
    midspan("sets", "apart", "spring 1", folder=folder)
    assert refusal(midspan("sets", "card", "spring 1", folder=folder), MatchingError).code == "too_few"
    assert not list(folder.glob("card-*"))


def test_a_card_in_a_folder_that_is_not_there_is_said(folder):
    refused = refusal(midspan("sets", "card", "spring 1", "--out", "none/card", folder=folder), OutputError)
    assert "none/card.html" in str(refused)


def measured_again(folder, shaft, outcome, *reasons):
    """Store a newer result of a shaft, with this verdict."""
    with store_in(folder).open(create=False) as store:
        result = told(spine_thou=501.0, u_spine_thou=0.2, gauge="bench", calibration="bench-2026")
        run = run_of(shaft, offset=900_000, at_ms=1_790_000_000_000)
        add_result(store, run, result, Decision(outcome, reasons))


def test_a_set_with_a_shaft_found_bad_since_has_no_card(folder):
    measured_again(folder, 3, Outcome.REJECTED, "hysteresis 2.2 % is above 1")
    refused = refusal(midspan("sets", "card", "spring 1", folder=folder), MatchingError)
    assert refused.code == "unsound"
    assert "shaft 3" in str(refused)
    assert not list(folder.glob("card-*"))
    midspan("shafts", "labels", "3", "--out", "l.pdf", folder=folder)
    (label,) = pages(folder / "l.pdf")
    assert "rejected" in label
    assert "spring 1" not in label


def test_a_set_with_a_spent_shaft_has_no_card_until_it_is_given_back(folder):
    midspan("shafts", "spent", "2", folder=folder)
    refused = refusal(midspan("sets", "card", "spring 1", folder=folder), MatchingError)
    assert refused.code == "unsound"
    assert "shaft 2" in str(refused)
    with store_in(folder).open(create=False) as store:
        Sets(store).mark([2], spent=False, words="found sound", at_ms=2)
    assert midspan("sets", "card", "spring 1", folder=folder).returncode == 0


@pytest.mark.parametrize("out", ["mine", "mine.html", "mine.pdf", "mine.PDF"])
def test_an_ending_in_the_name_of_a_card_is_taken_as_meant(folder, out):
    done = midspan("sets", "card", "spring 1", "--out", out, folder=folder)
    assert done.stdout == "mine.html\nmine.pdf\n"


@pytest.mark.parametrize("out", [".", "/", "", ".."])
def test_a_card_without_a_name_is_refused(folder, out):
    refused = refusal(midspan("sets", "card", "spring 1", "--out", out, folder=folder), OutputError)
    assert refused.code == "no_file_name"


# Labels


def test_each_label_has_a_code_that_other_readers_read(folder):
    done = midspan("shafts", "labels", "--set", "many", "--skip", 20, "--out", "l.pdf", folder=folder)
    assert re.findall(r"\d+", done.stdout) == ["36", "2"]
    first, second = codes(folder / "l.pdf")
    assert sorted(first) == [f"MIDSPAN SHAFT {10 + i}" for i in range(28)]
    assert sorted(second) == [f"MIDSPAN SHAFT {10 + i}" for i in range(28, 36)]
    assert "many" in pages(folder / "l.pdf")[0]


def test_what_a_reader_types_finds_the_shaft(folder):
    midspan("shafts", "labels", "1", "--out", "l.pdf", folder=folder)
    ((code,),) = codes(folder / "l.pdf")
    done = midspan("shafts", "spent", code, folder=folder)
    assert done.returncode == 0
    with store_in(folder).open() as store:
        assert spoken_against(store, [1, 2]).keys() == {1}
    unknown = code.replace("1", "999")
    assert refusal(midspan("show", unknown, folder=folder), StoreError).code == "never_measured"


def test_a_label_shows_spine_with_its_uncertainty(folder):
    midspan("shafts", "labels", "1", "2", "--out", "l.pdf", folder=folder)
    (text,) = pages(folder / "l.pdf")
    for words in ("1 blå-1", "500.00 ± 0.39 thou", "around 2.50 thou", "spring 1"):
        assert words in text


def test_the_name_of_the_shop_is_on_card_and_labels(folder):
    (folder / "midspan.toml").write_text('[shop]\nname = "Alder & Ash"\n')
    midspan("sets", "card", "spring 1", folder=folder)
    assert "Alder & Ash" in words_of(folder).text
    assert "Alder & Ash" in pages(folder / "card-spring-1.pdf")[0]
    midspan("shafts", "labels", "1", "--out", "box.pdf", folder=folder)
    assert pages(folder / "box.pdf")[0].splitlines()[-2:] == ["spring 1", "Alder & Ash"]
    midspan("shafts", "labels", "1", "--out", "f.pdf", "--shape", "flag", "--tube", "6.5", folder=folder)
    assert pages(folder / "f.pdf")[0].count("Alder & Ash") == 2


def test_a_stiff_side_that_a_mark_on_the_shaft_tells_is_printed(folder):
    with store_in(folder).open(create=False) as store:
        result = told(ResultKind.HAND_BENCH, spine_thou=500.0, u_spine_thou=0.2, spread_thou=2.5, stiff_side_deg=34.0)
        run = run_of(1, "blå-1", archive="hand.jsonl", at_ms=1_790_000_000_000)
        add_result(store, run, result, Decision(Outcome.ACCEPTED))
    midspan("sets", "card", "spring 1", folder=folder)
    with store_in(folder).open() as store:
        card = card_of(store, Sets(store).named("spring 1"), None, UTC)
    column = card.headings.index("stiff side, deg")
    assert [row[column] for row in card.rows].count("34 / 214") == 1
    assert len(card.conditions) == 4  # the last says where angles are counted from
    midspan("shafts", "labels", "1", "--out", "l.pdf", folder=folder)
    assert {"around 2.50 thou", "stiff 34 / 214"} <= set(pages(folder / "l.pdf")[0].splitlines())


def test_labels_on_other_paper(folder):
    (folder / "sheet.toml").write_text(
        "page_mm = [100.0, 50.0]\nlabel_mm = [90.0, 20.0]\ncolumns = 1\nrows = 2\nfirst_mm = [5.0, 4.0]\n"
        "step_mm = [90.0, 22.0]\noutline = false\n"
    )
    midspan("shafts", "labels", "1", "2", "3", "--sheet", "sheet.toml", "--out", "l.pdf", folder=folder)
    assert [sorted(sheet) for sheet in codes(folder / "l.pdf")] == [
        ["MIDSPAN SHAFT 1", "MIDSPAN SHAFT 2"],
        ["MIDSPAN SHAFT 3"],
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
    midspan("shafts", "labels", "1", "2", "--sheet", "sheet.toml", "--out", "l.pdf", folder=folder)
    assert [sorted(sheet) for sheet in codes(folder / "l.pdf")] == [["MIDSPAN SHAFT 1", "MIDSPAN SHAFT 2"]]


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("columns = 5", ["250 mm", "210 mm"]),  # right edge of the labels, width of the paper
        ("rows = 13", ["297 mm"]),
        ("step_mm = [40.0, 22.3]", ["step_mm", "45 mm", "40 mm"]),
        ("label_mm = [20.0, 21.0]", ["label_mm", "20 mm", "30 mm"]),
        ("label_mm = [45.0, 5.0]", ["label_mm", "5 mm", "12 mm"]),
        ("colums = 3", ["colums", "columns"]),
    ],
)
def test_a_sheet_that_cannot_be_printed_is_refused(folder, text, named):
    (folder / "sheet.toml").write_text(text)
    done = midspan("shafts", "labels", "1", "--sheet", "sheet.toml", folder=folder)
    refused = str(refusal(done, ConfigurationError))
    assert all(name in refused for name in ("sheet.toml", *named)), refused
    assert not (folder / "labels.pdf").exists()


def test_the_default_sheet_fits_on_its_paper():
    assert usual_sheet(LabelShape.BOX, None, LabelPaper.A4) == Sheet()
    assert (Sheet().number, Sheet().place(0), Sheet().place(47), Sheet().place(48)) == (48, (0, 0), (3, 11), (0, 0))


def test_labels_of_nothing_and_of_too_full_a_sheet_are_refused(folder):
    def refused(*words):
        return refusal(midspan("shafts", "labels", *words, folder=folder))

    assert refused().code == "no_shafts"
    assert refused("1", "--skip", 48).code == "skip_too_large"
    assert "77" in str(refused("77"))


def test_labels_are_not_written_under_a_name_that_promises_something_else(folder):
    refused = refusal(midspan("shafts", "labels", "1", "--out", "l.docx", folder=folder), OutputError)
    assert refused.code == "labels_ending"
    assert not (folder / "l.docx").exists()


def test_a_code_shows_the_shaft_of_that_number_and_none_that_is_named_like_it(folder):
    with store_in(folder).open(create=False) as store:
        run = run_of(900, "1", archive="b.avro", at_ms=1_790_000_000_000)
        add_result(store, run, told(spine_thou=450.0, u_spine_thou=0.2), Decision(Outcome.ACCEPTED))
        assert newest(store, "midspan shaft 1").run.shaft == 1
        assert newest(store, "1").run.shaft == 1
        assert newest(store, "blå-1").run.shaft == 1
