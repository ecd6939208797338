"""Tell new frames of a gauge from old ones: a line, or a program between, may repeat what was said before.

A gauge numbers its frames in the order in which it sends them, draws a new boot number at every start, and puts it into
every record. So a frame of the present start is new if its number is ahead of the newest, and a frame of a start that
another has followed is old.
"""

from __future__ import annotations

from copy import deepcopy
from enum import Enum
from typing import Self

from midspan.wire.framing import SEQUENCES

LARGEST_LEAP = 4096  # frames; more than a gauge sends while no host listens


class FrameNews(Enum):
    """Where a frame belongs among those that came."""

    NEW = "later than every frame that came"
    OLD = "a repetition, or overtaken by a later frame or a later start"
    UNPROVEN = "of a start never heard of, or too far ahead to follow a loss"


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
    doubtful : int
        Number of old and unproven frames since the newest.

    Examples
    --------
    >>> gauge = Succession()
    >>> [gauge.standing(sequence, boot).name for sequence, boot in [(7, 77), (8, 77), (11, 77), (8, 77), (0, 78)]]
    ['NEW', 'NEW', 'NEW', 'OLD', 'UNPROVEN']
    >>> gauge.lost, gauge.doubtful
    (2, 2)
    >>> gauge.believe(1, 78)
    >>> gauge.standing(12, 77).name, gauge.standing(2, 78).name, gauge.old
    ('OLD', 'NEW', 2)
    """

    def __init__(self, sent: int = 0) -> None:
        self.lost = self.old = self.doubtful = 0
        self.sent = sent
        self.newest = 0
        self._boot: int | None = None
        self._over: set[int] = set()

    def standing(self, sequence: int, boot: int | None) -> FrameNews:
        """Judge a frame that came now and count it; the first boot number that comes is believed.

        Parameters
        ----------
        sequence : int
            Number of the frame.
        boot : int | None
            Boot number in its record; None for a frame without a record of this protocol, which is new if it is ahead
            of the newest and moves nothing.

        Returns
        -------
        FrameNews
            New, old, or not proven to be of the start that goes on now.
        """
        if self._boot is None and boot is not None:
            self.believe(sequence, boot)
            return FrameNews.NEW
        found, ahead = self._standing(sequence, boot), (sequence - self.newest) % SEQUENCES
        if found is FrameNews.NEW and boot is not None:
            self.lost += ahead - 1
            self.newest, self.doubtful = sequence, 0
        if found is not FrameNews.NEW:
            self.old += found is FrameNews.OLD
            self.doubtful += 1
        return found

    def believe(self, sequence: int, boot: int) -> None:
        """Take a boot number as the present one, and a frame as its newest; the boot number before it is over.

        Parameters
        ----------
        sequence : int
            Number of the frame.
        boot : int
            Boot number of the gauge.
        """
        if self._boot is not None:
            self._over.add(self._boot)
        self._over.discard(boot)
        self._boot, self.newest, self.doubtful = boot, sequence, 0

    def copy(self) -> Self:
        """Return an independent copy.

        Returns
        -------
        Succession
            Goes on from here by itself.
        """
        return deepcopy(self)

    def _standing(self, sequence: int, boot: int | None) -> FrameNews:
        """Judge a frame without counting it."""
        if self._boot is None:
            return FrameNews.NEW
        if boot in self._over:
            return FrameNews.OLD
        if boot not in (None, self._boot):
            return FrameNews.UNPROVEN
        ahead = (sequence - self.newest) % SEQUENCES
        if not 0 < ahead < SEQUENCES // 2:
            return FrameNews.OLD
        return FrameNews.NEW if ahead <= LARGEST_LEAP else FrameNews.UNPROVEN
