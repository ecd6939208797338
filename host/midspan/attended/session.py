"""A session at the gauge: a person lays shafts in one after another, and each gets number, verdict and record.

The session is a loop over prompts and does no input or output of its own: it asks at a desk, measures at a bench, and
writes by a record. Nothing moves but by the Enter that answers the prompt of that very motion.
"""

from __future__ import annotations

from collections.abc import Callable

from midspan.attended import choices, words
from midspan.attended.bench import AttendedBench, MeasuredShaft, ShaftOrder
from midspan.attended.last_shaft import NO_SHAFT_YET, LastShaft, SessionTools
from midspan.attended.record import SessionRecord
from midspan.attended.tally import CountedShaft, SessionTally
from midspan.base.errors import (
    DeviceFault,
    LinkError,
    ParkingError,
    ProtocolError,
    ReadingsError,
    StoreError,
)
from midspan.conversation.desk import LEFT, Desk, NoticeKind
from midspan.conversation.prompts import Answer, Prompt
from midspan.conversation.questions import keys_of
from midspan.decision.decision import Outcome
from midspan.sorting.plan import Standard
from midspan.store.detail_kinds import DetailKind
from midspan.store.lookup import number_in, read_name

MARK_IT = (
    "The stiff side is up, under the head, within ± {:.1f}°; its opposite is down. Mark it there with a soft pencil "
    "before you lift the shaft."
)
NO_STIFF_SIDE = "the stiff side of the last shaft is not known"


