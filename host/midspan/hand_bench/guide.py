"""Guide a person through the readings of a shaft, and compare each number at once with the others.

Questions go through a `Conversation`. Each item that is yielded is to be stored before the next is asked for. An
interrupted session is resumed only if nothing else changed: two halves are one session only on the same bench, at the
same clock positions, by the same person.
"""

from collections.abc import Generator, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from itertools import islice
from typing import Any

from midspan.base.csv_table import number_in
from midspan.base.errors import ReadingsError
from midspan.base.formatting import printable
from midspan.conversation.desk import LEFT
from midspan.conversation.prompts import Conversation, Prompt, PromptChoice
from midspan.conversation.questions import number_or_none
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.contradiction import Contradiction, contradictions
from midspan.hand_bench.readings import numbers_of
from midspan.hand_bench.record import NAMES, Begun, HandSession, ShaftAndRoom, Typed
from midspan.hand_bench.supports import Release

BACK = PromptChoice("back", "b", "back")
END = PromptChoice("end", "q", "stop here")
NOT_MEASURED = PromptChoice("not measured", "", "not measured")
DIAMETERS_MM, TEMPERATURES_C = (1.0, 30.0), (-20.0, 60.0)
Place = tuple[str, str]  # angle and round, as typed
# Prompts are named after the reading in NAMES, and "again ..." where it is read once more.
QUESTIONS = ("turn the shaft to {} degrees; dial without the weight", "{}", "take it off; dial again")
# With the weight on, by what a bench does about friction along the shaft.
WITH_WEIGHT: Mapping[Release, str] = {
    "nothing": "hang the weight on; dial",
    "tap": "hang the weight on, tap the table; dial",
    "turn": "hang the weight on, turn the shaft a little to and fro, back to its mark; dial",
}
ONCE_MORE = ("read it once more without the weight", "read it once more with the weight", "read it once more")
DIAMETER = Prompt(
    "shaft diameter", "Diameter of the shaft where it lies on the edges, in mm", (NOT_MEASURED,), "a number"
)
WARMTH = Prompt("room temperature", "Temperature of bench and shaft, in degrees Celsius", (NOT_MEASURED,), "a number")
CAUTION = "Wear safety glasses and keep feet from under the weight: a shaft with a hidden crack can break under it."
MOST_SAID, MOST_LETTERS = 3, 30  # changed fields named in a message, and letters of each value


def reading_order(positions: int, repeats: int) -> list[Place]:
    """Return clock positions in the order in which they are read, round after round.

    Parameters
    ----------
    positions : int
        Number of clock positions, evenly around.
    repeats : int
        Number of rounds.

    Returns
    -------
    list of tuple
        Angle in degrees and number of the round, as text.

    Examples
    --------
    >>> reading_order(2, 2)
    [('0', '1'), ('180', '1'), ('0', '2'), ('180', '2')]
    """
    return [(f"{i * 360 / positions:g}", str(repeat)) for repeat in range(1, repeats + 1) for i in range(positions)]


def shaft_and_room(talk: Conversation, known: ShaftAndRoom) -> ShaftAndRoom:
    """Return diameter and temperature of a session, asked for where they are not known yet.

    Parameters
    ----------
    talk : Conversation
        Who asks.
    known : ShaftAndRoom
        What is known already.

    Returns
    -------
    ShaftAndRoom
        What is known then.

    Examples
    --------
    >>> from midspan.conversation.questions import Unattended
    >>> shaft_and_room(Unattended(print), ShaftAndRoom(diameter_mm=6.2))
    Temperature of bench and shaft, in degrees Celsius: not measured
    ShaftAndRoom(diameter_mm=6.2, temperature_c=None)
    """
    diameter_mm = known.diameter_mm or number_or_none(talk, DIAMETER, DIAMETERS_MM)
    warmth_c = known.temperature_c
    return ShaftAndRoom(diameter_mm, number_or_none(talk, WARMTH, TEMPERATURES_C) if warmth_c is None else warmth_c)


