"""Check a board at its prompt before its own code ever moves a motor: inputs, raw words, and a guided first move.

The gauge homes its press as soon as it starts. With a motor that turns the wrong way, or a dead home switch, that would
drive the head into something. So both are tried here first, a millimetre at a time.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Any

import numpy as np

from midspan.board.board_file import checked
from midspan.board.files import CONFIGURATION
from midspan.board.operator import Person, seen
from midspan.board.shell import BoardShell
from midspan.board.signal_tests import SignalCheck, SignalOutcome, rate_check

WATCH_S = 20
PREPARE = (
    "Leave the motor supply off. Close the lid, release the emergency stop, turn the press by hand so that its head is "
    "some centimetres below home."
)
CLEAR = (
    "Take everything off the rollers. Switch the motor supply on, a hand on the emergency stop, the other well away."
)
WORDS = 80  # a second at 80 samples a second
TICKS = 1 << 30  # of the device's clock
FIRST_MM, FIRST_MM_S = 1.0, 2.0
EIGHTH_S = 4.0  # time for an eighth of a roller's turn
PRESS, ROTATE = 0, 1


class Wires:
    """The checks at the prompt, in order.

    Parameters
    ----------
    shell : BoardShell
        Prompt of the board.
    person : Person
        Person at the board.
    configuration : dict[str, Any]
        Contents of the board's file, from `read_configuration`.
    watch_s : int
        How long the board waits for each switch to change, s.
    """

    def __init__(
        self, shell: BoardShell, person: Person, configuration: dict[str, Any], watch_s: int = WATCH_S
    ) -> None:
        self._shell, self._person, self._given, self._watch_s = shell, person, configuration, watch_s

    def checks(self) -> Iterator[SignalCheck]:
        """Run all checks and yield the result of each as soon as it is known.

        Nothing is moved unless home switch, lid and emergency stop were seen to work.

        Yields
        ------
        SignalCheck
            Result of a check.

        Raises
        ------
        ConfigurationError
            A setting of the board's file is wrong; no pin was touched.
        BoardError
            The board's code failed.
        LinkError
            The board does not answer.
        """
        checked(self._shell.read(CONFIGURATION) or b"", f"{self._shell.port}: {CONFIGURATION}")
        self._ask("look()")
        yield SignalCheck("configuration", SignalOutcome.GOOD, f"{CONFIGURATION} holds, pins taken")
        self._person.do("prepare", PREPARE)
        yield from self._at_rest(self._ask("look()"))
        tried = []
        for name, text in self._switches():
            tried.append(self._tried(name, text))
            yield tried[-1]
        for name, wire in ((self._given["parts"].get("feeder") or {}).get("inputs") or {}).items():
            if wire is not None:
                yield self._tried(name, f"Cover the sensor {name}, and uncover it.")
        yield from self._cell()
        if any(check.outcome is not SignalOutcome.GOOD for check in tried):
            yield SignalCheck("first move", SignalOutcome.UNSEEN, "not before the switches above work")
        else:
            yield from self._first_move()

    def _ask(self, call: str) -> Any:
        """Return what a function of the board's service module returns."""
        return self._shell.value(f"from parts import service; service.{call}")

    def _switches(self) -> Iterator[tuple[str, str]]:
        """Yield the name of each switch and what a person does with it."""
        yield "home", "Press the home switch by hand, and let it go."
        if self._given["inputs"]["lid"] is not None:
            yield "lid", "Open the lid, and close it."
        if self._given["inputs"]["stop"] is not None:
            yield "stop", "Press the emergency stop, and release it."

    def _at_rest(self, states: dict[str, bool]) -> Iterator[SignalCheck]:
        """Yield a check for each switch that nobody touches."""
        for name, meaning in (("home", "at home"), ("lid", "open"), ("stop", "pressed")):
            if name == "home" or self._given["inputs"][name] is not None:
                good = not states[name]
                words = f"not {meaning}" if good else f"says {meaning} and should not; look at its wires and its level"
                yield SignalCheck(f"{name} at rest", SignalOutcome.GOOD if good else SignalOutcome.LOOK, words)

    def _tried(self, name: str, text: str) -> SignalCheck:
        """Return whether an input changes and comes back when a person does this."""
        if self._person.by_itself:
            return SignalCheck(name, SignalOutcome.UNSEEN, "not tried: nobody at the gauge")
        self._person.say(f"{text} ({self._watch_s} s)")
        changes = self._ask(f"watch({name!r}, {self._watch_s})")
        return seen(name, changes >= 2, "changed and came back", "look at its wires, its pin and its level")

    def _cell(self) -> Iterator[SignalCheck]:
        """Yield the checks of the load cell: its words, rate and sign."""
        quiet = self._ask(f"words({WORDS})")
        if len(quiet) < WORDS:
            advice = "look at the converter's supply, clock and data wires"
            yield SignalCheck("cell", SignalOutcome.LOOK, f"{len(quiet)} of {WORDS} words came; {advice}")
            return
        wrong = sum(not in_step for _, _, in_step in quiet)
        yield SignalCheck("cell", SignalOutcome.GOOD, f"{WORDS} of {WORDS} words came, middle {_middle(quiet):.0f}")
        yield rate_check(_rate_of(quiet), self._given["cell"]["rate"])
        if self._given["cell"]["kind"] == "hx711":  # the other converter has no trailing bits
            words = f"{wrong} of {WORDS} words with wrong trailing bits"
            yield SignalCheck("trailing bits", SignalOutcome.LOOK if wrong else SignalOutcome.GOOD, words)
        if self._person.by_itself:
            yield SignalCheck("cell's sign", SignalOutcome.UNSEEN, "not tried: nobody at the gauge")
            return
        self._person.do("push head", "Push the head up with a finger, about as hard as a full cup weighs, and hold it.")
        rise = _middle(self._ask(f"words({WORDS})")) - _middle(quiet)
        self._person.say("Let it go.")
        advice = "swap the cell's two signal wires if it falls; look at its four wires if nothing changes"
        yield seen("cell's sign", rise > self._given["limits"]["count"] / 100, f"{rise:+.0f} counts under load", advice)

    def _first_move(self) -> Iterator[SignalCheck]:
        """Move the head down and up, then the rollers, and ask what was seen."""
        gear = self._given["gear"]
        per_mm, per_turn = gear["press_steps_per_mm"], gear["rotate_steps_per_turn"]
        self._person.do("clear rollers", CLEAR)
        down = self._moved(PRESS, round(FIRST_MM * per_mm), round(FIRST_MM_S * per_mm))
        answer = self._person.sees("head went down", f"Did the head go down, by about {FIRST_MM:g} mm?")
        advice = "change press.forward if it went up, the driver's switches or gear if it went another way"
        yield seen("press axis", answer, f"{down} steps are {FIRST_MM:g} mm down", advice)
        self._moved(PRESS, -round(FIRST_MM * per_mm), round(FIRST_MM_S * per_mm))
        eighth = self._moved(ROTATE, per_turn // 8, max(1, round(per_turn / 8 / EIGHTH_S)))
        answer = self._person.sees("rollers turned", "Did the rollers turn an eighth, their tops to the front?")
        advice = "change rotate.forward, or the driver's switches or gear"
        yield seen("rotate axis", answer, f"{eighth} steps are an eighth of a roller's turn, top to the front", advice)

    def _moved(self, axis: int, steps: int, speed: int) -> int:
        """Move an axis (PRESS or ROTATE) and return the steps that were made."""
        made: int = self._ask(f"move({axis}, {steps}, {1000000 // max(speed, 1)})")
        return made


def _middle(words: list[list[int]]) -> float:
    """Return the median of the counts in the converter's words.

    Parameters
    ----------
    words : list[list[int]]
        Time in device ticks, word, and 1 for a word with right trailing bits, of each sample.

    Returns
    -------
    float
        Median of the signed counts; 0 if there are no words.

    Examples
    --------
    >>> _middle([[0, 0xFFFFFF, 1], [12500, 1, 1], [25000, 3, 1]])
    1.0
    """
    counts = [word - 0x1000000 if word & 0x800000 else word for _, word, _ in words]
    return float(np.median(counts)) if counts else 0.0


def _rate_of(words: list[list[int]]) -> float:
    """Return the sampling rate, from the ticks, which wrap.

    Parameters
    ----------
    words : list[list[int]]
        Time in device ticks, word, and 1 for a word with right trailing bits, of each sample.

    Returns
    -------
    float
        Samples a second.

    Examples
    --------
    >>> _rate_of([[TICKS - 12500, 5, 1], [0, 5, 1], [12500, 6, 1]])
    80.0
    """
    gaps_us = [(after[0] - before[0]) % TICKS for before, after in itertools.pairwise(words)]
    return 1e6 / float(np.mean(gaps_us))
