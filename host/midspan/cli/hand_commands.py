"""What the commands of the hand bench do, once their options are known."""

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from midspan.base.csv_table import read_typed
from midspan.base.errors import ArchiveError, ConfigurationError, ConversionError, OutputError, ReadingsError
from midspan.base.files import writing
from midspan.base.formatting import printable, with_uncertainty
from midspan.decision.bands import Bands, load_bands
from midspan.decision.basis import basis_of_bands
from midspan.decision.decision import Decision, Outcome, judge
from midspan.decision.origin import Origin
from midspan.hand_bench.assigned_value import assigned_from, bar_text
from midspan.hand_bench.bench import HandBench, load_bench
from midspan.hand_bench.contradiction import cannot_tell
from midspan.hand_bench.guide import Guide, places
from midspan.hand_bench.prompts import Ask, Say
from midspan.hand_bench.readings import check_typed_twice, numbers_of, typed_from
from midspan.hand_bench.record import HandRecord, HandSession, Typed
from midspan.hand_bench.result import HandResult, evaluate_hand, is_hand_result
from midspan.hand_bench.resume import progress, to_go_on_with
from midspan.hand_bench.sessions import session_at, sessions
from midspan.report.hand_text import expected_table, hand_json, hand_story
from midspan.report.result_text import budget_table, console, verdict_words
from midspan.store.database import RunReference, Store
from midspan.store.read_only import open_to_read
from midspan.uncertainty.budget import Coverage

NO_BANDS = Decision(Outcome.DOUBTFUL, ("no bands were named, so nothing was judged",))


@dataclass(frozen=True)
class HandShaft:
    """Which shaft, measured by whom, and where its readings and result go."""

    shaft: int
    label: str
    operator: str
    record: Path
    store: Path


@dataclass(frozen=True)
class Guided:
    """How a person is led through the readings; `anew` begins another session though one was not finished."""

    positions: int
    repeats: int
    ask: Ask
    say: Say
    anew: bool = False


def measure(
    bench_file: Path, whose: HandShaft, source: Sequence[Typed] | Guided, bands_file: Path | None,
    now_ms: Callable[[], int],
) -> tuple[HandResult, Decision]:  # fmt: skip
    """Keep readings as they come, then evaluate, judge and store them. An unfinished session of the shaft goes on.

    Raises ReadingsError when they cannot be what they say; they are kept all the same, and the message says where.
    """
    bench, bands = load_bench(bench_file), load_bands(bands_file) if bands_file else None
    if whose.store.exists():  # a changed bench under an old id is told before anything is read
        with Store.open(whose.store) as store:
            store.keep_calibration(bench.bench.id, bench.model_dump(mode="json"))
    record = HandRecord(whose.record)
    values = bench.model_dump(mode="json")
    if isinstance(source, Guided):
        place = _from_person(record, values, whose, source, now_ms)
    else:
        place = _from_table(record, values, whose, source, now_ms)
    session = session_at(whose.record, place)
    try:
        result, decision, _ = keep_result(session, bands, whose.store, now_ms(), named=True, origin=Origin.MEASURED)
        untold = cannot_tell(numbers_of(session.typed, session.file))
    except (ReadingsError, ConversionError) as error:
        record.end(place)
        raise ReadingsError(f"{error} (the readings are kept in {whose.record} at byte {place})") from error
    record.end(place)
    if untold:
        print(f"note: {untold}", file=sys.stderr)
    return result, decision


def _from_table(
    record: HandRecord, bench: dict[str, Any], whose: HandShaft, typed: Sequence[Typed], now_ms: Callable[[], int]
) -> int:
    """Keep the readings of a table as a session; its place in the record."""
    if not typed:
        raise ReadingsError(f"shaft {whose.shaft}: nothing was read; type readings, or give them with --csv")
    place = record.begin(bench, whose.shaft, whose.label, whose.operator, now_ms(), readings=len(typed))
    for one in typed:
        record.keep(place, one)
    return place


def _from_person(
    record: HandRecord, bench: dict[str, Any], whose: HandShaft, how: Guided, now_ms: Callable[[], int]
) -> int:
    """Keep what a person types, in the session that was not finished or in a new one; its place in the record."""
    plan = {"positions": how.positions, "repeats": how.repeats}
    last = None if how.anew else _last_session(record.path, whose)
    session = to_go_on_with(last, {"bench": bench, "operator": whose.operator, **plan})
    if session:
        how.say(f"Going on with the session of shaft {whose.shaft}: {progress(session)}. To begin another: --anew")
        place = record.go_on(session)
    else:
        number = how.positions * how.repeats
        place = record.begin(bench, whose.shaft, whose.label, whose.operator, now_ms(), **plan, readings=number)
    graduation = bench["indicator"]["graduation"]
    known = session.typed if session else ()
    for one in Guide(places(how.positions, how.repeats), graduation, how.ask, how.say, known).readings():
        record.keep(place, one)
    return place


