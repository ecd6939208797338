"""Shapes of labels on a thin tube: read back as they are printed and seen, by other programs (pdfium, ZXing)."""

import math
import os
import stat
from itertools import pairwise

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from commands_rig import midspan, refusal
from midspan.base.errors import ConfigurationError, OutputError
from midspan.base.label_shape import LabelPaper, LabelShape
from midspan.report import printing
from midspan.report.label_drawing import ShaftLabel, bend_squares, stripes_text
from midspan.report.label_sheet import LEAST_MM, OVERLAP_MM, Sheet, around_mm, usual_sheet
from midspan.report.labels import write_labels
from midspan.report.printing import LabelPrinter, print_file, run_command
from midspan.store.lookup import read_name
from results import told
from stores import add_result, run_of, store_in

DOTS_PER_MM = 203 / 25.4  # the coarsest usual label printer
ENLARGED = 4
TUBES_MM = (5.0, 6.5, 9.0)
VALUES = ("500.00 ± 0.39 thou", "around 2.50 thou")
AROUND = [LabelShape.FLAG, LabelShape.COLLAR, LabelShape.NUMBER]


def label(shaft=12, name="blue-7"):
    return ShaftLabel(shaft, f"MIDSPAN SHAFT {shaft}", VALUES, f"{shaft} {name}", "spring 1")


def printed(path, page=0):
    """Return a page as a thermal printer of 203 dots an inch prints it: dots are black (0) or white (255)."""
    with pypdfium2.PdfDocument(path) as document:
        grey = document[page].render(scale=DOTS_PER_MM * 25.4 / 72, grayscale=True).to_numpy()
    dots = np.where(grey.reshape(grey.shape[:2]) < 128, 0, 255).astype(np.uint8)
    return np.kron(dots, np.ones((ENLARGED, ENLARGED), np.uint8))


def text_of(path):
    with pypdfium2.PdfDocument(path) as document:
        return document[0].get_textpage().get_text_range()


def seen_on_tube(image, tube_mm, turned_deg):
    """Return how a strip that is wrapped once around a tube looks from one side, from far away.

    At the distance X from the axis one sees the arc r asin(X / r). What the overlap of a collar covers is not seen.
    """
    dots = DOTS_PER_MM * ENLARGED
    radius = tube_mm / 2 * dots
    across = np.arange(-math.floor(radius), math.floor(radius) + 1)
    arc = radius * (np.arcsin(across / radius) + math.radians(turned_deg))
    columns = np.floor(arc % (2 * math.pi * radius)).astype(int)
    seen = np.where(columns < image.shape[1], image[:, np.minimum(columns, image.shape[1] - 1)], 255)
    return np.pad(seen, 40, constant_values=200).astype(np.uint8)


def texts(image):
    return [code.text for code in zxingcpp.read_barcodes(np.ascontiguousarray(image))]


@pytest.mark.parametrize("tube_mm", TUBES_MM)
@pytest.mark.parametrize("shaft", [1, 12, 4711, 123456])
def test_the_smallest_flag_is_read_from_both_sides(tmp_path, tube_mm, shaft):
    wide, high = LEAST_MM[LabelShape.FLAG]
    size = (wide + around_mm(LabelShape.FLAG, tube_mm), high)
    sheet = Sheet(
        shape=LabelShape.FLAG, tube_mm=tube_mm, page_mm=size, label_mm=size, columns=1, rows=1, first_mm=(0.0, 0.0),
        step_mm=size, outline=False,
    )  # fmt: skip
    write_labels([label(shaft)], sheet, tmp_path / "l.pdf")
    image = printed(tmp_path / "l.pdf")
    side = round(wide / 2 * DOTS_PER_MM * ENLARGED)
    tube = image[:, side:-side]
    assert tube.min() == 255  # nothing stands where the label goes around the tube
    assert math.isclose(tube.shape[1], math.pi * tube_mm * DOTS_PER_MM * ENLARGED, rel_tol=0.02)
    for half in (image[:, :side], image[:, -side:]):
        assert texts(half) == [f"MIDSPAN SHAFT {shaft}"]
    assert text_of(tmp_path / "l.pdf").count(VALUES[0]) == 2


