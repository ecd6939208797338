"""The command line: each command says what it does, with an example, and fails with one clear line.

Heavy modules are imported inside the commands, so that `midspan --help` comes at once.
"""

import sys
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from midspan.base.errors import INTERRUPTED, MidspanError
from midspan.cli.backup import backup, restore
from midspan.cli.board import board
from midspan.cli.calibrate import calibrate
from midspan.cli.compare import compare
from midspan.cli.diagnose import diagnose
from midspan.cli.export import export
from midspan.cli.hand import hand
from midspan.cli.options import (
    STORE,
    AsJson,
    BandsFile,
    CalibrationFile,
    ClearFault,
    Commands,
    EvenSo,
    Factor,
    Label,
    StoreFile,
)
from midspan.cli.page import page
from midspan.cli.park import park
from midspan.cli.plot import plot
from midspan.cli.recompute import recompute
from midspan.cli.report import report
from midspan.cli.risk import risk
from midspan.cli.root import root
from midspan.cli.screen import give_up, guarded
from midspan.cli.sets import sets
from midspan.cli.sort import sort
from midspan.cli.study import study

app = typer.Typer(
    cls=Commands,
    help="Measure arrow shafts: how stiff, how even around, and how sure the numbers are.",
    epilog="First time here? Run: midspan demo",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.callback()(root)


@app.command(epilog="Example: midspan demo --folder demo-output")
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
    from midspan.cli import demo as demonstration

    demonstration.run(folder, shafts, seed, calibration)


@app.command(
    epilog="Example: midspan measure --port PORT --shaft 12 --label blue-12 --calibration gauge.toml --bands bands.toml"
)
def measure(
    port: Annotated[str, typer.Option(help="Serial port of the gauge (see: midspan ports), or: rehearsal.")],
    shaft: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Number of the shaft in the gauge.")],
    calibration: CalibrationFile,
    bands: BandsFile,
    label: Label = "",
    archive: Annotated[Path, typer.Option(help="Archive that the raw readings are added to.")] = Path("readings.avro"),
    store: StoreFile = STORE,
    clear_fault: ClearFault = False,
    even_so: EvenSo = False,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Measure, judge and keep the shaft in the gauge."""
    from midspan.cli import commands

    commands.measure(
        port, shaft, label, calibration, bands, archive, store,
        clear_fault=clear_fault, even_so=even_so, as_json=as_json, k=k,
    )  # fmt: skip


@app.command(epilog="Example: midspan show 12 --store results.db --picture shaft-12.png")
def show(
    shaft: Annotated[str, typer.Argument(help="Number or label of the shaft; its newest result is shown.")],
    store: StoreFile = STORE,
    picture: Annotated[Path | None, typer.Option(help="Also draw its stiffness around, or its budget.")] = None,
    budget: Annotated[
        bool, typer.Option("--budget", help="Show where the uncertainty of its spine comes from.")
    ] = False,
    trials: Annotated[int, typer.Option(min=1000, max=10**7, help="Monte Carlo trials that check it.")] = 100_000,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Show a stored result with its uncertainty."""
    from midspan.cli import commands

    commands.show(shaft, store, picture, trials if budget else None, as_json=as_json, k=k)


app.command(epilog="Example: midspan recompute readings.avro --calibration gauge.toml --json")(recompute)
app.command(epilog="Example: midspan compare --store results.db")(compare)
app.command(epilog="Example: midspan park 17 --port PORT --calibration gauge.toml --bands bands.toml")(park)
app.command(epilog="Example: midspan sort night.toml")(sort)
app.command(epilog="Example: midspan page --store results.db")(page)
app.command(epilog="Example: midspan report 12 --store results.db --out night-12.html")(report)
app.command(epilog="Example: midspan export results --out results.parquet")(export)
app.command(epilog="Example: midspan risk --bands bands.toml --process-mean 500 --process-sd 3 --u 0.23")(risk)
app.command(epilog="Example: midspan backup BACKUP --store results.db")(backup)
app.command(epilog="Example: midspan restore BACKUP --into NEWFOLDER")(restore)
app.command(epilog="Example: midspan diagnose --port PORT --out help.zip")(diagnose)
app.add_typer(board, name="board")
app.add_typer(calibrate, name="calibrate")
app.add_typer(hand, name="hand")
app.add_typer(plot, name="plot")
app.add_typer(sets, name="sets")
app.add_typer(study, name="study")


@app.command(epilog="Example: midspan ports")
def ports(as_json: AsJson = False) -> None:
    """List the ports a gauge may be on."""
    from midspan.cli import commands

    commands.ports(as_json=as_json)


def main() -> None:
    """Entry point: an error is one line on standard error and an exit code that is not 0."""
    with guarded():
        _run()


def _run() -> None:
    try:
        try:
            app(prog_name="midspan")
        finally:
            sys.stdout.flush()  # while a full disk can still be told
    except MidspanError as error:
        _stop(str(error))
    except BrokenPipeError:
        give_up(sys.stdout)  # who read it has seen enough (`midspan recompute ... | head`), which is no error
        raise SystemExit(1) from None
    except OSError as error:
        give_up(sys.stdout)
        _stop(f"{error.filename or 'the output'}: {error.strerror}; make room, or name another place")
    except SystemExit as end:
        if end.code == INTERRUPTED:
            _say("stopped by you; everything measured so far is kept")
        raise


def _stop(message: str) -> NoReturn:
    _say(message)
    raise SystemExit(1) from None


def _say(message: str) -> None:
    print(f"midspan: {message}", file=sys.stderr)
