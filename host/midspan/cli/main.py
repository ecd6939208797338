"""The command line: each command says what it does, with an example, and fails with one clear line.

Heavy modules are imported inside the commands, so that `midspan --help` is quick.
"""

import sys
from typing import NoReturn

import typer

from midspan.base.errors import INTERRUPTED, MidspanError
from midspan.cli.backup import backup, restore
from midspan.cli.board import board
from midspan.cli.calibrate import calibrate
from midspan.cli.compare import compare
from midspan.cli.cycle import cycle
from midspan.cli.demo import demo
from midspan.cli.diagnose import diagnose
from midspan.cli.export import export
from midspan.cli.hand import hand
from midspan.cli.init import init
from midspan.cli.measure import measure
from midspan.cli.options import Commands
from midspan.cli.page import page
from midspan.cli.park import park
from midspan.cli.plot import plot
from midspan.cli.ports import ports
from midspan.cli.recompute import recompute
from midspan.cli.report import report
from midspan.cli.risk import risk
from midspan.cli.root import root
from midspan.cli.screen import give_up, guarded
from midspan.cli.sets import sets
from midspan.cli.shafts import shafts
from midspan.cli.show import show
from midspan.cli.sort import sort
from midspan.cli.status import status
from midspan.cli.study import study

BEGIN, MEASURE, GAUGE = "Begin here", "Measure shafts", "Set up and check the gauge"
STOCK, KEEP = "Look at shafts, match and hand them out", "Keep, move and compute again"

app = typer.Typer(
    cls=Commands,
    help="Measure arrow shafts: how stiff, how even around, and how sure the numbers are.\n\n"
    "New here? `midspan init` sets up a folder to work in; `midspan status` then says, at any time, what is missing "
    "and the one command to do next. `midspan demo` shows everything on a simulated gauge.",
    epilog="Each command has its own help with an example: midspan COMMAND --help",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.callback()(root)

app.command(rich_help_panel=BEGIN, epilog="Example: midspan init --folder shop")(init)
app.command(rich_help_panel=BEGIN, epilog="Example: midspan status --json")(status)
app.command(rich_help_panel=BEGIN, epilog="Example: midspan demo --folder demo-output")(demo)
app.command(rich_help_panel=GAUGE, epilog="Example: midspan risk --process-mean 500 --process-sd 3 --u 0.23")(risk)
app.command(rich_help_panel=GAUGE, epilog="Example: midspan cycle --cycle deep")(cycle)
app.command(rich_help_panel=GAUGE, epilog="Example: midspan ports")(ports)
app.command(rich_help_panel=MEASURE, epilog="Example: midspan measure")(measure)
app.command(rich_help_panel=MEASURE, epilog="Example: midspan park 17")(park)
app.command(rich_help_panel=MEASURE, epilog="Example: midspan sort night.toml")(sort)
app.command(rich_help_panel=MEASURE, epilog="Example: midspan page --network")(page)
app.command(rich_help_panel=STOCK, epilog="Example: midspan show 12 --picture shaft-12.png")(show)
app.command(
    rich_help_panel=STOCK, epilog="Example: midspan compare 'set:spring 1 and year:2025' 'set:spring 1 and year:2026'"
)(compare)
app.command(rich_help_panel=STOCK, epilog="Example: midspan report 12 --out night-12.html")(report)
app.command(rich_help_panel=KEEP, epilog="Example: midspan recompute --calibration better.toml")(recompute)
app.command(rich_help_panel=KEEP, epilog="Example: midspan export results --out results.parquet")(export)
app.command(rich_help_panel=KEEP, epilog="Example: midspan backup")(backup)
app.command(rich_help_panel=KEEP, epilog="Example: midspan restore --into NEWFOLDER")(restore)
app.command(rich_help_panel=KEEP, epilog="Example: midspan diagnose --out help.zip")(diagnose)
app.add_typer(board, name="board", rich_help_panel=GAUGE)
app.add_typer(calibrate, name="calibrate", rich_help_panel=GAUGE)
app.add_typer(study, name="study", rich_help_panel=GAUGE)
app.add_typer(hand, name="hand", rich_help_panel=MEASURE)
app.add_typer(plot, name="plot", rich_help_panel=STOCK)
app.add_typer(sets, name="sets", rich_help_panel=STOCK)
app.add_typer(shafts, name="shafts", rich_help_panel=STOCK)


def main() -> None:
    """Run the command line; an error is one line on standard error and an exit code other than 0."""
    with guarded():
        _run()


def _run() -> None:
    """Run the command and translate errors into lines and exit codes."""
    try:
        try:
            app(prog_name="midspan")
        finally:
            sys.stdout.flush()  # a full disk is reported only here; at exit Python could not
    except MidspanError as error:
        _stop(str(error))
    except BrokenPipeError:
        give_up(sys.stdout)  # the reader has closed the pipe (`midspan recompute ... | head`), which is no error
        raise SystemExit(1) from None
    except OSError as error:
        give_up(sys.stdout)
        _stop(f"{error.filename or 'the output'}: {error.strerror}; make room, or name another place")
    except SystemExit as end:
        if end.code == INTERRUPTED:
            _say("stopped by you; everything measured so far is kept")
        raise


def _stop(message: str) -> NoReturn:
    """Print why the command failed, and exit with 1."""
    _say(message)
    raise SystemExit(1) from None


def _say(message: str) -> None:
    """Print a line on standard error."""
    print(f"midspan: {message}", file=sys.stderr)