@pytest.mark.parametrize("tube_mm", TUBES_MM)
@pytest.mark.parametrize(("shaft", "digits"), [(1, "0001"), (4711, "4711"), (123456, "123456")])
def test_the_rings_of_a_collar_are_read_from_every_side(tmp_path, tube_mm, shaft, digits):
    write_labels([label(shaft)], usual_sheet(LabelShape.COLLAR, tube_mm, LabelPaper.ROLL), tmp_path / "l.pdf")
    image = printed(tmp_path / "l.pdf")
    for turned_deg in range(0, 360, 30):
        assert texts(seen_on_tube(image, tube_mm, turned_deg)) == [digits], turned_deg


@pytest.mark.parametrize("tube_mm", TUBES_MM)
@pytest.mark.parametrize("shape", [LabelShape.COLLAR, LabelShape.NUMBER])
def test_the_number_stands_on_every_side_of_a_tube(tmp_path, shape, tube_mm):
    """From one side a third of the circumference is seen less than 60 degrees from the middle."""
    write_labels([label()], usual_sheet(shape, tube_mm, LabelPaper.ROLL), tmp_path / "l.pdf")
    words = "12 blue-7" if shape is LabelShape.COLLAR else "#12"
    with pypdfium2.PdfDocument(tmp_path / "l.pdf") as document:
        page = document[0].get_textpage()
        search = page.search(words)
        places_mm = []
        while found := search.get_next():
            left, _, right, _ = page.get_charbox(found[0])
            places_mm.append((left + right) / 2 * 25.4 / 72)
    places_mm.sort()
    around = [*places_mm, places_mm[0] + math.pi * tube_mm]
    assert max(after - before for before, after in pairwise(around)) <= math.pi * tube_mm / 3 + 1.6
    assert len(places_mm) >= 3


def test_a_code_of_squares_cannot_be_read_on_a_thin_tube(tmp_path):
    """A reader lays an even grid over the code; half a square beside it is another square."""
    write_labels([label()], usual_sheet(LabelShape.BOX, None, LabelPaper.ROLL), tmp_path / "l.pdf")
    image = printed(tmp_path / "l.pdf")
    code = image[:, : round(20 * DOTS_PER_MM * ENLARGED)]
    dark = np.flatnonzero(code.min(axis=0) == 0)
    square_mm = (np.ptp(dark) + 1) / (21 * DOTS_PER_MM * ENLARGED)
    outcomes = {}
    for tube_mm in (7.0, 9.0, 40.0, 60.0):
        middle = (dark[0] + dark[-1]) / 2 / (DOTS_PER_MM * ENLARGED)
        seen = seen_on_tube(code, tube_mm, math.degrees(middle / (tube_mm / 2)))
        outcomes[tube_mm] = (bend_squares(21, square_mm, tube_mm) < 0.5, bool(texts(seen)))
    assert outcomes[7.0] == outcomes[9.0] == (False, False)
    assert outcomes[40.0] == outcomes[60.0] == (True, True)


def test_the_bend_of_a_code_follows_the_series_of_the_sine():
    """To third order sin(at) / sin(a) - t is a^2 (t - t^3) / 6, at most a^2 / (9 sqrt 3) at t = 1 / sqrt 3."""
    for angle in (0.1, 0.2):
        expected = angle**2 / (9 * math.sqrt(3)) * 21 / 2
        assert math.isclose(bend_squares(21, angle / 21, 1.0), expected, rel_tol=0.02)
    assert bend_squares(21, 0.4, 5.0) == math.inf


def test_digits_of_a_code_come_in_pairs():
    assert [stripes_text(shaft) for shaft in (1, 99, 10000, 4294967295)] == ["0001", "0099", "010000", "4294967295"]


@pytest.mark.parametrize("paper", list(LabelPaper))
@pytest.mark.parametrize("shape", list(LabelShape))
def test_every_shape_stands_clear_of_the_edges_on_every_paper(tmp_path, shape, paper):
    sheet = usual_sheet(shape, 5.0, paper)
    write_labels([label()] * 3, sheet.model_copy(update={"outline": False}), tmp_path / "l.pdf")
    image = printed(tmp_path / "l.pdf")
    left_mm, top_mm = sheet.corner_mm(0)
    scale = DOTS_PER_MM * ENLARGED
    rows = [round((sheet.page_mm[1] - top_mm + far) * scale) for far in (0, sheet.label_mm[1])]
    columns = [round((left_mm + far) * scale) for far in (0, sheet.label_mm[0])]
    ink = np.argwhere(image[rows[0] : rows[1], columns[0] : columns[1]] == 0) / scale
    assert (ink.min(axis=0) > 1.0).all()
    assert (np.array(sheet.label_mm)[::-1] - ink.max(axis=0) > 1.0).all()
    if shape in (LabelShape.COLLAR, LabelShape.NUMBER):
        assert sheet.label_mm[0] - ink.max(axis=0)[1] > OVERLAP_MM - 0.3  # the overlap is white: it is stuck under


