"""Retry policy for failures that may pass: how long to wait, when to call a person, when to give up.

>>> retry = RetryPolicy(give_up_s=600.0)
>>> [retry.pause_s(now_s) for now_s in (0.0, 0.5, 1.5)], retry.lasts_s(1.5)
([0.25, 0.5, 1.0], 1.5)
>>> retry.pause_s(700.0) is None
True
"""

from __future__ import annotations

import errno

from midspan.base.errors import ArchiveError, ArchiveGone, LinkError, MidspanError, StoreError
from midspan.store.sqlite_errors import store_fault
from midspan.wire.records import HostFault

FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.25, 15.0
CALL_AFTER_S = 60.0  # a failure that has passed by then need wake nobody
NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


class RetryPolicy:
    """Pauses between tries, doubled each time until something succeeds.

    Parameters
    ----------
    give_up_s : float
        How long a failure may last, s.
    """

    def __init__(self, give_up_s: float) -> None:
        self._give_up_s = give_up_s
        self.clear()

    def clear(self) -> None:
        """Note that something succeeded."""
        self._since_s: float | None = None
        self._pause_s = FIRST_PAUSE_S
        self.called = False

    def pause_s(self, now_s: float) -> float | None:
        """Return the pause before the next try after a failure.

        Parameters
        ----------
        now_s : float
            Time, s.

        Returns
        -------
        float | None
            Pause, s; None if the failure has lasted too long.
        """
        if self._since_s is None:
            self._since_s = now_s
        if self.lasts_s(now_s) >= self._give_up_s:
            return None
        pause, self._pause_s = self._pause_s, min(2 * self._pause_s, LONGEST_PAUSE_S)
        return pause

    def lasts_s(self, now_s: float) -> float:
        """Return how long the failure has lasted.

        Parameters
        ----------
        now_s : float
            Time, s.

        Returns
        -------
        float
            Duration, s; 0 without a failure.
        """
        return 0.0 if self._since_s is None else now_s - self._since_s

    def calls_now(self, now_s: float) -> bool:
        """Return True, once, when the failure has lasted so long that a person should know.

        Parameters
        ----------
        now_s : float
            Time, s.

        Returns
        -------
        bool
            True if a person is to be called now.
        """
        due = not self.called and self.lasts_s(now_s) >= CALL_AFTER_S
        self.called = self.called or due
        return due


def fault_of(error: MidspanError) -> str | None:
    """Return the fault code of an error of line, disk or store.

    Parameters
    ----------
    error : MidspanError
        The error.

    Returns
    -------
    str | None
        Code in protocol/faults.json, None if it has none.

    Examples
    --------
    >>> fault_of(LinkError("port: the gauge is gone"))
    'PORT_LOST'
    """
    if isinstance(error, LinkError):
        return HostFault.PORT_LOST.value
    if isinstance(error, ArchiveGone):
        return HostFault.ARCHIVE_GONE.value
    if isinstance(error, StoreError):
        fault = store_fault(error)
        return None if fault is None else fault.value
    cause = error.__cause__
    if isinstance(error, ArchiveError) and isinstance(cause, OSError):
        return HostFault.DISK_FULL.value if cause.errno is None or cause.errno in NO_ROOM else None
    return None