class AttendedSession:
    """One session, from the first prompt to the totals.

    Parameters
    ----------
    desk : Desk
        Where it asks and shows.
    bench : AttendedBench
        Where shafts are measured; connected already.
    record : SessionRecord
        Journal and verdicts.
    tools : SessionTools
        Scale and printer.
    """

    def __init__(
        self, desk: Desk, bench: AttendedBench, record: SessionRecord, tools: SessionTools | None = None
    ) -> None:
        self.tally = SessionTally()
        self._desk, self._bench, self._record = desk, bench, record
        self._tools = tools or SessionTools()
        self._last = LastShaft(desk, record, self._tools, self.tally)
        self._fault = False  # the last measurement ended with a fault of the gauge
        self._label = ""  # typed for the shaft that is laid in next
        self._known: int | None = None  # number of the known shaft that is laid in next
        self._measuring: int | None = None  # number of the shaft that is being measured, or was when the line broke
        self._again: int | None = None  # number of the shaft that was not in the gauge when it was to be measured
        self._told_unfinished: int | None = None  # number of the unfinished shaft that was told

    def run(self) -> SessionTally:
        """Ask and measure until the person ends the session.

        Returns
        -------
        SessionTally
            The totals, also said at the desk.

        Raises
        ------
        ArchiveError
            The readings cannot be kept; the gauge holds them.
        StoreGone
            The database was moved or replaced.
        """
        try:
            if self._bench.caution:
                self._desk.say(self._bench.caution)
            if self._ready():
                self._desk.say(f"Keys: {keys_of(choices.CHOICES)}")
                while self._turn():
                    pass
        except ReadingsError as error:
            if error.code != LEFT:
                raise
        finally:
            self._end()
        return self.tally

    def _end(self) -> None:
        """Note that the last shaft is out, and say the totals."""
        try:
            self._record.lifted()
        finally:
            self._bench.close()
            for line in self.tally.words().splitlines():
                self._desk.say(line)

    # Getting ready

    def _ready(self) -> bool:
        """Store what the bench holds from before, and have a person remove what hinders; False to end."""
        while True:
            try:
                self._recover()
                hindrance = self._bench.hindrance()
                if hindrance is None:
                    return True
                self._sound("fault")
                answer = self._desk.ask(choices.hindered(hindrance))
                if answer.choice == choices.END.id:
                    return False
                if hindrance.moves:
                    self._bench.clear()
            except LinkError as error:
                if not self._connected(error):
                    return False
            except (DeviceFault, ProtocolError) as error:
                self._desk.say(str(error))

    def _recover(self) -> None:
        """Store readings from before this session, or from before the line was lost."""
        found = self._bench.recover(self._record)
        if found is None:
            self._say_unfinished()
            return
        if self._bench.goes_on:
            self._took(found)
            return
        self._desk.say(f"The readings of {words.order_name(found.order)} were not stored yet; they are now")
        if not found.rescued and found.order.shaft == self._measuring:
            self._known, self._label = None, ""
            self._took(found)
        else:
            self.tally.fetched += 1
            self._show(found)
            self._last.take(found)

    def _say_unfinished(self) -> None:
        """Say which shaft got its number and was not measured."""
        left = self._record.unfinished()
        if left is not None and left.shaft != self._told_unfinished:
            self._told_unfinished = left.shaft
            self._desk.say(
                f"S{words.order_name(left)[1:]} was not finished: lay it in again, then Enter. It keeps number and "
                f"label; {choices.NO_LABEL} gives it up"
            )

    def _connected(self, error: LinkError) -> bool:
        """Have a person bring the line back; False to end."""
        self._sound("fault")
        while True:
            if self._desk.ask(choices.line_lost(str(error))).choice == choices.END.id:
                return False
            try:
                self._bench.connect()
            except (LinkError, ProtocolError) as again:
                error = LinkError(str(again))
            else:
                return True

    # One prompt

    def _turn(self) -> bool:
        """Ask for the next shaft or check standard and do what is answered; False to end."""
        standard = self._record.due(ending=False)
        try:
            if standard is None:
                goes_on = self._answered(self._desk.ask(self._lay_next()))
            else:
                goes_on = self._checked(standard, ending=False)
            fault, self._fault = self._fault, False
            return goes_on and (not fault or self._ready())
        except LinkError as error:
            return self._connected(error) and self._ready()
        except (DeviceFault, ProtocolError) as error:
            self._sound("fault")
            self._desk.say(str(error))
            return self._ready()
        except ReadingsError as error:  # of readings that cannot be what they say; nobody left the desk
            if error.code == LEFT:
                raise
            self._sound("fault")
            self._desk.say(f"No result: {error}")
            return True

    def _lay_next(self) -> Prompt:
        """Return the prompt for the next shaft, with the keys that mean something now."""
        barred, last = self._last.barred(), self._last.measured
        if last is None or not self._bench.can_turn(last):
            barred["stiff side"] = NO_STIFF_SIDE if last is not None else NO_SHAFT_YET
        label = f"next: {self._label}" if self._label else ""
        return choices.lay_next(barred, self._what_to_lay(), label)

    def _what_to_lay(self) -> str:
        """Return what to lay in, for people."""
        if self._known is not None:
            return f"Lay shaft {self._known} in, then Enter"
        left = self._record.unfinished()
        if left is not None:
            return f"Lay {words.order_name(left)} in again, then Enter"
        return "A shaft lies in the gauge; Enter" if self._bench.is_seated() else "Lay the next shaft in, then Enter"

    def _answered(self, answer: Answer) -> bool:
        """Do what a person chose; False to end."""
        if not answer.choice:
            self._named(answer.text)
            return True
        if answer.choice == choices.END.id:
            return not self._ended()
        takes_text: dict[str, Callable[[str], None]] = {
            "void": self._last.void, "note": self._last.note, "label": self._last.relabel, "weigh": self._last.weigh,
        }  # fmt: skip
        actions: dict[str, Callable[[], None]] = {
            "start": self._measure_next, "repeat": self._repeat, "undo": self._last.undo,
            "print": self._last.print_label, "stiff side": self._turn_stiff_side, "help": self._help,
        }  # fmt: skip
        if answer.choice in takes_text:
            takes_text[answer.choice](answer.text)
        else:
            actions[answer.choice]()
        return True

    def _ended(self) -> bool:
        """Have the last check made if one is due, and return True."""
        standard = self._record.due(ending=True)
        if standard is not None:
            self._checked(standard, ending=True)
        return True

    def _help(self) -> None:
        """Say what each key does."""
        for line in choices.HELP:
            self._desk.say(line)

    # Measuring

    def _checked(self, standard: Standard, *, ending: bool) -> bool:
        """Have a check standard measured, unless the person goes on without; False to end."""
        answer = self._desk.ask(choices.lay_standard(standard.name, ending=ending))
        if answer.choice == choices.END.id:
            return False
        if answer.choice == choices.SKIP.id:
            self._record.skip_check()
            self._desk.say(f"Without check standard {standard.name} nothing shows that the gauge still reads right")
            return True
        self._measure(self._record.order(standard=standard.name))
        return True

    def _measure_next(self) -> None:
        """Measure the shaft that was laid in."""
        self._again = None
        if self._known is not None:
            self._measure(self._record.order_again(self._known))
        else:
            order = self._record.order(self._label)
            if self._label and self._label != self._record.label_of(order.shaft):
                self._last.say_of(order.shaft, DetailKind.LABEL, self._label)
            self._label = ""  # the shaft has it now, whatever becomes of the measurement
            self._measure(order)
        self._known, self._label = self._again, ""

    def _repeat(self) -> None:
        """Measure the last shaft again."""
        assert self._last.measured is not None  # otherwise there is no such choice
        order = self._last.measured.order
        if order.standard is None:
            self._known, self._label = order.shaft, ""
            self._measure_next()
        else:
            self._measure(self._record.order(standard=order.standard))

    def _measure(self, order: ShaftOrder) -> None:
        """Measure a shaft, and show and count the verdict."""
        self._desk.tell(NoticeKind.STATE, f"measuring {order.standard or order.shaft}")
        self._measuring = order.shaft
        self._took(self._bench.measure(order, self._record))

    def _took(self, measured: MeasuredShaft) -> None:
        """Show, count and remember a measured shaft."""
        self._measuring = None
        if measured.was_empty:
            self._nothing_lay_in(measured.order)
            return
        self._last.take(measured)
        self._fault = measured.decision.outcome is Outcome.INSTRUMENT_FAULT
        order, decision = measured.order, measured.decision
        self.tally.batches.add(order.batch)
        if measured.check is not None:
            self.tally.checks.setdefault(measured.check.standard, []).append(measured.check.good)
            self.tally.suspects.update(measured.suspects)
        elif order.standard is None:
            self.tally.measurements += 1
            self.tally.shafts[order.shaft] = CountedShaft(decision.outcome.value, decision.bin or "")
            self.tally.voided.discard(order.shaft)
            self.tally.suspects.discard(order.shaft)
        self._show(measured)
        if order.standard is None and self._tools.prints_each:
            self._last.print_label()

    def _nothing_lay_in(self, order: ShaftOrder) -> None:
        """Say that no shaft was in the gauge; the same shaft is asked for again."""
        self._sound(words.SOUNDS[Outcome.DOUBTFUL])
        self._desk.say(f"No shaft in the gauge, or it lies beside the rollers: lay {words.order_name(order)} in again")
        self._again = order.shaft if order.standard is None else None

    def _show(self, measured: MeasuredShaft) -> None:
        """Show a verdict and make its sound."""
        self._desk.tell(NoticeKind.VERDICT, words.line(measured), words.large(measured))
        self._sound(words.SOUNDS[measured.decision.outcome])
        if measured.suspects:
            those = ", ".join(map(str, sorted(measured.suspects)))
            self._desk.say(f"In doubt until they are measured again: {those}")

    def _sound(self, name: str) -> None:
        """Make a sound."""
        self._desk.tell(NoticeKind.SOUND, name)

    # The shaft that comes next

    def _named(self, text: str) -> None:
        """Take a text as the shaft that is laid in next, if it names one, else as its label."""
        if text == choices.NO_LABEL:
            self._take_back()
            return
        try:
            shaft = read_name(self._record.store, text)
        except StoreError as error:
            if error.code == "never_measured" and number_in(text) is None:
                self._known, self._label = None, text
                return
            self._desk.say(str(error))
            if error.code == "two_shafts":
                self._which(text)
            return
        self._known, self._label = (shaft, "") if self._record.is_measured(shaft) else (None, text)

    def _take_back(self) -> None:
        """Take back what was typed for the next shaft; if nothing was, give up the shaft that was not finished."""
        left = self._record.unfinished()
        if self._known is None and not self._label and left is not None:
            self._record.give_up(left)
            self._desk.say(f"S{words.order_name(left)[1:]} is given up")
        self._known, self._label = None, ""

    def _which(self, text: str) -> None:
        """Ask once which of two shafts with the same label is meant."""
        answer = self._desk.ask(choices.text_asked("which shaft", f"Number of the shaft labelled {text}"))
        if answer.text:
            try:
                self._known, self._label = read_name(self._record.store, answer.text), ""
            except StoreError as error:
                self._desk.say(str(error))

    # The stiff side

    def _turn_stiff_side(self) -> None:
        """Turn the stiff side of the last shaft up; measure it again first if its angles are not known any more."""
        assert self._last.measured is not None
        try:
            half_width_deg = self._bench.turn_stiff_side_up(self._last.measured)
        except ParkingError as error:
            if error.code != "reset":
                self._desk.say(str(error))
                return
            if self._desk.ask(choices.measure_to_mark(str(error))).choice != choices.START.id:
                return
            self._repeat()
            if not self._bench.can_turn(self._last.measured):
                return
            half_width_deg = self._bench.turn_stiff_side_up(self._last.measured)
        self._desk.say(MARK_IT.format(half_width_deg))
