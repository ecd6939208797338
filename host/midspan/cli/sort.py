"""`midspan sort`: begin a run or go on with it, handle Ctrl-C, and print how it ended."""

import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import INTERRUPTED, ConfigurationError, NightStopped, StoreError
from midspan.cli.options import AllowDoubtful, ClearFault
from midspan.cli.screen import aside

if TYPE_CHECKING:
    from midspan.base.clock import Clocks
    from midspan.cli.sort_screen import SortScreen
    from midspan.link.reconnect import Reconnector
    from midspan.sorting.loop import Ending, SortingLoop
    from midspan.sorting.notices import Notices
    from midspan.sorting.recorder import NightRecorder
    from midspan.sorting.setup import Setup
    from midspan.store.database import Store
    from midspan.store.journal import Journal
    from midspan.store.transit import NightOnRecord, RunEventKind

REHEARSAL_FOLDER = "rehearsal"


def sort(
    plan: Annotated[Path, typer.Argument(help="Plan of the run (TOML); midspan demo writes one to start from.")],
    resume: Annotated[bool, typer.Option("--resume", help="Go on with the last run, however it ended.")] = False,
    anew: Annotated[bool, typer.Option("--anew", help="Start a new run although the last is not finished.")] = False,
    attended: Annotated[
        bool, typer.Option("--attended", help="You stay with the gauge: it asks you instead of stopping.")
    ] = False,
    clear_fault: ClearFault = False,
    emptied: Annotated[
        list[int] | None, typer.Option("--emptied", min=1, max=64, help="You emptied this place; may be repeated.")
    ] = None,
    allow_doubtful: AllowDoubtful = False,
) -> None:
    """Sort the hopper into bins, alone, until it is empty.

    Each shaft leaves only after its readings and verdict are on the disk. Ctrl-C finishes the shaft in hand, twice
    stops at once. The gauge moves by itself: hands off, lid shut, emergency stop within reach.
    """
    from midspan.sorting.setup import check_emptied, load_setup

    setup = load_setup(plan, attended=attended, allow_doubtful=allow_doubtful)
    places = emptied or []
    check_emptied(setup.plan, places)
    recorder, journal, ending = _sorted(setup, StartOptions(resume, anew, clear_fault, places, allow_doubtful))
    with suppress(StoreError):  # a missing database has stopped the run, which is reported below
        _print_outcome(setup, recorder, journal, ending)
    _leave(ending, plan)


@dataclass(frozen=True)
class StartOptions:
    """How the run is to begin."""

    resume: bool
    anew: bool
    clear_fault: bool
    emptied: Sequence[int]
    allow_doubtful: bool


def _sorted(setup: "Setup", options: StartOptions) -> "tuple[NightRecorder, Journal, Ending]":
    """Sort until the hopper is empty or a person is needed; return what was recorded, and how it ended."""
    from midspan.base.clock import Clocks
    from midspan.cli.sort_screen import SortScreen
    from midspan.link.live_readings_file import LiveReadings
    from midspan.link.reconnect import Reconnector
    from midspan.sorting.loop import SortingLoop, Watcher
    from midspan.sorting.notices import Notices
    from midspan.sorting.recorder import NightRecorder
    from midspan.sorting.setup import check_unchanged
    from midspan.store.journal import Journal

    clocks, ways = Clocks(), setup.plan.notices.ways()
    with ExitStack() as stack:
        store = stack.enter_context(setup.store.open())
        journal = Journal(store)
        night = _to_go_on_with(journal, setup, options)
        if night is not None:
            check_unchanged(setup, night)
        reconnector = Reconnector(setup.plan.gauge.name, _port(setup, stack, fresh=night is None))
        _look_at_gauge(setup, reconnector, clocks, allow_doubtful=options.allow_doubtful)
        _try_files(setup, store)
        night = _on_record(journal, setup, night, clocks.now_ms())
        recorder = NightRecorder(setup, store, night, clocks.now_ms)
        _say_changes(recorder)
        for words in filter(None, (standard.conversion for standard in setup.plan.standard)):
            aside(words)
        about = f"run {night.id} on gauge {night.gauge}"
        notices = stack.enter_context(Notices(setup.plan.notices, setup.folder, about, now_ms=clocks.now_ms, ways=ways))
        screen = stack.enter_context(SortScreen(recorder))
        ask = screen.ask if setup.plan.sort.attended else None
        turning = LiveReadings(setup.store.live_readings(night.gauge))
        running = SortingLoop(
            recorder, reconnector, Watcher(notices, ask, screen.show, turning, _stop_requested(store, night)), clocks
        )
        for place in options.emptied:
            running.emptied(place)
        if options.clear_fault:
            running.looked_after()
        with _heard(running, screen):
            ending = running.run()
        notices.close()
        _note_unsent(notices, journal, night, clocks.now_ms())
    return recorder, journal, ending