def test_a_roll_has_one_label_a_page_of_its_size(tmp_path):
    write_labels([label(1), label(2)], usual_sheet(LabelShape.FLAG, 6.5, LabelPaper.ROLL), tmp_path / "l.pdf")
    with pypdfium2.PdfDocument(tmp_path / "l.pdf") as document:
        assert [tuple(round(points * 25.4 / 72, 1) for points in page.get_size()) for page in document] == [
            (88.5, 14.0)
        ] * 2


def test_a_value_is_never_cut_and_a_long_name_keeps_its_number(tmp_path):
    sheet = usual_sheet(LabelShape.FLAG, 5.0, LabelPaper.ROLL)
    write_labels([label(4711, "with a very long name " * 5)], sheet, tmp_path / "l.pdf")
    text = text_of(tmp_path / "l.pdf")
    assert text.count(VALUES[0]) == 2
    assert "4711 with" in text
    wordy = ShaftLabel(1, "MIDSPAN SHAFT 1", ("500.00 ± 0.39 thou " * 3,), "1")
    with pytest.raises(OutputError) as caught:
        write_labels([wordy], sheet, tmp_path / "l.pdf")
    assert caught.value.code == "label_too_small"


def test_a_collar_too_short_for_a_long_number_is_refused(tmp_path):
    least = (18.8, LEAST_MM[LabelShape.COLLAR][1])
    short = usual_sheet(LabelShape.COLLAR, 5.0, LabelPaper.ROLL).model_copy(
        update={"label_mm": least, "page_mm": least}
    )
    write_labels([label(4711)], short, tmp_path / "l.pdf")
    assert texts(seen_on_tube(printed(tmp_path / "l.pdf"), 5.0, 0)) == ["4711"]
    with pytest.raises(OutputError) as caught:
        write_labels([label(123456789)], short, tmp_path / "l.pdf")
    assert caught.value.code == "label_too_small"


@pytest.mark.parametrize("shape", AROUND)
@pytest.mark.parametrize("tube_mm", [None, 1.0, 40.0])
def test_a_label_around_a_shaft_needs_its_diameter(shape, tube_mm):
    with pytest.raises(ConfigurationError) as caught:
        usual_sheet(shape, tube_mm, LabelPaper.A4)
    assert caught.value.code == "no_tube"


# Printing


@pytest.mark.process
def test_what_the_printer_says_is_passed_on(tmp_path):
    with pytest.raises(OutputError) as caught:
        print_file(tmp_path / "l.pdf", "shop", "labels", lambda command: "lp: unknown destination")
    assert caught.value.code == "not_printed"
    assert "unknown destination" in str(caught.value)
    with pytest.raises(OutputError) as caught:
        run_command(["no-such-utility-for-printing"])
    assert caught.value.code == "no_printing"


def test_on_windows_the_program_for_pdfs_prints(tmp_path, monkeypatch):
    asked = []
    monkeypatch.setattr(printing.sys, "platform", "win32")
    monkeypatch.setattr(os, "startfile", lambda *words: asked.append(words), raising=False)
    path = tmp_path / "l.pdf"
    print_file(path, None, "labels")
    print_file(path, "Label printer", "labels")
    assert asked == [(path, "print"), (path, "printto", '"Label printer"')]


@pytest.fixture
def folder(tmp_path):
    with store_in(tmp_path).open() as store:
        for shaft in (1, 2, 3):
            result = told(spine_thou=500.0 + shaft, u_spine_thou=0.2, spread_thou=2.5, gauge="bench")
            add_result(store, run_of(shaft, f"blue-{shaft}"), result)
    return tmp_path


