"""Text that is safe to show: no terminal control, only characters the screen has, and little of any long input.

Everything on its way to a terminal passes through here: printed lines by the streams of `screen`, tables by the console
of `report`, errors by `brief`.

>>> shown("spine 500.2 ± 0.4 thou, 0\\N{EN DASH}3\\x1b[31m", "ascii")
'spine 500.2 +/- 0.4 thou, 0-3?[31m'
"""

from __future__ import annotations

import codecs
import re
import unicodedata

MOST_OF_INPUT = 200  # characters of one quoted value in an error
LONGEST_ERROR = 600  # characters of one message; Midspan's own words are fewer, so the rest is input
# Unbroken text, or text between quotation marks, that is too long to be Midspan's own.
_LONG = re.compile(rf"\S{{{MOST_OF_INPUT + 1},}}|'[^'\n]{{{MOST_OF_INPUT + 1},}}'")
_SPELT = {
    "±": "+/-", "°": " deg", "µ": "u", "\u00d7": "x", "·": ".", "→": "->", "≤": "<=", "≥": ">=", "\u2013": "-",
    "\u2014": "-", "\u2212": "-", "\u2044": "/", "\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"',
    "─": "-", "━": "-", "│": "|", "┃": "|",
}  # fmt: skip
READABLE = "midspan-readable"  # name of the codec error handler that spells characters as above


def printable(text: str) -> str:
    """Return text on one line, with every control character replaced by a question mark.

    Labels in foreign archives may hold sequences that steer a terminal.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        Text of the same length, without control characters or line breaks.

    Examples
    --------
    >>> printable("blue\\n12\\x1b[31m")
    'blue?12?[31m'
    """
    return text if text.isprintable() else "".join(sign if sign.isprintable() else "?" for sign in text)


def harmless(text: str) -> str:
    """Return lines of text, with control characters replaced by question marks and tabs by spaces.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        The same lines, without control characters other than line breaks.

    Examples
    --------
    >>> harmless("one\\ttwo\\nth\\x1bree")
    'one     two\\nth?ree'
    """
    return text if text.isprintable() else "\n".join(map(printable, text.expandtabs().split("\n")))


def shown(text: str, encoding: str) -> str:
    """Return lines of text as a screen can show them, with characters that it lacks spelt in ASCII.

    Parameters
    ----------
    text : str
        Any text.
    encoding : str
        Encoding of the screen, as Python names it.

    Returns
    -------
    str
        Harmless text that the encoding can represent.

    Examples
    --------
    >>> shown("spine 500.2 ± 0.4 thou", "ascii")
    'spine 500.2 +/- 0.4 thou'
    """
    return harmless(text).encode(encoding, READABLE).decode(encoding)


def _spelt(error: UnicodeError) -> tuple[str, int]:
    """Return the ASCII spelling of what an encoder could not encode, and where it goes on: a codec error handler."""
    assert isinstance(error, UnicodeEncodeError)
    return "".join(map(_in_ascii, error.object[error.start : error.end])), error.end


def _in_ascii(sign: str) -> str:
    """Return an ASCII spelling of one character, a question mark if it has none."""
    if sign in _SPELT:
        return _SPELT[sign]
    parts = unicodedata.normalize("NFKD", sign)  # "é" is an "e" and an accent, "½" is "1⁄2"
    plain = "".join(_SPELT.get(part, part) for part in parts)
    return plain.encode("ascii", "ignore").decode() or "?"


codecs.register_error(READABLE, _spelt)


def short(text: str) -> str:
    """Return text with the middle cut out of every piece that is so long that it must be quoted input.

    Parameters
    ----------
    text : str
        A message, or part of one.

    Returns
    -------
    str
        The text; unbroken or quoted pieces in it have at most 200 characters.

    Examples
    --------
    >>> len(short("label " + 5000 * "x" + " is taken"))
    215
    """
    return _LONG.sub(lambda found: _without_middle(found[0], MOST_OF_INPUT), text)


def brief(message: str) -> str:
    """Return an error message on one line of printable characters, with long input cut short.

    Parameters
    ----------
    message : str
        The message.

    Returns
    -------
    str
        The message, at most 600 characters; what is cut is in the middle.

    Examples
    --------
    >>> brief("hand.csv: cannot\\n  be read")
    'hand.csv: cannot be read'
    """
    return _without_middle(printable(" ".join(short(message).split())), LONGEST_ERROR)


def _without_middle(text: str, most: int) -> str:
    """Return at most `most` characters of a text: a message begins with the place and ends with the advice."""
    if len(text) <= most:
        return text
    end = most // 3
    return f"{text[: most - end - 3]}...{text[-end:]}"
