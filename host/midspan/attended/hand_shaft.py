"""One shaft at the hand bench: its readings from a person or a table, kept as they come, then result and verdict.

What a person typed before a power cut is in the record, and the same shaft goes on from there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from midspan.base.errors import ArchiveError, ConversionError, ReadingsError
from midspan.conversation.prompts import Conversation
from midspan.decision.bands import Bands
from midspan.decision.basis import basis_of_bands
from midspan.decision.decision import NO_BANDS, Decision, judge
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.contradiction import undetected_slips
from midspan.hand_bench.guide import Guide, progress, reading_order, resumable, shaft_and_room
from midspan.hand_bench.readings import numbers_of
from midspan.hand_bench.record import HandRecord, HandSession, HandShaft, ReadingPlan, Typed
from midspan.hand_bench.result import HandResult, evaluate_hand
from midspan.hand_bench.sessions import session_at, sessions
from midspan.store.evaluation import Evaluation, Origin, RunReference
from midspan.store.kept_calibration import KeptCalibration
from midspan.store.place import StorePlace

KeptT = TypeVar("KeptT")


@dataclass(frozen=True)
class Rounds:
    """How a person is guided through the readings of a shaft.

    Parameters
    ----------
    positions : int
        Clock positions.
    repeats : int
        Readings of each position.
    anew : bool
        True to begin another session of readings, though one of the shaft was not finished.
    asks_size : bool
        True to ask for diameter and temperature where they are not known.
    """

    positions: int = 8
    repeats: int = 2
    anew: bool = False
    asks_size: bool = True


@dataclass(frozen=True)
class HandEvaluation:
    """Result of a session of readings, with its verdict.

    Parameters
    ----------
    result : HandResult
        The result.
    decision : Decision
        The verdict; NO_BANDS without bands.
    is_new : bool
        False if the same result and verdict were stored already.
    """

    result: HandResult
    decision: Decision
    is_new: bool


@dataclass(frozen=True)
class HandStation:
    """A hand bench with the person at it, and the record of what is typed.

    Parameters
    ----------
    bench : dict
        Content of the bench file.
    record : HandRecord
        File that the typed readings are added to.
    talk : Conversation
        Asks the person.
    clock_ms : callable
        Returns the time, ms since 1970 (UTC).
    """

    bench: dict[str, Any]
    record: HandRecord
    talk: Conversation
    clock_ms: Callable[[], int]

    def read(self, whose: HandShaft, how: Rounds) -> int:
        """Keep what a person types, in the unfinished session of the shaft or a new one.

        Parameters
        ----------
        whose : HandShaft
            Shaft and operator.
        how : Rounds
            Positions and rounds.

        Returns
        -------
        int
            Byte of the record at which the session begins.

        Raises
        ------
        ReadingsError
            The unfinished session was begun otherwise (code "session_changed").
        """
        plan = {"positions": how.positions, "repeats": how.repeats}
        last = None if how.anew else self._last_session(whose)
        session = resumable(last, {"bench": self.bench, "operator": whose.operator, **plan})
        if session:
            self.talk.say(f"Going on with shaft {whose.shaft}: {progress(session)}")
            place = self.record.resume(session)
        else:
            if how.asks_size:
                whose = replace(whose, at=shaft_and_room(self.talk, whose.at))
            readings = how.positions * how.repeats
            begun = ReadingPlan(how.positions, how.repeats, readings)
            place = self.record.begin(self.bench, whose, self.clock_ms(), begun)
        order = reading_order(how.positions, how.repeats)
        bench = HandBench.model_validate(self.bench)
        for reading in Guide(order, bench, self.talk, session.typed if session else ()).readings():
            self.record.keep(place, reading)
        return place

    def keep(self, whose: HandShaft, typed: Sequence[Typed]) -> int:
        """Keep the readings of a table as a session.

        Parameters
        ----------
        whose : HandShaft
            Shaft and operator.
        typed : sequence of Typed
            The readings.

        Returns
        -------
        int
            Byte of the record at which the session begins.

        Raises
        ------
        ReadingsError
            There are no readings.
        """
        if not typed:
            raise ReadingsError(f"shaft {whose.shaft}: nothing was read; type readings, or give them with --csv")
        place = self.record.begin(self.bench, whose, self.clock_ms(), ReadingPlan(readings=len(typed)))
        for reading in typed:
            self.record.keep(place, reading)
        return place

    def unfinished(self) -> HandSession | None:
        """Return the newest session of readings if a person was guided through it and did not finish it.

        Returns
        -------
        HandSession or None
            The session, None if the newest one has ended, came from a table, or is not there.
        """
        last = None
        for session in self._sessions():
            last = session
        return last if last is not None and last.positions and not last.has_ended else None

    def _last_session(self, whose: HandShaft) -> HandSession | None:
        """Return the newest session of the shaft, None if there is none; damage is reported and the rest is read."""
        last = None
        for session in self._sessions():
            if (session.shaft, session.label) == (whose.shaft, whose.label):
                last = session
        return last

    def _sessions(self) -> Iterator[HandSession]:
        """Yield the sessions on record up to any damage, which is reported."""
        try:
            yield from sessions(self.record.path) if self.record.path.exists() else ()
        except ArchiveError as error:
            self.talk.say(f"note: {error}")

    def finished(self, place: int, keep: Callable[[HandSession], KeptT]) -> KeptT:
        """Return what is made of a session of readings, and note in the record that it has ended.

        Parameters
        ----------
        place : int
            Byte of the record at which the session begins.
        keep : callable
            Evaluates and stores a session.

        Returns
        -------
        KeptT
            What `keep` returned.

        Raises
        ------
        ReadingsError
            The readings cannot be what they say; they are kept all the same, and the message says where.
        """
        session = session_at(self.record.path, place)
        try:
            made = keep(session)
            hidden = undetected_slips(numbers_of(session.typed, session.file))
        except (ReadingsError, ConversionError) as error:
            self.record.end(place)
            kept = f"{error} (the readings are kept in {self.record.path} at byte {place})"
            raise ReadingsError(kept, code=error.code) from error
        self.record.end(place)
        if hidden:
            self.talk.say(f"note: {hidden}")
        return made


def reference_of(session: HandSession) -> RunReference:
    """Return where the readings of a session are, as the database names them.

    Parameters
    ----------
    session : HandSession
        The session.

    Returns
    -------
    RunReference
        File, byte, shaft, label and time.
    """
    return RunReference(session.file, session.byte_offset, session.shaft, session.label, session.started_ms)


def keep_result(
    session: HandSession, bands: Bands | None, place: StorePlace, *, named: bool, origin: Origin, at_ms: int
) -> HandEvaluation:
    """Evaluate a session, judge it when there are bands, and store both unless they stand there to the last bit.

    Parameters
    ----------
    session : HandSession
        The readings.
    bands : Bands or None
        Limits, None to judge nothing.
    place : StorePlace
        Database of results.
    named : bool
        True to keep what the bench's id stands for, so that a change of it can be explained; readings of old may lack
        that, as an id was once used for several benches.
    origin : Origin
        How the readings came here.
    at_ms : int
        Time of the evaluation, ms since 1970 (UTC).

    Returns
    -------
    HandEvaluation
        Result and verdict.

    Raises
    ------
    ReadingsError
        The readings cannot be what they say.
    """
    result = evaluate_hand(session)
    decision = judge(result, bands) if bands else NO_BANDS
    where = reference_of(session)
    with place.open() as store:
        if named:
            store.keep_calibration(KeptCalibration(session.bench))
        known = store.run_of(where)
        batch, where = known or (store.begin_batch(f"hand bench {result.calibration}", session.started_ms), where)
        evaluation = Evaluation(result, decision, at_ms, basis_of_bands(bands))
        decision, is_new = store.add_again(batch, where, evaluation, origin=origin)
    return HandEvaluation(result, decision, is_new)
