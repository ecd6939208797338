"""Which unfinished session of a shaft a person goes on with: the last one, if nothing else changed since.

Two halves of a session are one only on the same bench, at the same clock positions, by the same person.
"""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from itertools import islice
from typing import Any

from midspan.base.errors import ReadingsError
from midspan.base.formatting import printable
from midspan.hand_bench.record import HandSession

MOST_SAID, MOST_LETTERS = 3, 30  # of what changed, so that it stays one line


def to_go_on_with(last: HandSession | None, now: Mapping[str, Any]) -> HandSession | None:
    """The last session of a shaft when it was guided and has not ended; None when there is nothing to go on with.

    `now` are the fields that a session begun now would have. Raises ReadingsError when the last one has others.
    """
    if last is None or last.has_ended or not last.positions:
        return None
    changed = ", ".join(islice(_changes(last, now), MOST_SAID))
    if changed:
        raise ReadingsError(
            f"{last.file}: shaft {last.shaft} has an unfinished session ({progress(last)}), but {changed}: put that "
            "back to go on with it, or begin another one with --anew"
        )
    return last


def progress(session: HandSession) -> str:
    """How far a session came and when it was begun."""
    begun = datetime.fromtimestamp(session.started_ms / 1000, UTC).astimezone()
    return f"{len(session.typed)} of {session.readings} readings, begun {begun:%Y-%m-%d %H:%M}"


def _changes(session: HandSession, now: Mapping[str, Any]) -> Iterator[str]:
    was, is_now = _flat(session.bench), _flat(now["bench"])
    for key in sorted(was.keys() | is_now.keys()):
        if was.get(key) != is_now.get(key):
            yield f"{key} of the bench was {_said(was.get(key))} and is {_said(is_now.get(key))}"
    before = {"positions": session.positions, "repeats": session.repeats, "operator": session.operator}
    for key, value in before.items():
        if value != now[key]:
            yield f"{key} was {_said(value or 'nobody')} and is {_said(now[key] or 'nobody')}"


def _said(value: object) -> str:
    return printable(str(value))[:MOST_LETTERS]


def _flat(bench: Mapping[str, Any]) -> dict[str, Any]:
    return {f"{name}.{key}": value for name, section in bench.items() for key, value in dict(section).items()}
