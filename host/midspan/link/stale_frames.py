"""Tell new frames of a gauge from old ones: a line, or a program between, may repeat what was said before.

A gauge numbers its frames in the order in which it sends them and draws a new boot number at every start. So a frame
whose number does not come after the newest is old, and so is an Identify of a boot number that another has followed.
Only Identify has the boot number; section 7 of SPEC.md says what cannot be told for that reason.
"""

from __future__ import annotations

from collections.abc import Hashable
from copy import deepcopy
from enum import Enum
from typing import Self

from midspan.wire.framing import SEQUENCES

LARGEST_LEAP = 4096  # frames; more than a gauge sends while no host listens


class FrameNews(Enum):
    """Where a frame belongs among those that came."""

    NEW = "later than every frame that came"
    OLD = "a repetition, or overtaken by a later frame"
    UNPROVEN = "frames are missing before it, or its boot number is new: it may be from another start of the gauge"


class Succession:
    """The newest frame of a gauge, its boot number, and the boot numbers that are over.

    Keep it as long as frames of this gauge may come, also over several conversations. This host's own numbers go on too
    and begin at random, so that a reply to an earlier request, or to another host, answers no later request.

    Parameters
    ----------
    sent : int
        Number of this host's next frame.

    Attributes
    ----------
    newest : int
        Number of the newest frame that came.
    lost : int
        Number of frames missing between those that came.
    old : int
        Number of frames that came too late or again.
    old_since_new : int
        Number of old frames since the newest.

    Examples
    --------
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
        """Judge a frame that came now and count it.

        The first boot number is believed at once; before it every frame is new. Afterwards a frame is new only if it
        is the next one, or an Identify of the same start, however many frames were lost before it.

        Parameters
        ----------
        sequence : int
            Number of the frame.
        boot : Hashable | None
            Boot number in an Identify; None for any other record.

        Returns
        -------
        FrameNews
            New, old, or not proven to be of this start.
        """
        found = self._standing(sequence, boot)
        if found is FrameNews.OLD:
            self.old += 1
            self.old_since_new += 1
        elif found is FrameNews.NEW:
            self.old_since_new = 0
        return found

    def believe(self, sequence: int, boot: Hashable) -> None:
        """Take a boot number as the present one, and a frame as its newest; the boot number before it is over.

        Parameters
        ----------
        sequence : int
            Number of the frame.
        boot : Hashable
            Boot number of the gauge.
        """
        if self._boot is not None and self._boot != boot:
            self._over.add(self._boot)
        self._boot, self.newest, self.old_since_new = boot, sequence, 0

    def copy(self) -> Self:
        """Return an independent copy.

        Returns
        -------
        Succession
            Goes on from here by itself.
        """
        return deepcopy(self)

    def _standing(self, sequence: int, boot: Hashable | None) -> FrameNews:
        """Judge a frame without counting old frames."""
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
