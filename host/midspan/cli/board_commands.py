"""What the board commands do, once their options are known."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

from midspan.base.errors import DeviceFault, MidspanError
from midspan.board.check import Gear, LookOver
from midspan.board.check_prompt import Wires
from midspan.board.config import (
    as_text,
    changed,
    configuration_file,
    read_configuration,
    write_configuration,
)
from midspan.board.files import CONFIGURATION
from midspan.board.install import Installed, chip_of
from midspan.board.install import install as put_on
from midspan.board.operator import Person
from midspan.board.shell import BoardShell, at_prompt
from midspan.board.signal_tests import SignalCheck, SignalOutcome
from midspan.link.gauge import Gauge
from midspan.link.serial_port import SerialLink
from midspan.rehearsal.process import REHEARSAL_PORT, Rehearsal
from midspan.wire.schema import version_text

EMPTY_GAUGE = {"seed": 7, "shafts": []}
NEXT = "take the service jumper off and press the board's reset button: the gauge starts"
Ask = Callable[[str], str]


def install(port: str, *, as_json: bool) -> None:
    """Put the device code on the board and say what is there now."""
    done = put_on(BoardShell(port), _say)
    if as_json:
        print(json.dumps(_as_dict(done)))
        return
    print(f"installed: Midspan {done.version}, protocol {done.protocol}, {done.files} files, {done.code_bytes} bytes")
    print("every file on the board has the hash it should have, and the code loads")
    kept = (
        f"{CONFIGURATION} is new, with the default pins" if done.configuration_is_new else f"{CONFIGURATION} was kept"
    )
    print(f"{kept}; look at it: midspan board config --port {port}")
    print(f"next: midspan board check --port {port}; then {NEXT}")


def _as_dict(done: Installed) -> dict[str, object]:
    return {
        "board": str(done.chip), "march": done.chip.march, "midspan": done.version, "protocol": done.protocol,
        "files": done.files, "copied": done.copied, "code_bytes": done.code_bytes,
        "configuration_is_new": done.configuration_is_new,
    }  # fmt: skip


def configure(port: str, write: Path | None, changes: Sequence[str], out: Path | None) -> None:
    """Print the board's configuration, after changing it when asked."""
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
        _say("checked by the board, written and read back; the board started anew at its prompt with it")


def check(port: str, ask: Ask, gear: Gear, *, by_itself: bool, clear_fault: bool, as_json: bool) -> None:
    """Look the board over: its wires when it is at its prompt, the gauge when that runs.

    Raises DeviceFault at the end when something needs a look.
    """
    person = Person(ask, _say, by_itself=by_itself)
    with ExitStack() as stack:
        if port == REHEARSAL_PORT:
            folder = Path(stack.enter_context(TemporaryDirectory()))
            port = stack.enter_context(Rehearsal(EMPTY_GAUGE, folder)).port
        else:
            with SerialLink(port) as link:
                prompt = at_prompt(link)
            if prompt:
                _check_wires(port, person, as_json=as_json)
                return
        gauge = Gauge(stack.enter_context(SerialLink(port)))
        found = gauge.identify()
        version = version_text(found.protocol_major, found.protocol_minor, found.fingerprint)
        _say(f"gauge {found.gauge}: Midspan {found.firmware} on {found.runtime}, protocol {version}")
        if clear_fault:
            gauge.clear_fault()
        try:
            _judge(LookOver(gauge, person, gear).checks(), as_json=as_json)
        finally:
            with suppress(MidspanError):  # the line may be what failed
                gauge.stop()


def _check_wires(port: str, person: Person, *, as_json: bool) -> None:
    shell = BoardShell(port)
    _say(f"at its prompt: {chip_of(shell)}")
    _judge(Wires(shell, person, read_configuration(shell)).checks(), as_json=as_json)
    _say(NEXT)


def _judge(checks: Iterable[SignalCheck], *, as_json: bool) -> None:
    done = []
    for one in checks:
        done.append(one)
        if not as_json:
            print(f"{one.outcome.value:9} {one.name:22} {one.words}", flush=True)
    if as_json:
        print(json.dumps([{"check": one.name, "outcome": one.outcome.value, "words": one.words} for one in done]))
    bad = [one.name for one in done if one.outcome is SignalOutcome.LOOK]
    if bad:
        raise DeviceFault(f"{len(bad)} of {len(done)} checks need a look: {', '.join(bad)}")


def _say(text: str) -> None:
    print(text, file=sys.stderr)