def _to_go_on_with(journal: "Journal", setup: "Setup", options: StartOptions) -> "NightOnRecord | None":
    """Return the run to go on with, None to begin a new run."""
    from midspan.store.transit import RunEventKind

    last = next(iter(reversed(journal.nights(setup.plan.gauge.name))), None)
    is_over = last is None or _turn(journal, last) is RunEventKind.ENDED
    if options.resume and is_over:
        raise ConfigurationError(f"{setup.store}: no run to resume on gauge {setup.plan.gauge.name}")
    if not options.resume and not is_over and not options.anew:
        assert last is not None
        raise ConfigurationError(
            f"run {last.id} is not finished: resume it with --resume, or start a new one with --anew (all places are "
            "taken to be empty then)"
        )
    return last if options.resume else None


def _turn(journal: "Journal", night: "NightOnRecord") -> "RunEventKind | None":
    """Return the newest beginning or end of a run, None if neither is recorded."""
    from midspan.store.transit import RunEventKind as Kind

    turns = Kind.BEGUN, Kind.RESUMED, Kind.ENDED, Kind.STOPPED
    return next((event.kind for event in reversed(journal.events(night.id)) if event.kind in turns), None)


def _stop_requested(store: "Store", night: "NightOnRecord") -> Callable[[], bool]:
    """Return a function that is True once the page has asked to stop this run."""
    from midspan.store.follow import newest_stop_request

    before = newest_stop_request(store, night.id)
    return lambda: newest_stop_request(store, night.id) > before


def _port(setup: "Setup", stack: ExitStack, *, fresh: bool) -> str:
    """Return the port of the gauge; start a simulated gauge if the plan names it."""
    from functools import partial

    from midspan.rehearsal import scenario_night
    from midspan.rehearsal.process import REHEARSAL_PORT, Rehearsal

    if setup.plan.gauge.port != REHEARSAL_PORT:
        return setup.plan.gauge.port
    folder = setup.folder / REHEARSAL_FOLDER
    prepare = partial(scenario_night.fill_hopper, folder) if fresh else None
    gauge = stack.enter_context(Rehearsal(scenario_night.scenario_in(folder), folder, prepare))
    aside(f"A simulated gauge runs the device code on {gauge.interpreter}.")
    return gauge.port


def _look_at_gauge(setup: "Setup", reconnector: "Reconnector", clocks: "Clocks", *, allow_doubtful: bool) -> None:
    """Check that the gauge is that of the plan and calibration before the run begins."""
    from datetime import UTC, datetime

    from midspan.measurement.calibration_validity import check_use
    from midspan.measurement.thermometer import temperature_now
    from midspan.sorting.setup import check_cycle, check_gauge

    with reconnector.opened() as gauge:
        found = gauge.identify()
    check_gauge(setup.plan, found)
    check_cycle(setup, found)
    if not allow_doubtful:
        day = datetime.fromtimestamp(clocks.now_ms() / 1000, UTC).date()
        check_use(setup.calibration, found.gauge, day, temperature_now(found, setup.calibration))


def _try_files(setup: "Setup", store: "Store") -> None:
    """Fail now if a file cannot be written, rather than at the first shaft."""
    from midspan.archive.writer import ArchiveWriter
    from midspan.store.kept_calibration import KeptCalibration

    with ArchiveWriter(setup.archive) as archive:
        if archive.moved is not None:
            aside(archive.moved)
    store.keep_calibration(KeptCalibration.of(setup.calibration))
    setup.plan.notices.try_log(setup.folder)


