"""`midspan sort`: begins a night or goes on with one, watches over Ctrl-C, and says how it ended."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from rich.table import Table

from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import INTERRUPTED, ConfigurationError, NightStopped, StoreError
from midspan.cli.sort_screen import SortScreen
from midspan.link.live_readings_file import LiveReadings, turning_file
from midspan.link.reconnect import Reconnector
from midspan.measurement.calibration_validity import check_use
from midspan.rehearsal import scenario_night
from midspan.rehearsal.process import REHEARSAL_PORT, Rehearsal
from midspan.report import result_text
from midspan.sorting.event_log import Clocks
from midspan.sorting.loop import AS_ASKED, AT_ONCE, Ending, SortingLoop, Watcher
from midspan.sorting.notices import Notices
from midspan.sorting.readings_gone import READINGS_GONE
from midspan.sorting.recorder import NightRecorder
from midspan.sorting.setup import Setup, check_emptied, check_gauge, check_unchanged, load_setup
from midspan.store.database import Store
from midspan.store.journal import Journal
from midspan.store.passage import NightOnRecord, RunEvent, RunEventKind, TransitStage
from midspan.store.tables import newest_wish

REHEARSAL_FOLDER = "rehearsal"
TURNS = (RunEventKind.BEGUN, RunEventKind.RESUMED, RunEventKind.ENDED, RunEventKind.STOPPED)


def sort(
    plan_file: Path, *, resume: bool, anew: bool, attended: bool, clear_fault: bool, emptied: Sequence[int],
    even_so: bool,
) -> None:  # fmt: skip
    """Sort until the hopper is empty or someone must come; NightStopped says why when it is the latter."""
    setup = load_setup(plan_file, attended=attended, even_so=even_so)
    check_emptied(setup.plan, emptied)
    clocks, ways = Clocks(), setup.plan.notices.ways()
    with ExitStack() as stack:
        store = stack.enter_context(Store.open(setup.store))
        journal = Journal(store)
        night = _to_go_on_with(journal, setup, resume=resume, anew=anew)
        if night is not None:
            check_unchanged(setup, night)
        reach = Reconnector(setup.plan.gauge.name, _port(setup, stack, fresh=night is None))
        _look_at_gauge(setup, reach, clocks, even_so=even_so)
        _try_files(setup, store)
        night = _on_record(journal, setup, night, clocks.now_ms())
        keeper = NightRecorder(setup, store, night, clocks.now_ms)
        _say_changes(keeper)
        about = f"night {night.id} on gauge {night.gauge}"
        notices = stack.enter_context(Notices(setup.plan.notices, setup.folder, about, now_ms=clocks.now_ms, ways=ways))
        screen = stack.enter_context(SortScreen(keeper))
        ask = screen.ask if setup.plan.sort.attended else None
        turning = LiveReadings(turning_file(setup.store, night.gauge))
        running = SortingLoop(keeper, reach, Watcher(notices, ask, screen.show, turning, _wished(store, night)), clocks)
        for place in emptied:
            running.emptied(place)
        if clear_fault:
            running.looked_after()
        with _heard(running, screen):
            ending = running.run()
        notices.close()
        _note_unsent(notices, journal, night, clocks.now_ms())
    with suppress(StoreError):  # a database that is gone has ended the night, and says so below
        _print_outcome(setup, keeper, journal, ending)
    _leave(ending, plan_file)


def _to_go_on_with(journal: Journal, setup: Setup, *, resume: bool, anew: bool) -> NightOnRecord | None:
    """The night that is to go on, None when a new one is to begin."""
    last = next(iter(reversed(journal.nights(setup.plan.gauge.name))), None)
    is_over = last is None or _turn(journal, last) is RunEventKind.ENDED
    if resume and is_over:
        raise ConfigurationError(f"{setup.store}: there is no night on gauge {setup.plan.gauge.name} to go on with")
    if not resume and not is_over and not anew:
        assert last is not None
        raise ConfigurationError(
            f"night {last.id} was not finished: go on with --resume, or begin another with --anew (all places are "
            "taken to be empty then)"
        )
    return last if resume else None


def _turn(journal: Journal, night: NightOnRecord) -> RunEventKind | None:
    """What the night came to last."""
    return next((one.kind for one in reversed(journal.happenings(night.id)) if one.kind in TURNS), None)


def _wished(store: Store, night: NightOnRecord) -> Callable[[], bool]:
    """Whether the page was asked since now to end this night."""

    def newest() -> int:
        with store.transaction() as session:
            return newest_wish(session, night.id)

    before = newest()
    return lambda: newest() > before


def _port(setup: Setup, stack: ExitStack, *, fresh: bool) -> str:
    if setup.plan.gauge.port != REHEARSAL_PORT:
        return setup.plan.gauge.port
    folder = setup.folder / REHEARSAL_FOLDER
    prepare = partial(scenario_night.fill_hopper, folder) if fresh else None
    gauge = stack.enter_context(Rehearsal(scenario_night.scenario_in(folder), folder, prepare))
    print(f"A simulated gauge runs the device code on {gauge.interpreter}.", file=sys.stderr)
    return gauge.port


def _look_at_gauge(setup: Setup, reach: Reconnector, clocks: Clocks, *, even_so: bool) -> None:
    with reach.opened() as gauge:
        found = gauge.identify()
    check_gauge(setup.plan, found)
    if not even_so:
        check_use(setup.calibration, found.gauge, datetime.fromtimestamp(clocks.now_ms() / 1000, UTC).date())


def _try_files(setup: Setup, store: Store) -> None:
    """Raise now what would else stop the night at its first shaft, or be missed: a file that cannot be written."""
    with ArchiveWriter(setup.archive) as archive:
        if archive.moved is not None:
            print(archive.moved, file=sys.stderr)
    store.keep_calibration(setup.calibration.calibration.id, setup.calibration.content())
    setup.plan.notices.try_log(setup.folder)


def _on_record(journal: Journal, setup: Setup, night: NightOnRecord | None, now_ms: int) -> NightOnRecord:
    if night is None:
        number = journal.begin_night(setup.plan.gauge.name, setup.as_json(), now_ms)
        journal.happened(number, RunEvent(RunEventKind.BEGUN, "the night begins", now_ms))
    else:
        words = "the night goes on"
        if _turn(journal, night) is not RunEventKind.STOPPED:  # what a full disk or a locked database did not take
            words += f"; it broke off without a word here: see {setup.plan.notices.log}, or the host was killed"
        journal.happened(night.id, RunEvent(RunEventKind.RESUMED, words, now_ms))
    return journal.nights(setup.plan.gauge.name)[-1]


def _say_changes(keeper: NightRecorder) -> None:
    changes = keeper.changes
    for one in changes:
        print(one, file=sys.stderr)
    if changes:
        first = "The check standards come first. " if keeper.setup.plan.standard else ""
        print(f"{first}What was judged before stays as it was judged; the report marks it.", file=sys.stderr)


@contextmanager
def _heard(night: SortingLoop, screen: SortScreen) -> Iterator[None]:
    """Ctrl-C, or being told to end: once finishes the shaft in hand, twice stops at once.

    A terminal that is closed is no such wish: whoever looked on has gone home.
    """
    presses = 0

    def hear(_: int, __: object) -> None:
        nonlocal presses
        presses += 1
        if presses > 1 or screen.asking:
            raise KeyboardInterrupt
        night.finish()
        screen.finishing()

    heard: dict[int, Callable[..., object] | signal.Handlers] = {signal.SIGINT: hear, signal.SIGTERM: hear}
    if sys.platform != "win32":
        heard[signal.SIGHUP] = signal.SIG_IGN
    before = [(number, signal.signal(number, handler)) for number, handler in heard.items()]
    try:
        yield
    finally:
        for number, handler in before:
            signal.signal(number, handler)


def _note_unsent(notices: Notices, journal: Journal, night: NightOnRecord, now_ms: int) -> None:
    unsent = [RunEvent(RunEventKind.NOTICE, words, now_ms) for words in notices.take_failures()]
    with suppress(StoreError):  # a journal that cannot be written was told of already, and is no reason to fail now
        journal.happened(night.id, *unsent)


def _print_outcome(setup: Setup, keeper: NightRecorder, journal: Journal, ending: Ending) -> None:
    screen, number = result_text.console(), keeper.night.id
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("place")
    table.add_column("shafts", justify="right")
    for one in setup.plan.place:
        if one.use != "standard":
            table.add_row(one.name, str(keeper.tally.places[one.number]))
    how = "Over" if ending.is_over else "Stopped"
    screen.print(f"Night {number}: {keeper.tally.shafts} shafts. {how}: {ending.words}.\n")
    screen.print(table, "")
    passages = journal.passages(number)
    recount = sorted({one.place for one in passages if one.stage is TransitStage.UNCERTAIN and one.place is not None})
    if recount:
        screen.print(f"Recount: {', '.join(setup.plan.place_called(place) for place in recount)}")
    suspects = journal.suspects(number)
    if suspects:
        screen.print(f"Measure again, a check standard was out of control: {', '.join(map(str, sorted(suspects)))}")
    gone = [one.words for one in journal.happenings(number) if one.code == READINGS_GONE]
    if gone:
        screen.print(f"Look for the archive as it was: {gone[-1]}.")
    cracked = setup.plan.place_for("cracked")
    if keeper.tally.places[cracked.number]:
        screen.print(f"Never shoot what lies in {cracked.name}: it may be cracked.")
    screen.print(f"Next: midspan report {number} --store {setup.store}")


def _leave(ending: Ending, plan_file: Path) -> None:
    if ending.words in (AS_ASKED, AT_ONCE):
        print(f"Go on with: midspan sort {plan_file} --resume", file=sys.stderr)
        raise SystemExit(INTERRUPTED)
    if not ending.is_over:
        words = ending.words.rstrip(".")
        raise NightStopped(f"{words}. Then go on with: midspan sort {plan_file} --resume{ending.options}")
