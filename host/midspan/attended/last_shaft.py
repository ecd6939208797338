"""What a person does about the shaft that was measured last: note, label, weight, void, and a printed label.

A refusal is said in a line, and the session goes on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from midspan.attended import choices
from midspan.attended.bench import MeasuredShaft
from midspan.attended.record import SessionRecord
from midspan.attended.tally import CountedShaft, SessionTally
from midspan.base.errors import LinkError, OutputError, ReadingsError, StoreError
from midspan.base.units import GRAM_PER_GRAIN
from midspan.conversation.desk import Desk
from midspan.conversation.prompts import Prompt
from midspan.measurement.shown_quantities import weight_text
from midspan.sets.registry import Sets
from midspan.sets.weights import ShaftWeight, weight_of
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import say_of
from midspan.store.lookup import counting
from midspan.store.voids import unvoid, void_last

REFUSALS = (StoreError, ReadingsError)  # of what a person types, after which the session goes on
UNDONE = "voided by mistake"
NO_SHAFT_YET = "no shaft was measured yet in this session"


@dataclass(frozen=True)
class SessionTools:
    """What a session has besides desk, bench and record.

    Parameters
    ----------
    weigh : callable or None
        Returns the weight of what lies on the scale; called with the name of the shaft. None without a scale.
    weight_unit : str
        Unit of a typed weight, grains or grams.
    print_label : callable or None
        Prints a label of the shaft with a number; None without a printer.
    prints_each : bool
        True to print a label of each shaft after its verdict, False to print on a key only.
    """

    weigh: Callable[[str], ShaftWeight] | None = None
    weight_unit: str = "grains"
    print_label: Callable[[int], object] | None = None
    prints_each: bool = False


class LastShaft:
    """The shaft that was measured last, and what a person does about it.

    Parameters
    ----------
    desk : Desk
        Where it asks and shows.
    record : SessionRecord
        Journal and store.
    tools : SessionTools
        Scale and printer.
    tally : SessionTally
        Totals of the session.

    Attributes
    ----------
    measured : MeasuredShaft or None
        The shaft, None before the first.
    """

    def __init__(self, desk: Desk, record: SessionRecord, tools: SessionTools, tally: SessionTally) -> None:
        self.measured: MeasuredShaft | None = None
        self._desk, self._record, self._tools, self._tally = desk, record, tools, tally
        self._voided: int | None = None  # number of the measurement that `undo` lets count again

    def take(self, measured: MeasuredShaft) -> None:
        """Remember a shaft as the last one.

        Parameters
        ----------
        measured : MeasuredShaft
            The shaft.
        """
        self.measured, self._voided = measured, None

    def barred(self) -> dict[str, str]:
        """Return why choices mean nothing for this shaft.

        Returns
        -------
        dict[str, str]
            Reasons by the ids of the choices; those that are not named mean something.
        """
        if self.measured is None:
            return dict.fromkeys(("repeat", "void", "undo", "note", "label", "weigh", "print"), NO_SHAFT_YET)
        barred = {} if self._voided is not None else {"undo": "nothing was voided just now"}
        if self._tools.print_label is None:
            barred["print"] = "no printer is named; see [labels] in midspan.toml"
        if self.measured.order.standard is not None:
            barred |= dict.fromkeys(("void", "note", "label", "weigh", "print"), "the last was a check standard")
        return barred

    @property
    def _shaft(self) -> int:
        """Number of the shaft; the choices above are there only after the first."""
        assert self.measured is not None
        return self.measured.order.shaft

    def say_of(self, shaft: int, kind: DetailKind, value: str) -> bool:
        """Record what a person says of a shaft; say why not, and return False.

        Parameters
        ----------
        shaft : int
            Number of the shaft.
        kind : DetailKind
            What it is about.
        value : str
            What is said.

        Returns
        -------
        bool
            True if it is stored.
        """
        record = self._record
        try:
            say_of(record.store, shaft, kind, value, record.rules.operator, record.now_ms())
        except REFUSALS as error:
            self._desk.say(str(error))
            return False
        return True

    def note(self, text: str) -> None:
        """Store a note on the shaft.

        Parameters
        ----------
        text : str
            The note, empty to ask for it.
        """
        self._told(DetailKind.NOTE, text, choices.text_asked("note", f"Note on shaft {self._shaft}"))

    def relabel(self, text: str) -> None:
        """Store a label for the shaft.

        Parameters
        ----------
        text : str
            The label, empty to ask for it.
        """
        asked = choices.text_asked("label", f"Label of shaft {self._shaft}")
        label = self._told(DetailKind.LABEL, text, asked)
        if label and self.measured is not None:
            self.measured = replace(self.measured, order=replace(self.measured.order, label=label))

    def _told(self, kind: DetailKind, typed: str, asked: Prompt) -> str:
        """Record what was typed of the shaft, or is asked for; return it, empty for nothing."""
        text = typed or self._desk.ask(asked).text
        if not text or not self.say_of(self._shaft, kind, text):
            return ""
        self._desk.say(f"{kind.value} of shaft {self._shaft} stored: {text}")
        return text

    def void(self, text: str) -> None:
        """Take the last measurement out of what counts.

        Parameters
        ----------
        text : str
            The reason, empty to ask for it.
        """
        shaft, record = self._shaft, self._record
        asked = choices.text_asked("void reason", f"Why does shaft {shaft} not count", choices.DEFAULT_REASON)
        reason = text or self._desk.ask(asked).text
        try:
            self._voided = void_last(record.store, shaft, reason, record.rules.operator, record.now_ms())
        except REFUSALS as error:
            self._desk.say(str(error))
            return
        counts = self._count_again(shaft)
        before = "; an earlier one counts" if counts else ""
        self._desk.say(f"The last measurement of shaft {shaft} does not count{before}; u undoes that")

    def undo(self) -> None:
        """Let the measurement that was voided last count again."""
        assert self._voided is not None  # otherwise there is no such choice
        shaft, record = self._shaft, self._record
        try:
            unvoid(record.store, self._voided, UNDONE, record.rules.operator, record.now_ms())
        except REFUSALS as error:
            self._desk.say(str(error))
            return
        self._voided = None
        self._count_again(shaft)
        self._desk.say(f"The last measurement of shaft {shaft} counts again")

    def _count_again(self, shaft: int) -> bool:
        """Count a shaft of this session by the measurement that counts now; False if none does."""
        stored = counting(self._record.store, shaft)
        if shaft in self._tally.shafts:
            if stored is None:
                self._tally.voided.add(shaft)
            else:
                self._tally.voided.discard(shaft)
                decision = stored.decision
                self._tally.shafts[shaft] = CountedShaft(decision.outcome.value, decision.bin or "")
        return stored is not None

    def print_label(self) -> None:
        """Print a label of the shaft; without one the session goes on."""
        assert self._tools.print_label is not None
        try:
            self._tools.print_label(self._shaft)
        except (*REFUSALS, OutputError) as error:
            self._desk.say(f"No label: {error}")
        else:
            self._desk.say(f"Label of shaft {self._shaft} sent to the printer")

    def weigh(self, text: str) -> None:
        """Store the weight of the shaft.

        Parameters
        ----------
        text : str
            The weight, empty to have it from the scale or to ask for it.
        """
        shaft = self._shaft
        try:
            weight = self._weight(f"shaft {shaft}", text)
            if weight is not None:
                Sets(self._record.store).weigh({str(shaft): weight}, self._record.now_ms())
                self._desk.say(f"Weight of shaft {shaft} stored: {weight_text(weight.weight_g / GRAM_PER_GRAIN)}")
        except (*REFUSALS, LinkError) as error:
            self._desk.say(str(error))

    def _weight(self, name: str, typed: str) -> ShaftWeight | None:
        """Return the weight that was typed, or one from the scale; without a scale it is asked for. None for none."""
        if not typed and self._tools.weigh is not None:
            return self._tools.weigh(name)
        unit = self._tools.weight_unit
        text = typed or self._desk.ask(choices.text_asked("weight", f"Weight of {name}, in {unit}")).text
        return weight_of(text, unit, name) if text else None
