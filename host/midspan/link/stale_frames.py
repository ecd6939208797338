"""What of a gauge's frames is new: a line, or a program between, may say again what was said before.

A gauge numbers its frames in the order in which it speaks, and draws another boot number at every start. So a frame
whose number does not come after the newest is old, and so is every Identify of a boot number that another has followed.
Only Identify carries the boot number; section 7 of SPEC.md says what cannot be told for that.
"""

from __future__ import annotations

from collections.abc import Hashable
from copy import deepcopy
from enum import Enum
from typing import Self

from midspan.wire.framing import SEQUENCES

# More than a gauge sends without a host.
LARGEST_LEAP = 4096


class FrameNews(Enum):
    """Where a frame stands among those that came."""

    NEW = "later than all that came"
    OLD = "said before, or overtaken"
    UNPROVEN = (
        "further on than the next, or an Identify of a boot number never heard before: it may be of another start"
    )


class Succession:
    """The newest frame that came from a gauge, its boot number, and those that are over.

    Keep it as long as frames of the same gauge may come, also over several conversations. `newest` is the number of
    the newest frame, `lost` counts those that are missing between those that came, `old` those that came too late,
    `old_since_new` those since the newest. `sent` is this host's own next number, which goes on too: no reply to an
    earlier request answers a later one. A host begins it anywhere, so that neither does a reply to another host.

    >>> gauge = Succession()
    >>> [gauge.standing(sequence, boot).name for sequence, boot in [(7, 77), (8, None), (10, None), (8, None), (0, 78)]]
    ['NEW', 'NEW', 'UNPROVEN', 'OLD', 'UNPROVEN']
    >>> gauge.standing(11, 77).name, gauge.lost  # 9 and 10 did not come, or may not have been of this start
    ('NEW', 2)
    >>> gauge.believe(1, 78)
    >>> gauge.standing(12, 77).name, gauge.standing(2, 78).name, gauge.old
    ('OLD', 'NEW', 2)
    """

    def __init__(self, sent: int = 0) -> None:
        self.lost = self.old = self.old_since_new = 0
        self.sent = sent
        self._boot: Hashable | None = None
        self.newest = 0
        self._over: set[Hashable] = set()

    def standing(self, sequence: int, boot: Hashable | None = None) -> FrameNews:
        """Where a frame stands that came now; `boot` is what an Identify says, None with any other record.

        The first boot number is believed at once; before it all is new. Then only the next frame is, and an Identify
        that says itself that it is of this start, however much was lost before it.
        """
        found = self._standing(sequence, boot)
        if found is FrameNews.OLD:
            self.old += 1
            self.old_since_new += 1
        elif found is FrameNews.NEW:
            self.old_since_new = 0
        return found

    def believe(self, sequence: int, boot: Hashable) -> None:
        """The gauge has this boot number now, and this frame is its newest: whatever it was before is over."""
        if self._boot is not None and self._boot != boot:
            self._over.add(self._boot)
        self._boot, self.newest, self.old_since_new = boot, sequence, 0

    def copy(self) -> Self:
        """One that goes on from here by itself."""
        return deepcopy(self)

    def _standing(self, sequence: int, boot: Hashable | None) -> FrameNews:
        if boot in self._over:
            return FrameNews.OLD
        if self._boot is None:
            if boot is not None:
                self.believe(sequence, boot)
            return FrameNews.NEW
        if boot is not None and boot != self._boot:
            return FrameNews.UNPROVEN
        ahead = (sequence - self.newest) % SEQUENCES
        if not 0 < ahead < SEQUENCES // 2:
            return FrameNews.OLD
        if ahead > (1 if boot is None else LARGEST_LEAP):
            return FrameNews.UNPROVEN
        self.lost += ahead - 1
        self.newest = sequence
        return FrameNews.NEW
