"""`midspan demo`: from a shaft to its bin on the simulated gauge, with an invented stock of shafts."""

import sys
import time
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import OutputError
from midspan.base.files import writing
from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from rich.console import Console

    from midspan.pipeline.bench import Verdict

ARCHIVE, STORE, CALIBRATION, BANDS = "readings.avro", "results.db", "calibration.toml", "bands.toml"


def demo(
    folder: Annotated[Path, typer.Option(help="Where archive, database, picture and settings go.")] = Path(
        "demo-output"
    ),
    shafts: Annotated[int, typer.Option(min=1, max=500, help="How many shafts to measure.")] = 36,
    seed: Annotated[int, typer.Option(help="Another seed, another batch.")] = 7,
    calibration: Annotated[
        Path | None, typer.Option(help="Your own calibration of the simulated gauge (see: midspan calibrate).")
    ] = None,
) -> None:
    """Try it all on a simulated gauge."""
    from midspan.measurement.calibration import load_calibration
    from midspan.rehearsal import scenario
    from midspan.rehearsal.process import Rehearsal
    from midspan.report import result_text

    if calibration is None:
        text = scenario.example_calibration(seed)
    else:
        load_calibration(calibration)  # refuses a bad calibration before anything is written
        text = calibration.read_text(encoding="utf-8")
    _prepare(folder, {CALIBRATION: text, BANDS: scenario.example_bands()})
    screen = result_text.console()
    stock = scenario.shafts(shafts, seed)
    begun = time.monotonic()
    with Rehearsal(scenario.rehearsal(stock, seed), folder) as gauge:
        screen.print(f"A simulated gauge runs the device code on {gauge.interpreter}, behind {gauge.port}.")
        screen.print(f"It has {shafts} shafts of an invented club to measure.\n")
        verdicts = _measured(folder, gauge.port, [(shaft["number"], shaft["label"]) for shaft in stock], screen)
    _print_outcome(verdicts, time.monotonic() - begun, screen)
    _print_files(folder, verdicts, screen)


def _prepare(folder: Path, settings: dict[str, str]) -> None:
    """Write the settings into their files; refuse to overwrite other settings or to mix invented and real shafts."""
    from midspan.rehearsal import scenario_night

    with writing(folder, "name another with --folder"):
        folder.mkdir(parents=True, exist_ok=True)
        found = [name for name in (*settings, ARCHIVE, STORE) if (folder / name).exists()]
        if found and not all(_holds(folder / name, text) for name, text in settings.items()):
            raise OutputError(
                f"{folder}: its files ({', '.join(found)}) are not from this demonstration and seed; "
                "name another folder with --folder"
            )
        for name, text in settings.items():
            (folder / name).write_bytes(text.encode())
        if not (folder / scenario_night.PLAN_FILE).exists():  # a changed plan stays as it is
            (folder / scenario_night.PLAN_FILE).write_text(scenario_night.PLAN, encoding="utf-8")


def _holds(path: Path, text: str) -> bool:
    """Return True if a file has exactly this text."""
    return path.is_file() and path.read_bytes() == text.encode()


def _measured(folder: Path, port: str, stock: list[tuple[int, str]], screen: "Console") -> list["Verdict"]:
    """Measure the stock and return the verdicts, with progress on standard error."""
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from midspan.archive.writer import ArchiveWriter
    from midspan.decision.bands import load_bands
    from midspan.link.gauge import open_gauge
    from midspan.measurement.calibration import load_calibration
    from midspan.pipeline.bench import Bench, measure_batch

    verdicts = []
    with ExitStack() as stack:
        archive = stack.enter_context(ArchiveWriter(folder / ARCHIVE))
        if archive.moved is not None:
            print(archive.moved, file=sys.stderr)
        store = stack.enter_context(StorePlace(folder / STORE).open())
        bench = Bench(
            stack.enter_context(open_gauge(port)),
            load_calibration(folder / CALIBRATION),
            load_bands(folder / BANDS),
            archive,
            store,
            batch=0,
        )
        bench.batch = store.begin_batch("demonstration", bench.now_ms())
        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
        progress = stack.enter_context(Progress(*columns, console=screen, transient=True))
        task = progress.add_task("measuring", total=len(stock))
        for verdict in measure_batch(bench, stock):
            verdicts.append(verdict)
            progress.update(task, advance=1, description=f"measured {verdict.run.name}")
            if not screen.is_terminal:
                print(f"measured {verdict.run.name} ({len(verdicts)} of {len(stock)})", file=sys.stderr)
    return verdicts


def _print_outcome(verdicts: list["Verdict"], passed_s: float, screen: "Console") -> None:
    """Print the table of results, the counts and the times."""
    from midspan.report import result_text

    rows = [(verdict.result, verdict.decision) for verdict in verdicts]
    screen.print(result_text.results_table(rows, None, wide=screen.width >= result_text.WIDE), "")
    screen.print(result_text.counts_table(verdict.decision for verdict in verdicts), "")
    gauge_s = sum(verdict.run.duration_ms for verdict in verdicts) / 1000
    sampling_s = sum(verdict.run.sampling_ms for verdict in verdicts) / 1000
    screen.print(
        f"A real gauge would have taken {gauge_s / 60:.0f} min, {gauge_s / len(verdicts):.0f} s a shaft, "
        f"{sampling_s / gauge_s:.0%} of it sampling; the rehearsal took {passed_s:.0f} s.\n"
    )


def _print_files(folder: Path, verdicts: list["Verdict"], screen: "Console") -> None:
    """Draw the most uneven shaft, and print where everything is."""
    from midspan.measurement.result import ShaftResult
    from midspan.rehearsal import scenario_night
    from midspan.report.plot_shaft import draw_around

    for what, name in (
        ("raw readings, for ever", ARCHIVE),
        ("results and verdicts", STORE),
        ("calibration", CALIBRATION),
        ("tolerance bands", BANDS),
        ("plan of a night's sorting", scenario_night.PLAN_FILE),
    ):
        screen.print(f"{what:26} {folder / name}")
    measured = [verdict.result for verdict in verdicts if isinstance(verdict.result, ShaftResult)]
    if measured:
        uneven = max(measured, key=lambda result: result.spread_thou)
        picture = folder / f"shaft-{uneven.shaft}.png"
        draw_around(uneven, picture)
        screen.print(f"{'picture':26} {picture} (the most uneven shaft)")
    screen.print(
        f"\nNext: midspan show 2 --store {folder / STORE}\n"
        f"      midspan recompute {folder / ARCHIVE} --calibration {folder / CALIBRATION} --json\n"
        f"      midspan sort {folder / scenario_night.PLAN_FILE}"
    )