class Guide:
    """Ask for every reading of a shaft in turn; the answer b goes back to the reading before.

    A reading taken again replaces the earlier reading in the result; the record keeps both. A reading that disagrees
    with the others is read once more; the same value again confirms it.

    Parameters
    ----------
    plan : sequence of tuple
        Angle and round of each reading, from `reading_order`.
    bench : HandBench
        The bench: its dial, and what it does before each reading.
    talk : Conversation
        Who asks.
    typed : sequence of Typed
        Readings of an earlier part of the session.
    """

    def __init__(
        self, plan: Sequence[Place], bench: HandBench, talk: Conversation, typed: Sequence[Typed] = ()
    ) -> None:
        self.plan, self.graduation, self.talk = plan, bench.indicator.graduation, talk
        self._questions = (QUESTIONS[0], WITH_WEIGHT[bench.supports.before_reading], QUESTIONS[2])
        self.known: dict[Place, Typed] = {(reading.angle_deg, reading.repeat): reading for reading in typed}
        self._twice: set[Place] = set()

    def readings(self) -> Iterator[Typed | Begun]:
        """Ask for all readings that are missing or in question.

        Yields
        ------
        Typed or Begun
            Each number as soon as it is typed, and each reading as soon as it is complete.

        Raises
        ------
        ReadingsError
            The person stops here (code "left").
        """
        done = [place for place in self.plan if place in self.known]
        todo = [place for place in self.plan if place not in self.known]
        todo[:0] = self._in_question(len(todo) == 0)
        while todo:
            typed = yield from self._visit(todo[0])
            if typed is None:
                todo[:0] = [done.pop()] if done else []
                continue
            self.known[todo[0]] = typed
            yield typed
            done.append(todo.pop(0))
            todo[:0] = self._in_question(not todo)

    def _in_question(self, is_end: bool) -> list[Place]:
        """Return the readings to take again: those found wrong, at the end also each of several that may be wrong."""
        found = [each for each in self._found(list(self.known.values())) if is_end or len(each.visits) == 1]
        order = list(self.known)
        again = [order[i] for each in found for i in each.visits if order[i] not in self._twice]
        self._twice.update(again)
        for contradiction in found:
            if any(order[i] in again for i in contradiction.visits):
                self.talk.say(f"  {contradiction.sentence}")
        return again

    def _found(self, typed: list[Typed]) -> tuple[Contradiction, ...]:
        """Return the disagreements between readings, none if there are no readings."""
        return contradictions(numbers_of(tuple(typed), "the session"), self.graduation) if typed else ()

    def _visit(self, place: Place) -> Generator[Begun, None, Typed | None]:
        """Yield the dial without, with and again without the weight; return the reading, None to go back."""
        cells: list[str] = []
        confirmed: set[str] = set()
        for name, question in zip(NAMES, self._questions, strict=True):
            cell = self._number(place, name, question.format(place[0]))
            if cell is None:
                return None
            cells.append(cell)
            if len(cells) < len(QUESTIONS):
                yield Begun(*place, tuple(cells))
            if not (yield from self._is_settled(place, cells, confirmed)):
                return None
        return Typed(*place, cells[0], cells[1], cells[2], " ".join(name for name in NAMES if name in confirmed))

    def _is_settled(self, place: Place, cells: list[str], confirmed: set[str]) -> Generator[Begun, None, bool]:
        """Read again what disagrees with the others until it agrees or is confirmed; return False to go back."""
        while found := self._against(place, cells):
            asked = [name for name in NAMES[: len(cells)] if name in found.names and name not in confirmed]
            if not asked:
                return True
            if len(cells) == len(QUESTIONS):
                yield Begun(*place, tuple(cells))
            self.talk.say(f"  {found.sentence}")
            for name in reversed(asked):  # the dial still shows the number typed last
                i = NAMES.index(name)
                again = self._again(place, i, cells[i], found.within)
                if again is None:
                    return False
                is_same = _is_same(again, cells[i], found.within)
                cells[i] = again
                if len(cells) < len(QUESTIONS):
                    yield Begun(*place, tuple(cells))
                if not is_same:
                    break
                confirmed.add(name)
                self.talk.say("  kept as confirmed; if the shaft is really like that there, look for a crack or a dent")
        return True

    def _again(self, place: Place, i: int, typed: str, within: float) -> str | None:
        """Ask for a number once more; a number that repeats an earlier reading of this place is not asked for again."""
        before = self.known.get(place)
        if before is not None and _is_same(before.cells[i], typed, within):
            return typed
        return self._number(place, f"again {NAMES[i]}", ONCE_MORE[i])

    def _against(self, place: Place, cells: list[str]) -> Contradiction | None:
        """Return the disagreement of the reading in hand with the others, None if there is none."""
        if len(cells) < 2:  # a reading without the weight alone cannot be predicted
            return None
        others = [typed for known, typed in self.known.items() if known != place]
        this = Typed(*place, cells[0], cells[1], cells[2] if len(cells) == len(NAMES) else "")
        return next((each for each in self._found([*others, this]) if len(others) in each.visits), None)

    def _number(self, place: Place, name: str, words: str) -> str | None:
        """Ask until the answer is a number and return it as typed, None to go back; ReadingsError to stop here."""
        part = f"{self.plan.index(place) + 1} of {len(self.plan)}"
        prompt = Prompt(name, words, (BACK, END), "a reading", part=part)
        while not (answer := self.talk.ask(prompt)).choice:
            try:
                number_in(answer.text, "the reading")
            except ReadingsError as error:
                self.talk.say(f"  {error}")
                continue
            return answer.text
        if answer.choice == END.id:
            raise ReadingsError(f"stopped at reading {part}; what was typed is kept, and goes on next time", code=LEFT)
        return None