def test_a_label_is_printed_when_its_shaft_is_measured(folder):
    commands = []
    sheet = Sheet(page_mm=(100.0, 50.0), columns=2, rows=1, first_mm=(2.0, 2.0))
    printer = LabelPrinter(sheet, "shop", folder, lambda command: commands.append(list(command)) or "")
    assert commands == []
    with store_in(folder).open() as store:
        paths = [printer.print_label(store, shaft) for shaft in (1, 2, 3)]
    assert [command[command.index("-d") + 1] for command in commands] == ["shop"] * 3
    assert [command[-1] for command in commands] == [str(path) for path in paths]
    halves = [np.hsplit(printed(path)[:, : 100 * 8 * ENLARGED // 2 * 2], 2) for path in paths]
    assert [[texts(half) for half in sides] for sides in halves] == [  # the sheet is put in again until it is full
        [["MIDSPAN SHAFT 1"], []],
        [[], ["MIDSPAN SHAFT 2"]],
        [["MIDSPAN SHAFT 3"], []],
    ]


def test_the_shop_is_left_out_where_there_is_no_room_for_it(tmp_path):
    wide, high = LEAST_MM[LabelShape.BOX]
    size = (wide + 20.0, high)
    sheet = Sheet(page_mm=size, label_mm=size, columns=1, rows=1, first_mm=(0.0, 0.0), step_mm=size, outline=False)
    values = (*VALUES, "stiff 34 / 214", "52.14 ± 0.05 lb")
    for extra, has_room in ((values[:2], True), (values, False)):
        made = ShaftLabel(12, "MIDSPAN SHAFT 12", extra, "12 blue-7", "spring 1", "Alder & Ash")
        write_labels([made], sheet, tmp_path / "l.pdf")
        assert ("Alder & Ash" in text_of(tmp_path / "l.pdf")) is has_room
        assert "spring 1" in text_of(tmp_path / "l.pdf")


def test_a_session_prints_the_name_of_the_shop(folder):
    printer = LabelPrinter(Sheet(), None, folder, lambda _command: "", shop="Alder & Ash")
    with store_in(folder).open() as store:
        assert "Alder & Ash" in text_of(printer.print_label(store, 1))


@pytest.fixture
def lp(tmp_path, monkeypatch):
    """Put a utility `lp` before that of the system; return the file with the lines that it was called with."""
    programs, said = tmp_path / "programs", tmp_path / "said.txt"
    programs.mkdir()
    (programs / "lp").write_text(f'#!/bin/sh\necho "$*" >> {said}\n')
    (programs / "lp").chmod(stat.S_IRWXU)
    monkeypatch.setenv("PATH", f"{programs}{os.pathsep}{os.environ['PATH']}")
    return said


@pytest.mark.process
def test_nothing_is_printed_unless_it_is_asked_for(folder, lp):
    (folder / "midspan.toml").write_text(
        '[labels]\nshape = "collar"\ntube_mm = 6.5\npaper = "roll"\nprinter = "shop"\n'
    )
    assert midspan("shafts", "labels", "1", "2", folder=folder).returncode == 0
    assert not lp.exists()
    assert texts(seen_on_tube(printed(folder / "labels.pdf"), 6.5, 90)) == ["0001"]
    assert midspan("shafts", "labels", "1", "2", "--print", folder=folder).returncode == 0
    assert midspan("shafts", "labels", "1", "--print", "--printer", "office", folder=folder).returncode == 0
    assert lp.read_text().splitlines() == [f"-c -t shaft labels -d {name} -- labels.pdf" for name in ("shop", "office")]


def test_what_is_typed_of_the_paper_wins_over_the_workspace(folder):
    (folder / "sheet.toml").write_text("outline = false\n")
    (folder / "midspan.toml").write_text('[labels]\nsheet = "sheet.toml"\n')
    midspan("shafts", "labels", "1", "--paper", "roll", folder=folder)
    assert texts(printed(folder / "labels.pdf")) == ["MIDSPAN SHAFT 1"]
    with pypdfium2.PdfDocument(folder / "labels.pdf") as document:
        assert round(document[0].get_width() * 25.4 / 72) == 45
    both = midspan("shafts", "labels", "1", "--paper", "roll", "--sheet", "sheet.toml", folder=folder)
    assert refusal(both, ConfigurationError).code == "two_papers"


@pytest.mark.parametrize("code", ["MIDSPAN SHAFT 2", "midspan shaft 2", "0002", "#2"])
def test_what_is_read_off_any_label_finds_the_shaft(folder, code):
    with store_in(folder).open() as store:
        assert read_name(store, code) == 2
