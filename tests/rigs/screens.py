"""Screens, reports and pages made ready for their snapshots: `assert screen(text) == snapshot`.

Values are checked as values; a snapshot holds the words around them. Renew one with `pytest --snapshot-update FILE` and
read the difference before it is committed.
"""

import re
from html.parser import HTMLParser
from importlib.metadata import version
from io import StringIO
from tempfile import gettempdir

from rich.console import Console

# What differs from run to run is named by the test: `screen(text, TIMES)`. Its digits become zeros, so columns stay.
NUMBERS = r"\d+"
TIMES = r"\b\d\d:\d\d(?::\d\d)?\b"
DATES = r"\b\d{4}-\d\d-\d\d\b"

# A folder that pytest made for a test: .../pytest-of-NAME/pytest-3/test_x0, with a worker's own part on several cores.
_FOLDER = re.compile(rf"(?:/private)?{re.escape(gettempdir())}/pytest-of-[^/]+/pytest-\d+/(?:popen-gw\d+/)?[^/\s'\"]+")

_BLOCKS = {"title", "h1", "h2", "h3", "h4", "p", "li", "tr", "dt", "dd", "div", "section", "caption", "figcaption"}
_UNSEEN = {"style", "svg", "script"}
_VOID = {"meta", "br", "link", "img", "input", "hr"}


def screen(text: str, *noise: str) -> str:
    """Return a text with folders of tests and the version replaced, and zeros for digits where a pattern matches."""
    text = _FOLDER.sub("FOLDER", text).replace(f"Midspan {version('midspan')}", "Midspan VERSION")
    for pattern in noise:
        text = re.sub(pattern, lambda found: re.sub(r"\d", "0", found[0]), text)
    return "\n".join(line.rstrip() for line in text.splitlines())


def printed(thing: object, width: int = 160) -> str:
    """Return what a terminal of a width in characters shows of a table or a text."""
    terminal = Console(file=StringIO(), width=width, markup=False, emoji=False, highlight=False)
    terminal.print(thing)
    return terminal.file.getvalue()


class PageText(HTMLParser):
    """Words of a page, a line for each block and a bar between cells; fails where an element is not closed.

    Parameters
    ----------
    html : str
        The page.
    """

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self._open: list[str] = []
        self._parts: list[str] = []
        self.feed(html)
        assert self._open == [], "elements that are not closed"

    @property
    def lines(self) -> list[str]:
        """Lines that have words, in the order of the page."""
        lines = (" ".join(line.split()).strip("| ") for line in "".join(self._parts).split("\0"))
        return [line for line in lines if line]

    @property
    def text(self) -> str:
        """All lines, ready for a snapshot."""
        return "\n".join(self.lines)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element, and begin a line or a cell where it does."""
        self.elements.append((tag, dict(attrs)))
        if tag in _BLOCKS or tag == "br":
            self._parts.append("\0")
        elif tag in ("td", "th"):
            self._parts.append(" | ")
        if tag not in _VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that has no content."""
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        """Close the innermost element, which has to be this one."""
        assert self._open.pop() == tag
        if tag in _BLOCKS:
            self._parts.append("\0")

    def handle_data(self, data: str) -> None:
        """Keep what people read: no styles, and no pictures."""
        if not _UNSEEN.intersection(self._open):
            self._parts.append(data)