def _is_same(text: str, other: str, within: float) -> bool:
    """Return True if two numbers differ by no more than chance explains."""
    return abs(number_in(text, "the reading") - number_in(other, "the reading")) <= within


def resumable(last: HandSession | None, now: Mapping[str, Any]) -> HandSession | None:
    """Return the last session of a shaft if it can be resumed, None if it was not guided or has ended.

    Parameters
    ----------
    last : HandSession or None
        Last session of the shaft, None if there is none.
    now : mapping
        Fields that a session begun now would have: bench, positions, repeats, operator.

    Returns
    -------
    HandSession or None
        The session to resume.

    Raises
    ------
    ReadingsError
        The session is unfinished, but its fields differ (code "session_changed").
    """
    if last is None or last.has_ended or not last.positions:
        return None
    changed = ", ".join(islice(_changes(last, now), MOST_SAID))
    if changed:
        raise ReadingsError(
            f"{last.file}: shaft {last.shaft} has an unfinished session ({progress(last)}), but {changed}; undo "
            "that to resume it, or begin a new session with --anew",
            code="session_changed",
        )
    return last


def progress(session: HandSession) -> str:
    """Return how far a session came and when it began.

    Parameters
    ----------
    session : HandSession
        The session.

    Returns
    -------
    str
        Numbers of readings and local time, in words.
    """
    begun = datetime.fromtimestamp(session.started_ms / 1000, UTC).astimezone()
    return f"{len(session.typed)} of {session.readings} readings, begun {begun:%Y-%m-%d %H:%M}"


def _changes(session: HandSession, now: Mapping[str, Any]) -> Iterator[str]:
    """Yield the fields in which a session differs from a session begun now, each in words."""
    was, is_now = _flat(session.bench), _flat(now["bench"])
    for key in sorted(was.keys() | is_now.keys()):
        if was.get(key) != is_now.get(key):
            yield f"{key} of the bench was {_said(was.get(key))} and is {_said(is_now.get(key))}"
    before = {"positions": session.positions, "repeats": session.repeats, "operator": session.operator}
    for key, value in before.items():
        if value != now[key]:
            yield f"{key} was {_said(value or 'empty')} and is {_said(now[key] or 'empty')}"


def _said(value: object) -> str:
    """Return a value shortened for a message."""
    return printable(str(value))[:MOST_LETTERS]


def _flat(bench: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a bench by section and key, as in "span.span_mm"."""
    return {f"{name}.{key}": value for name, section in bench.items() for key, value in dict(section).items()}
