"""Command line: putting the device code on a board, its configuration, and looking the board over."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import ClearFault, Commands

board = typer.Typer(
    cls=Commands,
    help="Put the device code on a board, set its pins and limits, and look it over.",
    epilog="Example: midspan board install --port PORT",
    no_args_is_help=True,
)

Port = Annotated[str, typer.Option("--port", help="Serial port of the board, or usb: with its serial number.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the outcome as JSON.")]


@board.command("install", epilog="Example: midspan board install --port /dev/ttyACM0")
def install(port: Port, as_json: AsJson = False) -> None:
    """Compile the device code for the board's chip, copy what differs, and compare it by hash.

    The board must be at its prompt: new, or with the service jumper on. Its configuration is kept.
    """
    from midspan.cli import board_commands

    board_commands.install(port, as_json=as_json)


@board.command("config", epilog="Example: midspan board config --port /dev/ttyACM0 --set press.forward=0")
def config(
    port: Port,
    write: Annotated[Path | None, typer.Option("--write", help="Give the board this file (JSON).")] = None,
    changes: Annotated[
        list[str] | None, typer.Option("--set", metavar="KEY=VALUE", help="Change one value; may be given repeatedly.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Also keep what the board has in this file.")] = None,
) -> None:
    """Read the board's configuration (pins, cell, gear, limits), or write it once the board's own code accepts it."""
    from midspan.cli import board_commands

    board_commands.configure(port, write, changes or [], out)


@board.command("check", epilog="Example: midspan board check --port /dev/ttyACM0")
def check(
    port: Annotated[
        str, typer.Option("--port", help="Serial port of the board, or usb: with its serial number, or: rehearsal.")
    ],
    steps_per_mm: Annotated[float, typer.Option(min=1, max=100000, help="Press microsteps to a millimetre.")] = 400.0,
    roller_steps: Annotated[int, typer.Option(min=1, max=1000000, help="Rotate microsteps to a roller's turn.")] = 3200,
    yes: Annotated[
        bool, typer.Option("--yes", help="Nobody is at the gauge: do not wait, leave out what eyes must see.")
    ] = False,
    clear_fault: ClearFault = False,
    as_json: AsJson = False,
) -> None:
    """Look a board over, step by step: its wires at the prompt (service jumper on), the gauge when it runs.

    At the prompt: configuration, switches, sensors, the cell's words and sign, a first move of a millimetre. With the
    gauge running: sample rate, noise with motors off, held and moving, trailing bits, axes, switches and guards.
    """
    from midspan.board.check import Gear
    from midspan.cli import board_commands

    def ask(text: str) -> str:
        return str(typer.prompt(text, default="", show_default=False, err=True))

    board_commands.check(
        port, ask, Gear(steps_per_mm, roller_steps), by_itself=yes, clear_fault=clear_fault, as_json=as_json
    )
