"""Weight and dial as the bench of a session: a person reads the dial at each position, and nothing moves by itself.

Each number is in the record before the next is asked for. A shaft that was begun and not finished, after a power cut or
because the person left, goes on at the next start.
"""

from __future__ import annotations

from dataclasses import replace

from midspan.attended.bench import Hindrance, MeasuredShaft, Recorder, RunFacts, ShaftOrder
from midspan.attended.hand_shaft import HandStation, Rounds, reference_of
from midspan.base.errors import ParkingError
from midspan.conversation.prompts import Prompt, PromptChoice
from midspan.hand_bench.guide import CAUTION, progress, shaft_and_room
from midspan.hand_bench.record import HandSession, HandShaft
from midspan.hand_bench.result import evaluate_hand

GO_ON = PromptChoice("go on", "", "go on with it")
ANEW = PromptChoice("anew", "n", "begin it anew")


class DialBench:
    """A hand bench at which a person lays shafts in one by one; an `AttendedBench`.

    Parameters
    ----------
    station : HandStation
        The bench, and the record of what is typed.
    rounds : Rounds
        Positions and rounds of each shaft.
    every : HandShaft
        What counts for every shaft: who reads the dial, diameter and temperature; number and label are not used.
    """

    caution = CAUTION
    goes_on = True

    def __init__(self, station: HandStation, rounds: Rounds, every: HandShaft) -> None:
        self._station, self._rounds, self._every = station, rounds, every
        self._asked = False  # for diameter and temperature: a session has shafts of one size, in one room

    @property
    def name(self) -> str:
        """Id of the bench."""
        return str(self._station.bench["bench"]["id"])

    def connect(self) -> None:
        """Do nothing: a dial has no line."""

    def close(self) -> None:
        """Do nothing: a dial has no line."""

    def hindrance(self) -> Hindrance | None:
        """Return None: nothing stops a dial.

        Returns
        -------
        Hindrance | None
            None.
        """
        return None

    def clear(self) -> None:
        """Do nothing: there is no fault to clear."""

    def is_seated(self) -> bool | None:
        """Return None: there is no sensor.

        Returns
        -------
        bool | None
            None.
        """
        return None

    def can_turn(self, measured: MeasuredShaft) -> bool:
        """Return False: a person turns the shaft.

        Parameters
        ----------
        measured : MeasuredShaft
            The shaft that was measured last.

        Returns
        -------
        bool
            False.
        """
        return False

    def turn_stiff_side_up(self, measured: MeasuredShaft) -> float:
        """Refuse: a person turns the shaft.

        Parameters
        ----------
        measured : MeasuredShaft
            The shaft.

        Returns
        -------
        float
            Never.

        Raises
        ------
        ParkingError
            Always (code "by_hand").
        """
        raise ParkingError(f"turn shaft {measured.order.shaft} by hand: nothing here turns it", code="by_hand")

    def recover(self, recorder: Recorder) -> MeasuredShaft | None:
        """Go on with a shaft that was begun and not finished, if the person wants it.

        Parameters
        ----------
        recorder : Recorder
            Where the result goes.

        Returns
        -------
        MeasuredShaft | None
            The shaft, None if none was left unfinished.
        """
        left = self._station.unfinished()
        order = None if left is None else recorder.order_of_held(left.shaft)
        if left is None or order is None:
            return None
        words = f"Shaft {left.shaft} was begun: {progress(left)}. Lay it in as it lay, its mark at the same place"
        if self._station.talk.ask(Prompt("unfinished", words, (GO_ON, ANEW))).choice == ANEW.id:
            self._station.record.end(self._station.record.resume(left))
            return None
        whose = HandShaft(left.shaft, left.label, left.operator, left.at)
        self._every, self._asked = replace(self._every, at=left.at), True
        return self._read(order, recorder, whose, Rounds(left.positions, left.repeats))

    def measure(self, order: ShaftOrder, recorder: Recorder) -> MeasuredShaft:
        """Ask for the readings of a shaft, keep them as they come, and have the result judged and stored.

        Parameters
        ----------
        order : ShaftOrder
            The shaft.
        recorder : Recorder
            Where the result goes.

        Returns
        -------
        MeasuredShaft
            The shaft with its verdict.

        Raises
        ------
        ReadingsError
            The readings cannot be what they say; they are kept.
        """
        recorder.measuring(order, None, None)
        if not self._asked:
            self._station.talk.say("Diameter and temperature count for all shafts of this session.")
            self._every = replace(self._every, at=shaft_and_room(self._station.talk, self._every.at))
            self._asked = True
        begun = replace(self._rounds, anew=True, asks_size=False)
        return self._read(order, recorder, replace(self._every, shaft=order.shaft, label=order.label), begun)

    def _read(self, order: ShaftOrder, recorder: Recorder, whose: HandShaft, how: Rounds) -> MeasuredShaft:
        """Read a shaft to its end and have it judged."""

        def judged(session: HandSession) -> MeasuredShaft:
            return recorder.judged(order, reference_of(session), evaluate_hand(session), RunFacts())

        return self._station.finished(self._station.read(whose, how), judged)