def _last_session(file: Path, whose: HandShaft) -> HandSession | None:
    """The newest session of the shaft in the record; what is damaged there is told, and the rest is read."""
    last = None
    try:
        for session in sessions(file) if file.exists() else ():
            if (session.shaft, session.label) == (whose.shaft, whose.label):
                last = session
    except ArchiveError as error:
        print(f"note: {error}", file=sys.stderr)
    return last


def keep_result(
    session: HandSession,
    bands: Bands | None,
    store_file: Path,
    now_ms: int,
    *,
    named: bool,
    origin: Origin = Origin.IMPORTED,
) -> tuple[HandResult, Decision, bool]:
    """Evaluate a session, judge it when there are bands, and store both unless they stand there to the last bit.

    Result, verdict, and whether they were new. `named` keeps what the bench's id stands for, so that a change of it can
    be explained; readings of old may lack that, as an id was once used for several benches.
    """
    result = evaluate_hand(session)
    decision = judge(result, bands) if bands else NO_BANDS
    where = RunReference(session.file, session.byte_offset, session.shaft, session.label, session.started_ms)
    with Store.open(store_file) as store:
        if named:
            store.keep_calibration(result.calibration, session.bench)
        known = store.run_of(where)
        batch, where = known or (store.begin_batch(f"hand bench {result.calibration}", session.started_ms), where)
        decision, is_new = store.add_again(
            batch, where, result.as_dict(), decision, now_ms, basis=basis_of_bands(bands), origin=origin
        )
    return result, decision, is_new


def recompute(
    record: Path, bench_file: Path | None, bands_file: Path | None, store_file: Path, now_ms: Callable[[], int]
) -> None:
    """Evaluate every session of a record again, with another bench file if there is one.

    New results are stored beside the old ones. Raises ArchiveError at the end when a line of the record is no reading.
    """
    bands = load_bands(bands_file) if bands_file else None
    bench = load_bench(bench_file).model_dump(mode="json") if bench_file else None
    fresh = unchanged = 0
    for session in sessions(record):
        name = printable(f"{session.shaft} {session.label}").strip()
        try:
            again = replace(session, bench=bench) if bench else session
            result, decision, is_new = keep_result(again, bands, store_file, now_ms(), named=bench is not None)
        except (ReadingsError, ConfigurationError, ConversionError) as error:
            # A session keeps the bench file as it was then, and old lines whatever befell them.
            print(f"shaft {name}: no result: {error}", file=sys.stderr)
            continue
        value = with_uncertainty(result.spine_thou, result.budget.expanded())
        verdict = "" if decision == NO_BANDS else f"  {verdict_words(decision)}"
        print(f"{name:24} {value} thou{verdict}")
        for doubt in result.doubts:
            print(f"{'':24} doubt: {doubt}")
        fresh, unchanged = fresh + is_new, unchanged + (not is_new)
    print(f"{fresh} results stored beside the old ones, {unchanged} stood there already", file=sys.stderr)


def from_csv(file: Path) -> list[Typed]:
    """Readings of a CSV file; ReadingsError names what is wrong in it."""
    typed = list(typed_from(read_typed(file)))
    check_typed_twice(typed, str(file))
    return typed


def show_hand(result: HandResult, decision: Decision, picture: Path | None, *, as_json: bool, k: float | None) -> None:
    """Print a result with its budget, and draw it when asked; without k, U covers 95 %.

    Raises OutputError when so few positions make no picture.
    """
    judged = None if decision == NO_BANDS else decision
    cover = Coverage(factor=k)
    if as_json:
        print(hand_json(result, judged))
    else:
        console().print(hand_story(result, judged, cover), "", budget_table(result))
    if picture is not None:
        from midspan.report.plot_shaft import check_ending, draw_around

        check_ending(picture)
        if not result.sees_all:
            raise OutputError(
                f"{picture}: {result.positions} clock positions do not show a curve; read five or more, best eight"
            )
        draw_around(result, picture, cover)
        print(f"picture: {picture}", file=sys.stderr)


def show_expected(bench_file: Path, spines: list[float], repeat_thou: float, readings: int) -> None:
    """Print what the error budget of a bench will be."""
    bench: HandBench = load_bench(bench_file)
    console().print(expected_table(bench, spines, repeat_thou, readings))


def assign(label: str, store_file: Path, out: Path) -> None:
    """Print the value of a check standard from all its hand bench results, and write its file.

    Raises OutputError when that file is there already or cannot be written, and what `assigned_from` raises.
    """
    with open_to_read(store_file) as store:
        stored = [one.result for one in store.history(label) if one.result and is_hand_result(one.result)]
    bar = assigned_from([HandResult.from_dict(values) for values in stored], label)
    if out.exists():
        raise OutputError(f"{out}: is there already; a check standard's value is never written over, name a new file")
    with writing(out):
        out.write_text(bar_text(bar), encoding="utf-8")
    console().print(bar.sentence)
    print(f"bar: {out}", file=sys.stderr)
