"""What a session needs of the bench at which shafts are measured: a gauge, or weight and dial.

A bench moves nothing but in `measure`, `clear` and `turn_stiff_side_up`, which a session calls after an Enter to the
prompt of that very motion.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from midspan.decision.decision import Decision
from midspan.hand_bench.result import HandResult
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.store.evaluation import RunReference
from midspan.store.transit import StandardCheck, Transit

AttendedResult = ShaftResult | Unmeasured | HandResult


@dataclass(frozen=True, slots=True)
class ShaftOrder:
    """A shaft that is about to be measured.

    Parameters
    ----------
    shaft : int
        Its number.
    label : str
        Its label, may be empty; for a check standard its name.
    standard : str | None
        Name of the check standard that it is, None for a shaft of the stock.
    transit : Transit | None
        Its way by the journal; None for a shaft that was measured before this run, under its old number.
    batch : int
        Batch that gets its result.
    """

    shaft: int
    label: str
    standard: str | None
    transit: Transit | None
    batch: int


@dataclass(frozen=True, slots=True)
class RunFacts:
    """What readings say besides the result.

    Parameters
    ----------
    cause : str | None
        Code of the fault that cut the cycle short, None if it was complete.
    watched : Mapping[str, float | None] | None
        Health of the gauge as returned by gauge_health.observe, None for another bench.
    """

    cause: str | None = None
    watched: Mapping[str, float | None] | None = None


@dataclass(frozen=True, slots=True)
class MeasuredShaft:
    """A shaft that was measured, judged and stored.

    Parameters
    ----------
    order : ShaftOrder
        The order.
    result : AttendedResult
        Its result.
    decision : Decision
        The verdict as it is stored.
    run_id : int
        Number of the measurement in the store.
    check : StandardCheck | None
        The check, None for a shaft of the stock.
    suspects : tuple of int
        Shafts that the check puts in doubt.
    rescued : bool
        True if the readings were taken for another program.
    was_empty : bool
        True if no shaft was in the gauge: the measurement is on record as void, and the shaft is laid in again.
    """

    order: ShaftOrder
    result: AttendedResult
    decision: Decision
    run_id: int
    check: StandardCheck | None = None
    suspects: tuple[int, ...] = ()
    rescued: bool = False
    was_empty: bool = False


class Recorder(Protocol):
    """Where a bench says what it is about to do and what it has kept."""

    def measuring(self, order: ShaftOrder, archive_bytes: int | None, marker: str | None) -> None:
        """Record that a shaft is about to be measured.

        Parameters
        ----------
        order : ShaftOrder
            The shaft.
        archive_bytes : int | None
            Where its readings will be in the archive.
        marker : str | None
            Marker of the archive.
        """

    def judged(self, order: ShaftOrder, where: RunReference, result: AttendedResult, facts: RunFacts) -> MeasuredShaft:
        """Judge a result and store both; readings that are stored already are not stored again.

        Parameters
        ----------
        order : ShaftOrder
            The shaft.
        where : RunReference
            Where its readings are.
        result : AttendedResult
            Its result.
        facts : RunFacts
            What else the readings say.

        Returns
        -------
        MeasuredShaft
            The shaft with its verdict as it is stored.
        """

    def order_of_held(self, shaft: int) -> ShaftOrder | None:
        """Return the order under which readings were taken that a gauge still holds.

        Parameters
        ----------
        shaft : int
            Number of the shaft.

        Returns
        -------
        ShaftOrder | None
            The order, None if no session of this database gave it.
        """

    def left_open(self) -> ShaftOrder | None:
        """Return the order that was not carried through, of this session or of one that was broken off.

        Returns
        -------
        ShaftOrder | None
            The order, None if the last one came to its end.
        """

    def rescued(self, where: RunReference, result: AttendedResult) -> MeasuredShaft:
        """Judge and store readings that were taken for another program.

        Parameters
        ----------
        where : RunReference
            Where the readings are.
        result : AttendedResult
            Their result.

        Returns
        -------
        MeasuredShaft
            The shaft with its verdict.
        """


@dataclass(frozen=True, slots=True)
class Hindrance:
    """Why nothing can be measured now.

    Parameters
    ----------
    words : str
        What is wrong and what to do, a sentence.
    moves : bool
        True if Enter then moves the press home.
    """

    words: str
    moves: bool


class AttendedBench(Protocol):
    """A bench at which a person lays shafts in one by one."""

    @property
    def name(self) -> str:
        """Name of the gauge or of the hand bench."""

    @property
    def caution(self) -> str:
        """Caution for whoever stands at it, empty if nothing moves by itself."""

    @property
    def goes_on(self) -> bool:
        """True if a person goes on with a shaft that was begun and not finished; `recover` returns it finished."""

    def connect(self) -> None:
        """Open the way to the bench, anew after it was lost; nothing moves.

        Raises
        ------
        LinkError
            It is not there, or another program has it.
        """

    def hindrance(self) -> Hindrance | None:
        """Return why nothing can be measured now.

        Returns
        -------
        Hindrance | None
            Reason and remedy, None if a shaft can be measured.
        """

    def clear(self) -> None:
        """Bring the bench back to where it measures, after a person has removed the cause of a fault; it moves."""

    def is_seated(self) -> bool | None:
        """Return whether a shaft lies there.

        Returns
        -------
        bool | None
            None if the bench has no sensor for it.
        """

    def recover(self, recorder: Recorder) -> MeasuredShaft | None:
        """Keep and store the readings that the bench holds from before; nothing moves.

        Parameters
        ----------
        recorder : Recorder
            Where they go.

        Returns
        -------
        MeasuredShaft | None
            The shaft, None if it holds none.
        """

    def measure(self, order: ShaftOrder, recorder: Recorder) -> MeasuredShaft:
        """Measure a shaft, keep its readings, and have them judged and stored.

        Parameters
        ----------
        order : ShaftOrder
            The shaft.
        recorder : Recorder
            Where they go.

        Returns
        -------
        MeasuredShaft
            The shaft with its verdict.
        """

    def can_turn(self, measured: MeasuredShaft) -> bool:
        """Return whether the stiff side of the shaft can be turned up.

        Parameters
        ----------
        measured : MeasuredShaft
            The shaft that was measured last.

        Returns
        -------
        bool
            False if its stiff side is not known, or nothing here turns shafts.
        """

    def turn_stiff_side_up(self, measured: MeasuredShaft) -> float:
        """Turn the shaft that was measured last, and not lifted since, until its stiff side is up.

        Parameters
        ----------
        measured : MeasuredShaft
            The shaft.

        Returns
        -------
        float
            Half width of the 95 % range of the position, degrees.

        Raises
        ------
        ParkingError
            The shaft turned since, or the gauge was reset (code "reset"), or it has no known stiff side.
        """

    def close(self) -> None:
        """Close the way to the bench; closing twice does no harm."""
