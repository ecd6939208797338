"""Weights from a scale on a serial line: what counts as a weight, and refusals, which store nothing."""

import os
import re
import sqlite3
from contextlib import closing, contextmanager
from textwrap import dedent
from threading import Thread

import pytest
from commands_rig import complaint, midspan
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.config import validated
from midspan.base.errors import ConfigurationError, LinkError, ReadingsError
from midspan.cli.shafts_weigh import by_scale
from midspan.sets.scale import EXAMPLE, Scale, ScalePort, load_scale, wait_until_empty, weigh
from midspan.sets.weights import weight_of
from places import ROOT
from results import told
from rig import bare_line, ticking
from stores import add_result, run_of

GRAM_PER_GRAIN = 0.06479891  # exact: NIST SP 811 (2008), appendix B.8
SCALE = Scale.model_validate(EXAMPLE)
FILE = """\
port = "{port}"
ask = "?"                      # this scale sends only when asked
pattern = 'weight\\s+(?P<value>\\S+) (?P<unit>\\w+) (?P<steady>\\w+)'
unit = "grains"
unit_words = ["grains"]
steady_words = ["steady"]
overload_words = ["too heavy"]
"""
WEIGHED = ["weight 312.4 grains steady"] * 3


def lines(*texts):
    """Return texts as lines of the scale."""
    return "".join(f"{text}\r\n" for text in texts).encode()


class Scripted:
    """A pan in memory that sends these lines in pieces of some bytes."""

    name = "bench scale"

    def __init__(self, *texts, piece=7, old=b""):
        self.left, self.piece, self.old = lines(*texts), piece, old

    def forget(self):
        self.old = b""

    def read(self):
        waiting = self.old + self.left
        self.old, self.left = b"", waiting[self.piece :]
        return waiting[: self.piece]

    def write(self, data):
        assert data == b""


def weighed(*texts, **options):
    """Weigh with these lines of the scale."""
    return weigh(Scripted(*texts, **options), SCALE, "shaft 3", ticking(0.05))


# What counts


def test_equal_steady_readings_in_a_row_are_a_weight():
    found = weighed("weight 311.0 grains moving", "weight 312.4 grains moving", *WEIGHED)
    assert found == weight_of("312.4", "grains", "x")
    assert found.weight_g == pytest.approx(312.4 * GRAM_PER_GRAIN, rel=1e-12)


@pytest.mark.parametrize("between", ["weight 312.4 grains moving", "weight 312.5 grains steady"])
def test_they_have_to_come_one_after_another(between):
    spoilt = [*WEIGHED[:2], between]
    with pytest.raises(ReadingsError) as caught:
        weighed(*(spoilt * 20))
    assert caught.value.code == "unsteady"
    assert weighed(*spoilt, *WEIGHED).weight_g == pytest.approx(312.4 * GRAM_PER_GRAIN)


def test_what_was_sent_before_is_not_of_this_shaft():
    old = lines(*["weight 298.0 grains steady"] * 5)
    assert weighed(*WEIGHED, old=old).weight_g == pytest.approx(312.4 * GRAM_PER_GRAIN)


@given(st.integers(1, 40), st.integers(1, 5))
def test_neither_pieces_nor_a_first_line_cut_short_matter(piece, cut):
    cut_line = WEIGHED[0][-cut * 4 :]
    assert weighed(cut_line, *WEIGHED, piece=piece).weight_g == pytest.approx(312.4 * GRAM_PER_GRAIN)


def test_a_scale_without_units_and_steadiness_is_taken_at_its_word():
    plain = Scale.model_validate({"port": "p", "pattern": "(?P<value>.*)", "unit": "grams", "equal": 2})
    found = weigh(Scripted(" +20,25", " +20,25"), plain, "shaft 3", ticking(0.05))
    assert found.weight_g == 20.25
    assert found.u_weight_g**2 == pytest.approx(0.01**2 / 12)  # half its last digit either way, rectangular


# What is refused


