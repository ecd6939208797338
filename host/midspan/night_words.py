"""A night in plain words: how it ended, and what became of the shafts.

>>> shafts(1), shafts(12)
('1 shaft', '12 shafts')
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import datetime, tzinfo

from midspan.night_facts import Place, keeps_time, last_ms, not_measured
from midspan.night_record import NightRecord
from midspan.passage import Happening, HappeningKind, Passage, Stage
from midspan.wording import shafts_numbered

TURNING = (HappeningKind.BEGUN, HappeningKind.RESUMED, HappeningKind.ENDED, HappeningKind.STOPPED)
CLOCK_SET = "While the computer's clock was set"
SAID = {
    "bin": "lie in bins that they fit",
    "rejected": "were turned away",
    "cracked": "may be cracked",
    "recheck": "wait to be measured again",
    "standard": "went the way of the check standard",
    "": "lie in places of an earlier plan",
}


def shafts(number: int) -> str:
    """A number of shafts."""
    return "1 shaft" if number == 1 else f"{number} shafts"


def numbered(some: Sequence[Passage]) -> str:
    """Shafts by their numbers."""
    return shafts_numbered([one.shaft for one in some])


def clock(at_ms: int, zone: tzinfo) -> str:
    """Hour and minute."""
    return datetime.fromtimestamp(at_ms / 1000, zone).strftime("%H:%M")


def end_of(record: NightRecord) -> Happening | None:
    """How the night ended; None when the journal does not tell."""
    return end_among(record.happenings)


def end_among(happenings: Sequence[Happening]) -> Happening | None:
    """The same from all that happened in a night."""
    turning = [one for one in happenings if one.kind in TURNING]
    return turning[-1] if turning and turning[-1].kind in (HappeningKind.ENDED, HappeningKind.STOPPED) else None


def headline(record: NightRecord) -> str:
    """The night in a few words."""
    end = end_of(record)
    if end is None:
        return "The night has not come to its end"
    return "The night came to its end" if end.kind is HappeningKind.ENDED else "The night stopped"


def story(record: NightRecord, found: Sequence[Place], zone: tzinfo) -> Iterator[str]:
    """What happened, a sentence at a time."""
    end, stock = end_of(record), record.stock
    begun, last = clock(record.night.begun_ms, zone), clock(last_ms(record), zone)
    when = f"Between {begun} and {last}" if keeps_time(record) else CLOCK_SET
    yield f"{when} the gauge took in {shafts(len(stock))}."
    yield from _where_they_lie(record, found)
    unmeasured = len(not_measured(record))
    if unmeasured:
        yield f"{shafts(unmeasured)} could not be measured."
    if record.checks:
        good = sum(one.good for one in record.checks)
        read = "right every time" if good == len(record.checks) else f"right {good} times of {len(record.checks)}"
        yield f"The gauge read its check standard {read}."
    else:
        yield "No check standard was measured: nothing but the calibration vouches for these numbers."
    if end is None:
        yield f"The journal ends at {last} without saying why: the run still goes on, or its computer went down."
    else:
        yield f"{'It ended' if end.kind is HappeningKind.ENDED else 'It stopped'} because {because(end.words)}."


def because(words: str) -> str:
    """A reason as the end of a sentence that begins with because."""
    return words.rstrip(".") or "somebody wished it"


def _where_they_lie(record: NightRecord, found: Sequence[Place]) -> Iterator[str]:
    lie: Counter[str] = Counter()
    for place in found:
        lie[place.use] += sum(one.standard is None for one in place.here)
    parts = [f"{lie[use]} {words}" for use, words in SAID.items() if lie[use]]
    yield f"{' and '.join([', '.join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts) or 'None is in a place'}."
    along = sum(max(0, one.passed - 1) for one in record.stock)
    if along:
        yield f"{along} more came along with another and {'was' if along == 1 else 'were'} not measured."
    unsure = [one for one in record.stock if one.stage is Stage.UNCERTAIN]
    if unsure:
        yield f"Of {len(unsure)} it is not known for sure where {'it' if len(unsure) == 1 else 'they'} fell."
