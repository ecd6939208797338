"""Let only what is known to be ours into the pack: a placeholder replaces every text of a person, secrets are removed.

No list of names is complete, so nothing is searched for that might be a name. Numbers, dates, the keys and words of our
own settings and the sentences of our own log pass. Everything else is replaced, the same text by the same placeholder
everywhere, so that a reader sees what belongs together.

>>> names = Placeholders()
>>> scrubbed({"gauge": {"name": "attic", "port": "COM3"}, "notices": {"webhook": ["https://x/y"]}}, names)
{'gauge': {'name': 'name-1', 'port': 'COM3'}, 'notices': {'webhook': 'removed'}}
>>> scrubbed_line("opened «COM3», the gauge there is «attic»; saved by «Ann", names)
'opened COM3, the gauge there is name-1; saved by text-1'
"""

import math
import re
from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime, time
from typing import Any

from midspan.base.log_file import CLOSING, LINE, OPENING
from midspan.diagnose.known_words import known_keys, secret_keys
from midspan.wire.records import FaultCode, HostFault

REMOVED = "removed"
TEXT = "text"
UNKNOWN = "unknown-key"
# Names that systems give ports; a name with a serial number or a word of its own is not among them.
PORT = re.compile(r"/dev/(tty(S|ACM|USB)?|pts/)[0-9]{1,4}|COM[0-9]{1,4}|rehearsal")
VERSION = re.compile(r"(micropython )?[0-9]\.[0-9]{1,2}\.[0-9]{1,2}(?![^ ])")  # beginning of a gauge's firmware
# A quote that was torn off ends with its line.
QUOTE = re.compile(f"{OPENING}([^{CLOSING}]*)(?:{CLOSING}|$)")
CODES = frozenset(code.name for code in (*FaultCode, *HostFault))


class Placeholders:
    """Replacements of texts: kind and number, the same for the same text."""

    def __init__(self) -> None:
        self._of: dict[str, str] = {}
        self._counts: Counter[str] = Counter()

    def of(self, text: str, kind: str = TEXT) -> str:
        """Return the replacement of a text.

        Parameters
        ----------
        text : str
            Any text; ports, versions and codes of faults are returned as they are.
        kind : str
            First part of the replacement of a text that is met for the first time.

        Returns
        -------
        str
            Kind and number, the same for the same text.
        """
        version = VERSION.match(text)
        if version is not None:
            return f"{version[0]} {self.of(text[version.end() :])}".strip()
        if not text or text in CODES or PORT.fullmatch(text):
            return text
        if text not in self._of:
            self._counts[kind] += 1
            self._of[text] = f"{kind}-{self._counts[kind]}"
        return self._of[text]


def scrubbed(value: Any, names: Placeholders, key: str = TEXT) -> Any:
    """Return the value of a key of settings, with all that is in it, fit to be given away.

    Parameters
    ----------
    value : Any
        Value as TOML gives it.
    names : Placeholders
        Replacements of texts.
    key : str
        Key of the value.

    Returns
    -------
    Any
        Value of JSON.
    """
    if key in secret_keys():
        return REMOVED
    if isinstance(value, dict):
        return dict(_entry(inner, content, names) for inner, content in value.items())
    if isinstance(value, list):
        return [scrubbed(item, names, key) for item in value]
    if isinstance(value, str):
        return value if value in known_keys().get(key, ()) else names.of(value, key)
    return value if isinstance(value, bool) else _plain(value)


def _entry(key: str, value: Any, names: Placeholders) -> tuple[str, Any]:
    """Return a key and its value, fit to be given away."""
    if key in known_keys():
        return key, scrubbed(value, names, key)
    return names.of(key, UNKNOWN), _unknown(value, names)


def _unknown(value: Any, names: Placeholders) -> Any:
    """Return only types under a key of a person's own: even a number may be that of a telephone."""
    if isinstance(value, dict):
        return {names.of(key, UNKNOWN): _unknown(content, names) for key, content in value.items()}
    if isinstance(value, list):
        return [_unknown(item, names) for item in value]
    return type(value).__name__


def _plain(value: Any) -> Any:
    """Return a number that JSON can hold as it is, and a date or any other number in words."""
    if isinstance(value, date | datetime | time) or not math.isfinite(value):
        return str(value)
    return value


def scrubbed_line(line: str, names: Placeholders) -> str:
    """Return a line of a log or a trace with a placeholder for each quote.

    Parameters
    ----------
    line : str
        The line.
    names : Placeholders
        Replacements of texts.

    Returns
    -------
    str
        The line, fit to be given away.
    """
    return QUOTE.sub(lambda found: names.of(found[1]) or "empty", line)


def scrubbed_log(lines: list[str], names: Placeholders) -> Iterator[str]:
    """Yield the lines of a log fit to be given away; lines that no log of ours has are only counted.

    Parameters
    ----------
    lines : list[str]
        Lines of a log file.
    names : Placeholders
        Replacements of texts.

    Yields
    ------
    str
        A line; at the end the number of lines left out, if any.
    """
    foreign = 0
    for line in lines:
        if LINE.match(line):
            yield scrubbed_line(line, names)
        elif line:
            foreign += 1
    if foreign:
        yield f"left out: {foreign} lines that are no lines of this log"