@pytest.mark.parametrize(
    ("texts", "code", "named"),
    [
        (["weight 20.24 grams steady"] * 3, "unit", ["grams", "grains"]),
        (["weight 20.24 grains steady"] * 3, "implausible", ["20.24 grains", "grams"]),
        (["too heavy"], "overloaded", ["too heavy"]),
        (["weight -3.1 grains steady"] * 3, "negative", ["-3.1"]),
        (["weight 0.0 grains steady"] * 3, "implausible", ["0 grains"]),
        (["weight 6000 grains steady"] * 3, "implausible", ["6000 grains"]),
        (["\x8f\x02~~"] * 20, "noise", ["bench scale"]),
        (["x" * 5000], "noise", ["bench scale"]),
        ([], "silent", ["bench scale"]),
        (WEIGHED[:2], "unsteady", []),
        (["weight nan grains steady"] * 20, "noise", ["bench scale"]),
    ],
)
def test_what_is_no_weight_of_a_shaft_is_refused(texts, code, named):
    with pytest.raises(ReadingsError) as caught:
        weighed(*texts, piece=64)
    assert caught.value.code == code
    assert str(caught.value).startswith("shaft 3: ")
    assert [value for value in named if value not in str(caught.value)] == []


@given(st.text(max_size=200).filter(lambda text: "too heavy" not in text))
def test_no_line_is_taken_for_a_reading_that_is_none(text):
    assert SCALE.shown(text) is None or text.strip().startswith("weight")


@given(
    st.decimals(-999, 999, places=2),
    st.sampled_from(["grains", "grams", "stones"]),
    st.sampled_from(["steady", "moving"]),
)
def test_a_reading_says_what_was_sent(value, unit, state):
    line = f"weight  {value} {unit} {state}\r"
    if unit != "grains":
        with pytest.raises(ReadingsError) as caught:
            SCALE.shown(line)
        assert caught.value.code == "unit"
        return
    shown = SCALE.shown(line)
    assert (shown.text, shown.steady) == (str(value), state == "steady")


@pytest.mark.slow
@given(st.lists(st.binary(max_size=60), max_size=40))
def test_noise_never_becomes_a_weight(pieces):
    pan = Scripted()
    pan.left = b"".join(pieces)
    with pytest.raises(ReadingsError):
        weigh(pan, SCALE, "shaft 3", ticking(0.05))


def test_the_pan_has_to_be_emptied_before_the_next_shaft():
    last = weight_of("312.4", "grains", "x")
    wait_until_empty(Scripted(*WEIGHED, "weight 0.2 grains steady"), SCALE, last, "shaft 3", ticking(0.05))
    with pytest.raises(ReadingsError) as caught:
        wait_until_empty(Scripted(*WEIGHED), SCALE, last, "shaft 3", ticking(0.05))
    assert caught.value.code == "not_emptied"


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"pattern": "(?P<value>"}, ["pattern"]),
        ({"pattern": r"(\d+)"}, ["pattern", "none", "value"]),
        ({"pattern": r"(?P<value>\d+)(?P<date>\d+)"}, ["pattern", "value, date"]),
        ({"unit": "ounces"}, ["unit = 'ounces'", "grains", "grams"]),
        ({"unit_words": []}, ["unit_words"]),
        ({"steady_words": []}, ["steady_words"]),
        ({"equal": 1}, ["equal = 1"]),
        ({"baud": "9600"}, ["baud = '9600'"]),
        ({"bauds": 9600}, ["bauds", "baud"]),
    ],
)
def test_a_file_that_is_not_clear_is_refused(tmp_path, changed, named):
    with pytest.raises(ConfigurationError) as caught:
        validated(Scale, EXAMPLE | changed, tmp_path / "scale.toml")
    assert [value for value in ["scale.toml", *named] if value not in str(caught.value)] == []


# On a line


@contextmanager
def answering(*texts):
    """Open a port with a scale that answers each question with the next of these lines, then with an empty pan."""
    waiting = list(texts)

    def serve(far):
        try:
            while os.read(far, 1):
                os.write(far, lines(waiting.pop(0) if waiting else "weight 0.0 grains steady"))
        except OSError:
            pass  # the line is closed: the test is over

    with bare_line() as (far, port):
        Thread(target=serve, args=(far,), daemon=True).start()
        yield port


