"""Time limits of a conversation: when to ask again, and when to give up; time comes as an argument."""

from __future__ import annotations

from dataclasses import dataclass, field

from midspan.base.errors import ProtocolError
from midspan.wire.records import Identify, State

SILENCE_SHARE = 4  # times the host speaks within the silence after which a device takes it for gone


@dataclass
class Patience:
    """Times of the last request, the last frame and the last progress, in seconds of the caller's clock.

    Only what brings the order nearer to its end counts as progress. A gauge that goes round and round, or whose frames
    answer another host, is given up after `patience_s` though it never falls silent.

    Parameters
    ----------
    answer_s : float
        Time after which a request without answer is repeated, s.
    dead_s : float
        Time without any frame after which the gauge is given up, s.
    patience_s : float
        Time without progress after which the gauge is given up, s.
    sent_s : float
        When something was sent last.
    heard_s : float
        When something came last.
    went_on_s : float
        When there was progress last.
    passed : set[State]
        States the gauge has visited since the last order.

    Examples
    --------
    >>> patience = Patience(answer_s=1.0, dead_s=5.0, patience_s=120.0)
    >>> patience.ordered(now_s=10.0)
    >>> patience.asks_again(10.9, None), patience.asks_again(11.0, None)
    (False, True)
    >>> patience.heard("a record", now_s=14.0)
    >>> patience.is_over(18.9), patience.is_over(19.0)
    (False, True)
    """

    answer_s: float
    dead_s: float
    patience_s: float
    sent_s: float = 0.0
    heard_s: float = 0.0
    went_on_s: float = 0.0
    passed: set[State] = field(default_factory=set)  # states the gauge has visited since the last order

    def ordered(self, now_s: float) -> None:
        """Start all times anew for an order of the caller.

        Parameters
        ----------
        now_s : float
            Time on the caller's clock, s.
        """
        self.sent_s = self.heard_s = self.went_on_s = now_s
        self.passed.clear()

    def heard(self, said: object, now_s: float) -> None:
        """Note that something came; bytes that are not a record are not a sign of life.

        Parameters
        ----------
        said : object
            What came; a ProtocolError for bytes that are not a record.
        now_s : float
            Time on the caller's clock, s.
        """
        if not isinstance(said, ProtocolError):
            self.heard_s = now_s

    def entered(self, state: State, now_s: float) -> None:
        """Note that the gauge went to a state; only the first visit since the last order is progress.

        Parameters
        ----------
        state : State
            State of the gauge.
        now_s : float
            Time on the caller's clock, s.
        """
        if state not in self.passed:
            self.passed.add(state)
            self.went_on_s = now_s

    def is_over(self, now_s: float) -> bool:
        """Return True if nothing came, or nothing progressed, for too long.

        Parameters
        ----------
        now_s : float
            Time on the caller's clock, s.

        Returns
        -------
        bool
            True if the gauge is to be given up.
        """
        return not self.hears(now_s) or now_s - self.went_on_s >= self.patience_s

    def hears(self, now_s: float) -> bool:
        """Return True if something came not long ago.

        Parameters
        ----------
        now_s : float
            Time on the caller's clock, s.

        Returns
        -------
        bool
            False after `dead_s` of silence.
        """
        return now_s - self.heard_s < self.dead_s

    def asks_again(self, now_s: float, identify: Identify | None) -> bool:
        """Return True if it is time to speak to the gauge again, before it takes its host for gone.

        Parameters
        ----------
        now_s : float
            Time on the caller's clock, s.
        identify : Identify | None
            Last answer of the gauge; None while a greeting waits for its answer, which is repeated whatever else comes.

        Returns
        -------
        bool
            True if a request or a sign of life is due.
        """
        if identify is None:
            return now_s - self.sent_s >= self.answer_s
        silence_s = min(self.answer_s, identify.silence_ms / 1000 / SILENCE_SHARE)
        return now_s - max(self.heard_s, self.sent_s) >= silence_s
