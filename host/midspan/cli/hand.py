"""`midspan hand`: the hand bench, with a dead weight and a dial indicator on a measured span."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.clock import now_ms
from midspan.base.errors import ConfigurationError, ConversionError, OutputError, ReadingsError
from midspan.base.files import writing
from midspan.base.formatting import printable
from midspan.cli.options import (
    STORE,
    AsJson,
    Commands,
    Factor,
    Label,
    Picture,
    Shown,
    StoreAt,
    named_after,
    workspace_of,
)  # fmt: skip
from midspan.cli.screen import Prompter, aside

if TYPE_CHECKING:
    from midspan.cli.show import ShownVerdict
    from midspan.hand_bench.bench import HandBench
    from midspan.hand_bench.record import Typed
    from midspan.hand_bench.result import HandResult
    from midspan.store.place import StorePlace

hand = typer.Typer(
    cls=Commands,
    help="Measure without a gauge: a dead weight and a dial indicator on a measured span.",
    epilog="Example: midspan hand measure",
    no_args_is_help=True,
)

BenchFile = Annotated[Path, typer.Option("--bench", help="What the bench is (TOML); made by asking if it is missing.")]
RecordFile = Annotated[Path, typer.Option("--record", help="File that the typed readings are added to, for ever.")]
BandsFile = Annotated[Path | None, typer.Option("--bands", help="Judge against these tolerance bands (TOML).")]
BENCH, RECORD = Path("hand-bench.toml"), Path("hand-readings.jsonl")


@hand.command("measure", epilog="Example: midspan hand measure")
def measure(
    context: typer.Context,
    shaft: Annotated[
        int | None, typer.Option(min=0, max=2**31 - 1, help="Measure one shaft under this number, and end.")
    ] = None,
    label: Label = "",
    csv: Annotated[
        Path | None,
        typer.Option(
            help="Readings (angle_deg or clock, unloaded, loaded; if read: repeat, unloaded_again, confirmed)."
        ),
    ] = None,
    positions: Annotated[int, typer.Option(min=1, max=72, help="Clock positions to ask for.")] = 8,
    repeats: Annotated[int, typer.Option(min=1, max=50, help="Readings of each position to ask for.")] = 2,
    operator: Annotated[str, typer.Option(help="Who reads the dial.")] = "",
    diameter: Annotated[
        float | None, typer.Option(min=1, max=30, help="Diameter of the shaft where it lies on the edges, mm.")
    ] = None,
    temperature: Annotated[
        float | None, typer.Option(min=-20, max=60, help="Temperature of bench and shaft, degrees Celsius.")
    ] = None,
    bench: BenchFile = BENCH,
    bands: BandsFile = None,
    store: StoreAt = STORE,
    record: RecordFile = RECORD,
    picture: Picture = None,
    as_json: AsJson = False,
    k: Factor = None,
    anew: Annotated[
        bool, typer.Option("--anew", help="Read the shaft from the beginning, though its readings were not finished.")
    ] = False,
    scale: Annotated[Path | None, typer.Option(help="Scale's file (TOML), for weights in a session.")] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No bell in a session.")] = False,
) -> None:
    """Measure shaft after shaft with weight and dial: lay one in, press Enter, type what the dial shows.

    At hand: the bench with its weight, a dial indicator, shafts with a mark at one end, safety glasses. Each shaft gets
    the next number by itself; at the prompt, ? lists what else you can type. Every number is kept as it is typed: after
    a power cut, start it again and the shaft goes on. With --shaft it measures that one shaft; with --csv its readings
    come from a table.
    """
    from midspan.attended.hand_shaft import HandStation, Rounds, keep_result
    from midspan.cli.hand_session import HandSessionOptions, run_hand_session
    from midspan.cli.show import ShownVerdict
    from midspan.decision.bands import load_bands
    from midspan.hand_bench.bench import load_bench
    from midspan.hand_bench.guide import CAUTION
    from midspan.hand_bench.prompts import make_bench
    from midspan.hand_bench.record import HandRecord, HandShaft, ShaftAndRoom
    from midspan.store.evaluation import Origin

    talk = Prompter()
    make_bench(bench, talk)
    if shaft is None:
        if label or csv or as_json or picture or k is not None or anew:
            raise typer.BadParameter("--label, --csv, --json, --picture, --k and --anew go with --shaft", context)
        if bands is None:
            raise typer.BadParameter("a session judges each shaft: give --bands FILE (or run: midspan init)", context)
        options = HandSessionOptions(bands, record, store, scale, operator, ShaftAndRoom(diameter, temperature), quiet)
        run_hand_session(load_bench(bench), Rounds(positions, repeats), options, workspace_of(context))
        return
    typed = _from_csv(csv) if csv else None
    used, limits = load_bench(bench), load_bands(bands) if bands else None
    station = HandStation(used.content(), HandRecord(record), talk, now_ms)
    _check_bench(used, store)
    whose = HandShaft(shaft, label, operator, ShaftAndRoom(diameter, temperature))
    if typed is None:
        talk.say(CAUTION)
        place = station.read(whose, Rounds(positions, repeats, anew))
    else:
        place = station.keep(whose, typed)
    made = station.finished(
        place, lambda session: keep_result(session, limits, store, named=True, origin=Origin.MEASURED, at_ms=now_ms())
    )
    show_hand(made.result, ShownVerdict(made.decision, limits), Shown(as_json, k, picture))


def _check_bench(bench: "HandBench", place: "StorePlace") -> None:
    """Refuse a bench that was changed under an id that results name, before anything is read."""
    from midspan.store.kept_calibration import KeptCalibration

    if place.exists():
        with place.open() as store:
            store.keep_calibration(KeptCalibration.of_bench(bench))


def _from_csv(file: Path) -> "list[Typed]":
    """Return the readings of a CSV file; a ReadingsError says what is wrong in it."""
    from midspan.base.csv_table import read_typed
    from midspan.hand_bench.readings import check_typed_twice, typed_from

    typed = list(typed_from(read_typed(file)))
    check_typed_twice(typed, str(file))
    return typed


@hand.command("recompute", epilog="Example: midspan hand recompute --bench better.toml")
def recompute(
    file: Annotated[Path, typer.Argument(help="File of typed readings.")] = RECORD,
    bench: Annotated[
        Path | None, typer.Option("--bench", help="Work under this bench file; without, under that of each reading.")
    ] = None,
    bands: BandsFile = None,
    store: StoreAt = STORE,
) -> None:
    """Make every result again from the typed readings; new ones stand beside the old."""
    from midspan.attended.hand_shaft import keep_result
    from midspan.decision.bands import load_bands
    from midspan.decision.decision import NO_BANDS
    from midspan.hand_bench.bench import load_bench
    from midspan.hand_bench.sessions import sessions
    from midspan.measurement.shown_quantities import spine_text
    from midspan.report.result_text import verdict_words
    from midspan.store.evaluation import Origin

    limits = load_bands(bands) if bands else None
    values = load_bench(bench).content() if bench else None
    fresh = unchanged = 0
    for session in sessions(file):
        name = printable(f"{session.shaft} {session.label}").strip()
        again = replace(session, bench=values) if values else session
        try:
            made = keep_result(again, limits, store, named=values is not None, origin=Origin.IMPORTED, at_ms=now_ms())
        except (ReadingsError, ConfigurationError, ConversionError) as error:
            # A session holds the bench file as it was at the time, so its result does not depend on the file of today.
            aside(f"shaft {name}: no result: {error}")
            continue
        result = made.result
        verdict = "" if made.decision == NO_BANDS else f"  {verdict_words(made.decision)}"
        print(f"{name:24} {spine_text(result)}{verdict}")
        for doubt in result.doubts:
            print(f"{'':24} doubt: {doubt}")
        fresh, unchanged = fresh + made.is_new, unchanged + (not made.is_new)
    aside(f"{fresh} results stored beside the old ones, {unchanged} unchanged")


@hand.command("budget", epilog="Example: midspan hand budget --spine 350 --spine 500")
def budget(
    bench: BenchFile = BENCH,
    spine: Annotated[list[float] | None, typer.Option(min=80, max=3000, help="Spine in thou; may be repeated.")] = None,
    scatter: Annotated[float, typer.Option(min=0, max=100, help="Scatter of single readings, in thou.")] = 0.3,
    readings: Annotated[int, typer.Option(min=4, max=1000, help="Readings of a shaft, all positions together.")] = 16,
) -> None:
    """Show how good the bench will be, before anything is measured."""
    from midspan.hand_bench.bench import load_bench
    from midspan.report.hand_text import expected_table
    from midspan.report.result_text import console

    console().print(expected_table(load_bench(bench), spine or [350.0, 500.0, 1000.0], scatter, readings))


@hand.command("assign", epilog="Example: midspan hand assign bar-1 --out bar-1.toml")
def assign(
    label: Annotated[str, typer.Argument(help="Label of the bar or shaft.")],
    out: Annotated[
        Path | None,
        typer.Option(help="File that the value is written to; never written over.", show_default="such as bar-1.toml"),
    ] = None,
    store: StoreAt = STORE,
) -> None:
    """Give a check standard its value from all its hand bench results."""
    from midspan.hand_bench.assigned_value import assigned_from, bar_text
    from midspan.hand_bench.result import HandResult
    from midspan.measurement.result_form import ResultKind
    from midspan.report.result_text import console
    from midspan.store.lookup import whole

    with store.open_to_read() as opened:
        stored = [known for known in opened.history(label) if known.result.kind is ResultKind.HAND_BENCH]
    results = [whole(known, store) for known in stored]
    bar = assigned_from([result for result in results if isinstance(result, HandResult)], label)
    out = out or named_after("bar", bar.label, ".toml")
    if out.exists():
        raise OutputError(f"{out}: exists already; the value of a check standard is never overwritten; name a new file")
    with writing(out):
        out.write_text(bar_text(bar), encoding="utf-8")
    console().print(bar.sentence)
    aside(f"bar: {out}")


def show_hand(result: "HandResult", verdict: "ShownVerdict", shown: Shown) -> None:
    """Print a result, and draw it if asked; each ± is the 95 % range unless k is given."""
    from midspan.decision.decision import NO_BANDS
    from midspan.report.hand_text import hand_json, hand_story
    from midspan.report.result_text import console

    judged = None if verdict.decision == NO_BANDS else verdict.decision
    if shown.as_json:
        print(hand_json(result, judged, verdict.bands, verdict.also))
    else:
        console().print(hand_story(result, judged, shown.k, details=shown.details))
    if shown.picture is not None:
        _draw(result, shown.picture, shown.k)


def _draw(result: "HandResult", picture: Path, k: float | None) -> None:
    """Draw the result if a picture is asked for."""
    from midspan.report.picture import check_ending
    from midspan.report.plot_shaft import draw_around

    check_ending(picture)
    if not result.sees_all:
        raise OutputError(
            f"{picture}: {result.positions} clock positions do not show a curve; read five or more, best eight"
        )
    draw_around(result, picture, k)
    aside(f"picture: {picture}")