@pytest.fixture
def stock(store_place):
    """A database with the shafts 1 to 3."""
    with store_place.open() as store:
        batch = store.begin_batch("blue", 0)
        for shaft in (1, 2, 3):
            add_result(store, run_of(shaft, f"blue-{shaft}"), told(spine_thou=500.0, u_spine_thou=0.1), batch=batch)
    return store_place


def noted(stock):
    """Return the weights in the database by number of the shaft."""
    with closing(sqlite3.connect(stock.file)) as database:
        return database.execute("SELECT shaft, round(weight_g, 4) FROM weights ORDER BY id").fetchall()


def weigh_on(stock, port, *words):
    """Run `midspan shafts weigh` with the scale at a port."""
    file = stock.file.parent / "scale.toml"
    file.write_text(FILE.format(port=port), encoding="utf-8")
    return midspan("shafts", "weigh", *words, "--scale", file, "--store", stock)


def test_one_shaft_is_weighed_and_noted(stock):
    with answering("weight 312.3 grains moving", *WEIGHED) as port:
        done = weigh_on(stock, port, "blue-2")
    assert done.returncode == 0, done.stderr
    assert all(value in done.stdout for value in ("blue-2", "312.40", "20.243"))
    assert noted(stock) == [(2, 20.2432)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("texts", "named"),
    [
        (["\x8f\x02~~"] * 20, "noise"),
        (["weight 20.2 grams steady"], "'grams'"),
        (["too heavy"], "'too heavy'"),
        (["weight -312.4 grains steady"] * 3, "-312.4"),
    ],
)
def test_what_is_refused_changes_nothing_stored(stock, texts, named):
    with answering(*texts) as port:
        assert named in complaint(weigh_on(stock, port, "1"))
    assert noted(stock) == []


@pytest.mark.slow
def test_an_unknown_shaft_is_refused_before_it_is_weighed(stock):
    with answering() as port:
        assert "shaft 77" in complaint(weigh_on(stock, port, "77"))


def test_a_typed_weight_and_a_scale_are_one_too_many(stock):
    assert complaint(weigh_on(stock, "none", "1", "312.4", "--unit", "grains"))
    assert noted(stock) == []


@pytest.mark.slow
def test_shaft_after_shaft_is_asked_for_and_a_bad_one_ends_nothing(stock, capsys):
    answers = iter(["1", "nobody", "2", "3", ""])
    second = ["weight 299.9 grains steady"] * 3
    empty = ["weight 0.1 grains steady"]
    with answering(*WEIGHED, *empty, "too heavy", *second, *empty) as port:
        (stock.file.parent / "scale.toml").write_text(FILE.format(port=port), encoding="utf-8")
        by_scale(stock, stock.file.parent / "scale.toml", None, lambda _: next(answers), ticking(0.01))
    assert [shaft for shaft, _ in noted(stock)] == [1, 3]
    refusals = [line for line in capsys.readouterr().err.splitlines() if "shaft" in line]
    assert len(refusals) == 2
    assert "nobody" in refusals[0]
    assert "shaft 2: " in refusals[1]


@pytest.mark.slow
def test_a_port_that_is_missing_or_goes_away_is_reported(stock):
    assert "no-such-port" in complaint(weigh_on(stock, "no-such-port", "1"))
    with bare_line() as (_, port), ScalePort(port, 9600) as pan:
        pan._serial.close()
        with pytest.raises(LinkError) as caught:
            pan.read()
    assert str(caught.value).startswith(f"{port}: ")


def test_the_file_reads_as_the_readme_shows_it(tmp_path):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^    port = .*\n(?:    .*\n)+", readme, re.MULTILINE)
    (tmp_path / "scale.toml").write_text(dedent(block), encoding="utf-8")
    assert load_scale(tmp_path / "scale.toml") == SCALE
