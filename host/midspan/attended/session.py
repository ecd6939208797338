"""A session at the gauge: a person lays shafts in one after another, and each gets number, verdict and record.

The session is a loop over prompts and does no input or output of its own: it asks at a desk, measures at a bench, and
writes by a record. Nothing moves but by the Enter that answers the prompt of that very motion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from midspan.attended import choices, words
from midspan.attended.bench import AttendedBench, MeasuredShaft, ShaftOrder
from midspan.attended.record import SessionRecord
from midspan.attended.tally import CountedShaft, SessionTally
from midspan.base.errors import (
    DeviceFault,
    LinkError,
    OutputError,
    ParkingError,
    ProtocolError,
    ReadingsError,
    StoreError,
)
from midspan.base.units import GRAM_PER_GRAIN
from midspan.conversation.desk import LEFT, Desk, NoticeKind
from midspan.conversation.prompts import Answer, Prompt
from midspan.measurement.shown_quantities import weight_text
from midspan.sets.registry import Sets
from midspan.sets.weights import ShaftWeight, weight_of
from midspan.sorting.plan import Standard
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import say_of
from midspan.store.lookup import number_in, read_name
from midspan.store.voids import unvoid, void_last

REFUSALS = (StoreError, ReadingsError)  # of what a person types, after which the session goes on
MARK_IT = (
    "The stiff side is up, under the head, within ± {:.1f}°; its opposite is down. Mark it there with a soft pencil "
    "before you lift the shaft."
)


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
        self._last: MeasuredShaft | None = None
        self._voided: int | None = None  # number of the measurement that `u` lets count again
        self._label = ""  # typed for the shaft that is laid in next
        self._known: int | None = None  # number of the known shaft that is laid in next
        self._skipped = False

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
            self._record.lifted(keep_begun=self._bench.keeps_begun)
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
            return
        self._desk.say(f"The readings of shaft {found.order.shaft} were not stored yet; they are now")
        if not found.rescued and found.order.batch == self._record.batch_begun:
            self._known, self._label = None, ""
            self._took(found)
        else:
            self.tally.fetched += 1
            self._show(found)
            self._last = found

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
        standard = None if self._skipped else self._record.due(ending=False)
        try:
            if standard is None:
                return self._answered(self._desk.ask(self._lay_next()))
            return self._checked(standard, ending=False)
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
        possible, last = {"help", "end"}, self._last
        if last is not None:
            possible |= {"repeat"}
            if last.order.standard is None:
                possible |= {"void", "note", "label", "weigh"}
                possible |= {"print"} if self._tools.print_label is not None else set()
            if self._bench.can_turn(last):
                possible |= {"stiff side"}
        if self._voided is not None:
            possible |= {"undo"}
        seated = self._bench.is_seated()
        words = "Lay the next shaft in, then Enter"
        if self._known is not None:
            words = f"Lay shaft {self._known} in, then Enter"
        elif seated:
            words = "A shaft lies in the gauge; Enter"
        return choices.lay_next(possible, words, f"next: {self._label}" if self._label else "")

    def _answered(self, answer: Answer) -> bool:
        """Do what a person chose; False to end."""
        if answer.text:
            self._named(answer.text)
            return True
        if answer.choice == choices.END.id:
            return not self._ended()
        actions: dict[str, Callable[[], None]] = {
            "start": self._measure_next, "repeat": self._repeat, "void": self._void, "undo": self._undo,
            "note": self._note, "label": self._relabel, "weigh": self._weigh, "print": self._print_label,
            "stiff side": self._turn_stiff_side, "help": self._help,
        }  # fmt: skip
        actions[answer.choice]()
        return True

    def _ended(self) -> bool:
        """Have the last check made if one is due, and return True."""
        standard = None if self._skipped else self._record.due(ending=True)
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
            self._skipped = True
            self._desk.say(f"Without check standard {standard.name} nothing shows that the gauge still reads right")
            return True
        self._measure(self._record.order(standard=standard.name))
        return True

    def _measure_next(self) -> None:
        """Measure the shaft that was laid in."""
        if self._known is not None:
            self._measure(self._record.order_again(self._known))
        else:
            order = self._record.order(self._label)
            if self._label:
                self._say_of(order.shaft, DetailKind.LABEL, self._label)
            self._measure(order)
        self._known, self._label = None, ""

    def _repeat(self) -> None:
        """Measure the last shaft again."""
        assert self._last is not None  # otherwise there is no such choice
        order = self._last.order
        if order.standard is None:
            self._measure(self._record.order_again(order.shaft))
        else:
            self._measure(self._record.order(standard=order.standard))

    def _measure(self, order: ShaftOrder) -> None:
        """Measure a shaft, and show and count the verdict."""
        self._desk.tell(NoticeKind.STATE, f"measuring {order.standard or order.shaft}")
        self._took(self._bench.measure(order, self._record))
        if self._last is not None and self._last.decision.outcome.value == "instrument fault":
            self._ready()

    def _took(self, measured: MeasuredShaft) -> None:
        """Show, count and remember a measured shaft."""
        self._last, self._voided = measured, None
        order, decision = measured.order, measured.decision
        if measured.check is not None:
            self.tally.checks.setdefault(measured.check.standard, []).append(measured.check.good)
            self.tally.suspects.update(measured.suspects)
        elif order.standard is None:
            self.tally.measurements += 1
            self.tally.shafts[order.shaft] = CountedShaft(decision.outcome.value, decision.bin or "")
            self.tally.voided.discard(order.shaft)
            self.tally.suspects.discard(order.shaft)
        self._skipped = False
        self._show(measured)
        if order.standard is None and self._tools.prints_each:
            self._print_label()

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

    # Names, notes, voids, weights

    def _named(self, text: str) -> None:
        """Take a text as the shaft that is laid in next, if it names one, else as its label."""
        if text == choices.NO_LABEL:
            self._known, self._label = None, ""
            return
        try:
            self._known, self._label = read_name(self._record.store, text), ""
        except StoreError as error:
            if error.code == "never_measured" and number_in(text) is None:
                self._known, self._label = None, text
                return
            self._desk.say(str(error))
            if error.code == "two_shafts":
                self._which(text)

    def _which(self, text: str) -> None:
        """Ask once which of two shafts with the same label is meant."""
        answer = self._desk.ask(choices.text_asked("which shaft", f"Number of the shaft labelled {text}"))
        if answer.text:
            try:
                self._known, self._label = read_name(self._record.store, answer.text), ""
            except StoreError as error:
                self._desk.say(str(error))

    def _say_of(self, shaft: int, kind: DetailKind, value: str) -> bool:
        """Record what a person says of a shaft; say why not, and return False."""
        try:
            say_of(self._record.store, shaft, kind, value, self._record.rules.operator, self._record.now_ms())
        except REFUSALS as error:
            self._desk.say(str(error))
            return False
        return True

    def _note(self) -> None:
        """Ask for a note on the last shaft."""
        self._told(DetailKind.NOTE, "note", "Note on")

    def _relabel(self) -> None:
        """Ask for a label for the last shaft."""
        text = self._told(DetailKind.LABEL, "label", "Label of")
        if text and self._last is not None:
            self._last = replace(self._last, order=replace(self._last.order, label=text))

    def _told(self, kind: DetailKind, name: str, question: str) -> str:
        """Ask for what is to be recorded of the last shaft; return it, empty for nothing."""
        assert self._last is not None
        shaft = self._last.order.shaft
        text = self._desk.ask(choices.text_asked(name, f"{question} shaft {shaft}")).text
        if not text or not self._say_of(shaft, kind, text):
            return ""
        self._desk.say(f"{kind.value} of shaft {shaft} stored: {text}")
        return text

    def _void(self) -> None:
        """Take the last measurement out of what counts, with a reason."""
        assert self._last is not None
        shaft = self._last.order.shaft
        asked = choices.text_asked("void reason", f"Why does shaft {shaft} not count", choices.DEFAULT_REASON)
        reason, record = self._desk.ask(asked).text, self._record
        try:
            self._voided = void_last(record.store, shaft, reason, record.rules.operator, record.now_ms())
        except REFUSALS as error:
            self._desk.say(str(error))
            return
        if shaft in self.tally.shafts:
            self.tally.voided.add(shaft)
        self._desk.say(f"The last measurement of shaft {shaft} does not count; u undoes that")

    def _undo(self) -> None:
        """Let the measurement that was voided last count again."""
        assert self._voided is not None
        assert self._last is not None
        record, shaft = self._record, self._last.order.shaft
        try:
            unvoid(record.store, self._voided, "voided by mistake", record.rules.operator, record.now_ms())
        except REFUSALS as error:
            self._desk.say(str(error))
            return
        self._voided = None
        self.tally.voided.discard(shaft)
        self._desk.say(f"The last measurement of shaft {shaft} counts again")

    def _print_label(self) -> None:
        """Print a label of the last shaft; without one the session goes on."""
        assert self._last is not None
        assert self._tools.print_label is not None
        shaft = self._last.order.shaft
        try:
            self._tools.print_label(shaft)
        except (*REFUSALS, OutputError) as error:
            self._desk.say(f"No label: {error}")
        else:
            self._desk.say(f"Label of shaft {shaft} sent to the printer")

    def _weigh(self) -> None:
        """Store the weight of the last shaft, from the scale or typed."""
        assert self._last is not None
        shaft = self._last.order.shaft
        try:
            weight = self._weight(f"shaft {shaft}")
            if weight is not None:
                Sets(self._record.store).weigh({str(shaft): weight}, self._record.now_ms())
                self._desk.say(f"Weight of shaft {shaft} stored: {weight_text(weight.weight_g / GRAM_PER_GRAIN)}")
        except (*REFUSALS, LinkError) as error:
            self._desk.say(str(error))

    def _weight(self, name: str) -> ShaftWeight | None:
        """Return a weight from the scale, or the one that is typed; None for none."""
        if self._tools.weigh is not None:
            return self._tools.weigh(name)
        unit = self._tools.weight_unit
        text = self._desk.ask(choices.text_asked("weight", f"Weight of {name}, in {unit}")).text
        return weight_of(text, unit, name) if text else None

    # The stiff side

    def _turn_stiff_side(self) -> None:
        """Turn the stiff side of the last shaft up; measure it again first if its angles are not known any more."""
        assert self._last is not None
        try:
            half_width_deg = self._bench.turn_stiff_side_up(self._last)
        except ParkingError as error:
            if error.code != "reset":
                self._desk.say(str(error))
                return
            if self._desk.ask(choices.measure_to_mark(str(error))).choice != choices.START.id:
                return
            self._repeat()
            if not self._bench.can_turn(self._last):
                return
            half_width_deg = self._bench.turn_stiff_side_up(self._last)
        self._desk.say(MARK_IT.format(half_width_deg))
