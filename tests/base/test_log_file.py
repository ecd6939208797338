"""The log: the form of its lines, its size, several writers at once, and failures that break nothing."""

import io
import logging
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from limits import no_room
from midspan.base import log_file
from midspan.base.errors import LinkError
from midspan.base.log_file import CLOSING, KEPT, OPENING, LogLine, Ours, logging_to, quoted
from midspan.wire.records import State
from places import ROOT

LOG = logging.getLogger("midspan.tests")


def line_of(message, *arguments):
    """Return the line for a message of a module."""
    return LogLine(process=1).format(logging.LogRecord("midspan.a.b", logging.INFO, "", 0, message, arguments, None))


@pytest.mark.slow
@given(st.text())
def test_text_from_outside_is_in_quotes_that_it_cannot_close(text):
    said = quoted(text)
    assert re.fullmatch(f"{OPENING}[^{OPENING}{CLOSING}]*{CLOSING}", said)
    assert said.isprintable()


def test_numbers_and_own_words_are_not_quoted():
    line = line_of("%s is %s after %.1f s, %d", Ours("sort"), State.IDLE, 1.26, 3)
    assert line.partition("Z ")[2] == "INFO a.b [1] sort is IDLE after 1.3 s, 3"


def refuse():
    """Raise an error that another one caused."""
    try:
        raise OSError(5, "torn out by Ann")
    except OSError as error:
        raise LinkError("COM3: gone") from error


def test_an_error_is_logged_with_its_class_and_that_of_its_cause():
    with pytest.raises(LinkError) as caught:
        refuse()
    assert line_of("%s", caught.value).partition("[1] ")[2] == "LinkError from OSError EIO «COM3: gone»"


def test_an_error_that_was_raised_from_itself_is_logged_once():
    error = LinkError("gone")
    error.__cause__ = error
    assert log_file.log_argument(error) == "LinkError «gone»"


def test_an_error_is_logged_with_the_lines_that_raised_it():
    from midspan.wire import framing

    with pytest.raises(framing.FrameError) as caught:
        framing.encode(1, b"")
    assert re.match(r"FrameError at wire\.framing:\d+ «", log_file.log_argument(caught.value))


def test_the_folder_comes_with_the_first_message_and_the_level_goes_with_the_block(tmp_path):
    path, shown = tmp_path / "a" / "b" / "midspan.log", io.StringIO()
    with logging_to(path, pytest.fail):
        assert not path.parent.exists()
        LOG.debug("too fine")
        LOG.info("first")
    with logging_to(path, pytest.fail, shown):
        LOG.debug("fine")
    LOG.warning("too late")
    assert [line.partition("] ")[2] for line in path.read_text().splitlines()] == ["first", "fine"]
    assert shown.getvalue().endswith("] fine\n")


def test_it_stays_small(tmp_path, monkeypatch):
    monkeypatch.setattr(log_file, "LARGEST_BYTES", 1000)
    with logging_to(tmp_path / "midspan.log", pytest.fail):
        for number in range(200):
            LOG.info("message %d", number)
    sizes = [path.stat().st_size for path in tmp_path.iterdir()]
    assert len(sizes) == 1 + KEPT
    assert max(sizes) <= 1000
    assert "message 199\n" in (tmp_path / "midspan.log").read_text()


def test_all_its_files_take_what_the_readme_says():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (most_mb,) = map(int, re.search(r"a log of your own, (\d+) MB at most", readme).groups())
    assert 1_000_000 * most_mb == (1 + KEPT) * log_file.LARGEST_BYTES


def test_two_programs_write_to_the_file_of_the_name(tmp_path):
    path = tmp_path / "midspan.log"
    with logging_to(path, pytest.fail):
        LOG.info("before")
        path.rename(tmp_path / "midspan.log.1")  # as the other program does when it is large
        LOG.info("after")
    assert "before" in (tmp_path / "midspan.log.1").read_text()
    assert path.read_text().count("\n") == 1
    assert "after" in path.read_text()


def test_a_log_that_cannot_be_written_complains_once(tmp_path):
    said = []
    (tmp_path / "file").touch()
    with logging_to(tmp_path / "file" / "midspan.log", said.append):
        LOG.info("first")
        LOG.info("second")
    assert len(said) == 1


def test_a_full_disk_is_reported_once_and_breaks_nothing(tmp_path):
    said = []
    with no_room(100), logging_to(tmp_path / "midspan.log", said.append):
        for _ in range(10):
            LOG.info("no room for this")
    assert len(said) == 1
