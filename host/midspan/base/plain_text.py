"""What people are shown: text that steers no terminal, in signs that theirs has, and no more of an input than helps.

Everything on its way to a terminal passes here: what is printed by the streams of `screen`, tables by the console of
`report`, errors by `brief`.

>>> shown("spine 500.2 ± 0.4 thou, 0\\N{EN DASH}3\\x1b[31m", "ascii")
'spine 500.2 +/- 0.4 thou, 0-3?[31m'
"""

from __future__ import annotations

import codecs
import re
import unicodedata

MOST_OF_INPUT = 200  # signs of one value in an error
LONGEST_ERROR = 600  # of everything that an error says of one thing: its own words are fewer, the rest is input
# In one piece, or between quotation marks: no word of ours is as long.
_LONG = re.compile(rf"\S{{{MOST_OF_INPUT + 1},}}|'[^'\n]{{{MOST_OF_INPUT + 1},}}'")
_SPELT = {
    "±": "+/-", "°": " deg", "µ": "u", "\u00d7": "x", "·": ".", "→": "->", "≤": "<=", "≥": ">=", "\u2013": "-",
    "\u2014": "-", "\u2212": "-", "\u2044": "/", "\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"',
    "─": "-", "━": "-", "│": "|", "┃": "|",
}  # fmt: skip
READABLE = "midspan-readable"  # the name under which codecs know the spelling above


def printable(text: str) -> str:
    """Text on one line without anything that would steer a terminal, as labels of foreign archives may have.

    >>> printable("blue\\n12\\x1b[31m")
    'blue?12?[31m'
    """
    return text if text.isprintable() else "".join(sign if sign.isprintable() else "?" for sign in text)


def harmless(text: str) -> str:
    """Lines of text without anything that would steer a terminal.

    >>> harmless("one\\ttwo\\nth\\x1bree")
    'one     two\\nth?ree'
    """
    return text if text.isprintable() else "\n".join(map(printable, text.expandtabs().split("\n")))


def shown(text: str, encoding: str) -> str:
    """Lines of text as a screen of this encoding can show them, every sign that it has not spelt in ASCII."""
    return harmless(text).encode(encoding, READABLE).decode(encoding)


def _spelt(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeEncodeError)
    return "".join(map(_in_ascii, error.object[error.start : error.end])), error.end


def _in_ascii(sign: str) -> str:
    if sign in _SPELT:
        return _SPELT[sign]
    parts = unicodedata.normalize("NFKD", sign)  # "é" is an "e" and an accent, "½" is "1⁄2"
    plain = "".join(_SPELT.get(part, part) for part in parts)
    return plain.encode("ascii", "ignore").decode() or "?"


codecs.register_error(READABLE, _spelt)


def short(text: str) -> str:
    """The text with the middle left out of whatever is too long in it to be anything but input.

    >>> len(short("label " + 5000 * "x" + " is taken"))
    215
    """
    return _LONG.sub(lambda found: _without_middle(found[0], MOST_OF_INPUT), text)


def brief(message: str) -> str:
    """What an error says of one thing, on one line of printable signs that quotes little of any input."""
    return _without_middle(printable(" ".join(short(message).split())), LONGEST_ERROR)


def _without_middle(text: str, most: int) -> str:
    """At most so many signs: what an error begins with says where, what it ends with what to do."""
    if len(text) <= most:
        return text
    end = most // 3
    return f"{text[: most - end - 3]}...{text[-end:]}"
