"""`midspan board`: install the device code, configure the board, and check it."""

import json
from collections.abc import Iterable
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import DeviceFault, MidspanError
from midspan.cli.options import ClearFault, Commands
from midspan.cli.screen import Prompter, aside

if TYPE_CHECKING:
    from midspan.board.check import Gear
    from midspan.board.install import Installed
    from midspan.board.operator import Person
    from midspan.board.signal_tests import SignalCheck
    from midspan.link.gauge import Gauge

EMPTY_GAUGE = {"seed": 7, "shafts": []}
NEXT = "take the service jumper off and press the board's reset button: the gauge starts"

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
    from midspan.board.files import CONFIGURATION
    from midspan.board.install import install
    from midspan.board.shell import BoardShell

    done = install(BoardShell(port), aside)
    if as_json:
        print(json.dumps(_as_dict(done)))
        return
    print(f"installed: Midspan {done.version}, protocol {done.protocol}, {done.files} files, {done.code_bytes} bytes")
    print("every file on the board has the hash it should have, and the code loads")
    kept = (
        f"{CONFIGURATION} is new, with the default pins" if done.configuration_is_new else f"{CONFIGURATION} was kept"
    )
    print(f"{kept}; look at it: midspan board config --port {port}")
    if done.configuration_problem is not None:
        print(f"the gauge will not move with it: {done.configuration_problem}")
    print(f"next: midspan board check --port {port}; then {NEXT}")


def _as_dict(done: "Installed") -> dict[str, object]:
    """Return what was installed as plain values."""
    return {
        "board": str(done.chip), "march": done.chip.march, "midspan": done.version, "protocol": done.protocol,
        "files": done.files, "copied": done.copied, "code_bytes": done.code_bytes,
        "configuration_is_new": done.configuration_is_new, "configuration_problem": done.configuration_problem,
    }  # fmt: skip


@board.command("config", epilog="Example: midspan board config --port /dev/ttyACM0 --set press.forward=0")
def config(
    port: Annotated[
        str | None, typer.Option("--port", help="Serial port of the board, or usb: with its serial number.")
    ] = None,
    write: Annotated[Path | None, typer.Option("--write", help="Give the board this file (JSON).")] = None,
    changes: Annotated[
        list[str] | None, typer.Option("--set", metavar="KEY=VALUE", help="Change one value; may be given repeatedly.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Also keep what the board has in this file.")] = None,
    check: Annotated[Path | None, typer.Option("--check", help="Only check this file (JSON), without a board.")] = None,
) -> None:
    """Read the board's configuration (pins, cell, gear, limits), or write it once every setting in it is checked."""
    from midspan.board.config import as_text, changed, configuration_file, read_configuration, write_configuration
    from midspan.board.shell import BoardShell

    if check is not None:
        _check_file(check)
        return
    if port is None:
        raise typer.BadParameter("give the port of the board, or --check FILE", param_hint="--port")
    shell = BoardShell(port)
    if write is not None:
        configuration = write_configuration(shell, configuration_file(write), str(write))
    else:
        configuration = read_configuration(shell)
    if changes:
        text = as_text(changed(configuration, changes)) + "\n"
        configuration = write_configuration(shell, text.encode(), ", ".join(changes))
    found = as_text(configuration)
    if out is not None:
        out.write_text(found + "\n", encoding="utf-8")
    print(found)
    if write is not None or changes:
        aside("checked, written and read back; the board started anew at its prompt with it")


def _check_file(path: Path) -> None:
    """Check a configuration file and print what follows from it."""
    from midspan.board.board_file import BoardFile, checked, down_mm_s
    from midspan.board.config import configuration_file

    file = BoardFile.model_validate(checked(configuration_file(path), str(path)))
    print(f"{path}: every setting holds; the head goes down at up to {down_mm_s(file)} mm/s")


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
    from midspan.board.operator import Person
    from midspan.board.shell import at_prompt
    from midspan.link.gauge import open_gauge
    from midspan.link.open_line import open_line
    from midspan.rehearsal.process import REHEARSAL_PORT

    person = Person(Prompter(), by_itself=yes)
    with ExitStack() as stack:
        if port == REHEARSAL_PORT:
            port = _rehearsal_port(stack)
        else:
            with open_line(port) as link:
                prompt = at_prompt(link)
            if prompt:
                _check_wires(port, person, as_json=as_json)
                return
        gauge = stack.enter_context(open_gauge(port))
        _check_gauge(gauge, person, Gear(steps_per_mm, roller_steps), clear_fault=clear_fault, as_json=as_json)


def _rehearsal_port(stack: ExitStack) -> str:
    """Yield the port of a simulated gauge without a shaft."""
    from tempfile import TemporaryDirectory

    from midspan.rehearsal.process import Rehearsal

    return stack.enter_context(Rehearsal(EMPTY_GAUGE, Path(stack.enter_context(TemporaryDirectory())))).port


def _check_wires(port: str, person: "Person", *, as_json: bool) -> None:
    """Check the wires at the prompt of the board, with the service jumper on."""
    from midspan.board.check_prompt import Wires
    from midspan.board.config import read_configuration
    from midspan.board.install import chip_of
    from midspan.board.shell import BoardShell

    shell = BoardShell(port)
    aside(f"at its prompt: {chip_of(shell)}")
    _judge(Wires(shell, person, read_configuration(shell)).checks(), as_json=as_json)
    aside(NEXT)


def _check_gauge(gauge: "Gauge", person: "Person", gear: "Gear", *, clear_fault: bool, as_json: bool) -> None:
    """Check the running gauge."""
    from midspan.board.check import LookOver
    from midspan.wire.schema import version_text

    found = gauge.identify()
    version = version_text(found.protocol_major, found.protocol_minor, found.fingerprint)
    aside(f"gauge {found.gauge}: Midspan {found.firmware} on {found.runtime}, protocol {version}")
    if clear_fault:
        gauge.clear_fault()
    try:
        _judge(LookOver(gauge, person, gear).checks(), as_json=as_json)
    finally:
        with suppress(MidspanError):  # the line may be what failed
            gauge.stop()


def _judge(checks: "Iterable[SignalCheck]", *, as_json: bool) -> None:
    """Print each check as it is made; a DeviceFault at the end says that something needs attention."""
    from midspan.board.signal_tests import SignalOutcome

    done = []
    for made in checks:
        done.append(made)
        if not as_json:
            print(f"{made.outcome.value:9} {made.name:22} {made.words}", flush=True)
    if as_json:
        print(json.dumps([{"check": made.name, "outcome": made.outcome.value, "words": made.words} for made in done]))
    bad = [made.name for made in done if made.outcome is SignalOutcome.LOOK]
    if bad:
        raise DeviceFault(f"{len(bad)} of {len(done)} checks need a look: {', '.join(bad)}")