def _on_record(journal: "Journal", setup: "Setup", night: "NightOnRecord | None", now_ms: int) -> "NightOnRecord":
    """Begin the run in the journal, or note that it goes on; return the run."""
    from midspan.store.transit import RunEvent, RunEventKind

    if night is None:
        number = journal.begin_night(setup.plan.gauge.name, setup.as_json(), now_ms)
        journal.add_events(number, RunEvent(RunEventKind.BEGUN, "the run begins", now_ms))
    else:
        words = "the run goes on"
        if (
            _turn(journal, night) is not RunEventKind.STOPPED
        ):  # the stop was not recorded: the disk was full or the database locked
            words += f"; it broke off without a word here: see {setup.plan.notices.log}, or the host was killed"
        journal.add_events(night.id, RunEvent(RunEventKind.RESUMED, words, now_ms))
    return journal.nights(setup.plan.gauge.name)[-1]


def _say_changes(recorder: "NightRecorder") -> None:
    """Print which settings have changed since the run began."""
    changes = recorder.changes
    for change in changes:
        aside(change)
    if changes:
        first = "The check standards come first. " if recorder.setup.plan.standard else ""
        aside(f"{first}Shafts judged before are not judged again; the report lists them.")


@contextmanager
def _heard(night: "SortingLoop", screen: "SortScreen") -> Iterator[None]:
    """Ctrl-C, or being told to end: once finishes the shaft in hand, twice stops at once.

    A terminal that is closed is no such wish: whoever looked on has gone home.
    """
    presses = 0

    def hear(_: int, __: object) -> None:
        """Note a signal."""
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


def _note_unsent(notices: "Notices", journal: "Journal", night: "NightOnRecord", now_ms: int) -> None:
    """Record notices that were not delivered."""
    from midspan.store.transit import RunEvent, RunEventKind

    unsent = [RunEvent(RunEventKind.NOTICE, words, now_ms) for words in notices.take_failures()]
    with suppress(StoreError):  # a journal that cannot be written was reported before
        journal.add_events(night.id, *unsent)


def _print_outcome(setup: "Setup", recorder: "NightRecorder", journal: "Journal", ending: "Ending") -> None:
    """Print how the run ended, and what to do."""
    from rich.table import Table

    from midspan.report.result_text import console

    screen, number = console(), recorder.night.id
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("place")
    table.add_column("shafts", justify="right")
    account = recorder.account()
    for place in setup.plan.place:
        if place.use != "standard":
            table.add_row(place.name, str(account.sent_to(place.number)))
    how = "Over" if ending.is_over else "Stopped"
    screen.print(f"Run {number}: {account.words(setup.plan)} {how}: {ending.words}.\n")
    screen.print(table, "")
    for line in _to_look_after(setup, recorder, journal):
        screen.print(line)
    screen.print(f"Next: midspan report {number} --store {setup.store}")


def _to_look_after(setup: "Setup", recorder: "NightRecorder", journal: "Journal") -> Iterator[str]:
    """Yield what must be checked before the sorted shafts are used, a line each."""
    from midspan.sorting.readings_gone import READINGS_GONE
    from midspan.store.transit import TransitStage

    number = recorder.night.id
    uncertain = [transit for transit in journal.transits(number) if transit.stage is TransitStage.UNCERTAIN]
    recount = sorted({transit.place for transit in uncertain if transit.place is not None})
    if recount:
        yield f"Recount: {', '.join(setup.plan.place_called(place) for place in recount)}"
    suspects = journal.suspects(number)
    if suspects:
        yield f"Measure again, because a check standard read wrong: {', '.join(map(str, sorted(suspects)))}"
    gone = [event.words for event in journal.events(number) if event.code == READINGS_GONE]
    if gone:
        yield f"Look for the archive as it was: {gone[-1]}."
    cracked = setup.plan.place_for("cracked")
    if recorder.tally.places[cracked.number]:
        yield f"Never shoot what lies in {cracked.name}: it may be cracked."


def _leave(ending: "Ending", plan_file: Path) -> None:
    """Exit with the code for an interrupted run, or raise what stopped it; return if it is over."""
    from midspan.sorting.loop import AS_ASKED, AT_ONCE

    if ending.words in (AS_ASKED, AT_ONCE):
        aside(f"Go on with: midspan sort {plan_file} --resume")
        raise SystemExit(INTERRUPTED)
    if not ending.is_over:
        words = ending.words.rstrip(".")
        raise NightStopped(f"{words}. Then go on with: midspan sort {plan_file} --resume{ending.options}")
