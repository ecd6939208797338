"""The load cell's converter: words in; signed counts, a status for each and lasting faults out. No scaling.

A single bad sample is only a status. A fault is a condition that lasts: single spikes, lost or repeated samples are
common, and the host's fit copes with them.

    cell = LoadCell(12500, ticks_us())
    cell.take(tick_us, word, 1)
    print(cell.count, cell.status, cell.fault)
"""

from micropython import const
from records import CELL_OUT_OF_STEP, CELL_SATURATED, CELL_SILENT, CELL_STUCK

COUNT_MIN, COUNT_MAX = const(-0x800000), const(0x7FFFFF)
SETTLING, SATURATED, OUT_OF_STEP, GAP_BEFORE = const(1), const(2), const(4), const(8)  # bits of a reading's status
BAD = const(6)  # saturated or out of step: the count says nothing about the force
_LASTING = (4, 3, 19)  # words in a row: at an end of the range, out of step, same as the last (a live one shows noise)
_FAULTS = (CELL_SATURATED, CELL_OUT_OF_STEP, CELL_STUCK)
_SMOOTHING = const(4)  # the measured interval is the mean of about 2^4 intervals


def elapsed_us(later: int, earlier: int) -> int:
    """Return the time between two ticks of a clock that wraps at 2^30, within 2^29 us, in small integers only.

    >>> elapsed_us(5, 0x3FFFFFFF)
    6
    """
    return (((later - earlier) & 0x3FFFFFFF) ^ 0x20000000) - 0x20000000


class LoadCell:
    """Judge of the converter's words; `count`, `status` and `gap_us` are those of the last word.

    `same` is the number of words in a row that had its count.
    `fault` is the code of the first fault since `clear`, or None, with the `detail` of the fault table.
    """

    def __init__(self, interval_us: int, tick_us: int) -> None:
        self.count = self.status = self.gap_us = 0
        self._scaled_interval = interval_us << _SMOOTHING
        self._first = False
        self.clear(tick_us)

    def clear(self, tick_us: int) -> None:
        """Forget what was wrong; the next sample is due from now on."""
        self.fault: int | None = None
        self.detail = self.same = 0
        self._last_us = tick_us
        self._rows = [0, 0, 0]  # words in a row with each of the conditions

    def begin(self) -> None:
        """Take the next sample as the first of a program: a time without samples before it says nothing about it."""
        self._first = True

    def interval_us(self) -> int:
        """Return the measured time between samples, us: the converter's oscillator may be off by some percent."""
        return (self._scaled_interval + (1 << _SMOOTHING - 1)) >> _SMOOTHING

    def take(self, tick_us: int, word: int, in_step: int) -> None:
        """Judge one 24-bit word; `in_step` is 0 when the bits after it were wrong."""
        count = word - 0x1000000 if word & 0x800000 else word
        saturated = not COUNT_MIN < count < COUNT_MAX
        self.status = (SATURATED if saturated else 0) | (0 if in_step else OUT_OF_STEP)
        self._time(tick_us)
        self._judge(0, saturated, count)
        self._judge(1, not in_step, self._rows[1] + 1)
        self.same = 1 + self._judge(2, count == self.count, count)
        self.count = count

    def watch(self, now_us: int) -> None:
        """Notice a silent converter: one lost sample is allowed, even with jitter."""
        silent_us = elapsed_us(now_us, self._last_us)
        if 2 * silent_us > 5 * self.interval_us():
            self._fail(CELL_SILENT, silent_us)

    def _time(self, tick_us: int) -> None:
        self.gap_us = self.interval_us() if self._first else elapsed_us(tick_us, self._last_us)
        self._first = False
        self._last_us = tick_us
        late_us = self.gap_us - self.interval_us()
        if 2 * late_us > self.interval_us():
            self.status |= GAP_BEFORE
        elif 2 * late_us > -self.interval_us():
            self._scaled_interval += self.gap_us - (self._scaled_interval >> _SMOOTHING)

    def _judge(self, condition: int, met: bool, detail: int) -> int:
        """Return for how many words a condition has lasted; too many are a fault."""
        self._rows[condition] = self._rows[condition] + 1 if met else 0
        if self._rows[condition] >= _LASTING[condition]:
            self._fail(_FAULTS[condition], detail)
        return self._rows[condition]

    def _fail(self, code: int, detail: int) -> None:
        if self.fault is None:
            self.fault, self.detail = code, detail
