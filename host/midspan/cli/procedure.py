"""Command line: the options that every calibration procedure has, declared once, and the group they belong to."""

from collections.abc import Callable
from dataclasses import dataclass
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import Annotated, Any

import typer

from midspan.cli.options import Commands

calibrate = typer.Typer(
    cls=Commands,
    help="Calibrate a gauge: force, travel, frame, span, rotation, in this order; then file, and bar as a check.",
    epilog="Example: midspan calibrate force --port rehearsal --yes",
    no_args_is_help=True,
)

Records = Annotated[Path, typer.Option("--records", help="Folder of calibration records; they are never changed.")]
RECORDS = Path("calibration")


@dataclass(frozen=True)
class Asked:
    """What every procedure is asked: its fields are options of each command that `procedure` makes."""

    port: Annotated[str | None, typer.Option("--port", help="Serial port of the gauge, or: rehearsal.")] = None
    yes: Annotated[
        bool, typer.Option("--yes", help="Do not wait for Enter (for a rehearsal: it answers by itself).")
    ] = False
    records: Records = RECORDS
    gauge: Annotated[str, typer.Option("--gauge", help="Name of the gauge, when the readings come from a CSV.")] = (
        "bench"
    )
    who: Annotated[str, typer.Option("--who", help="Who calibrates.")] = ""
    temperature: Annotated[float, typer.Option("--temperature", min=-20, max=60, help="Room temperature in C.")] = 20.0
    valid_days: Annotated[
        int, typer.Option("--valid-days", min=1, max=3650, help="How long the record shall count.")
    ] = 365
    as_json: Annotated[bool, typer.Option("--json", help="Print the outcome as JSON.")] = False

    def session(self, csv: Path | None, *, by_hand: bool = False) -> Any:
        """Session and Screen: where readings come from and go to, and the person at the terminal.

        Raises ConfigurationError unless there is one source of readings; `by_hand` they may also be typed.
        """
        from datetime import UTC, datetime

        from midspan.base.errors import ConfigurationError
        from midspan.calibrate.guide import GuidedCalibration, GuideScreen
        from midspan.rehearsal.process import REHEARSAL_PORT
        from midspan.rehearsal.scenario import GAUGE_NAME

        if csv is None and self.port is None and not by_hand:
            raise ConfigurationError(
                "nothing to read: name the gauge with --port (or --port rehearsal), or readings with --csv"
            )
        if csv is not None and self.port is not None:
            raise ConfigurationError("readings come from --csv or from --port, not from both: leave one out")

        def ask(text: str) -> str:
            return str(typer.prompt(text, default="", show_default=False, err=True))

        name = GAUGE_NAME if self.port == REHEARSAL_PORT else self.gauge
        now = datetime.now(UTC)
        session = GuidedCalibration(
            self.records, name, self.who, self.temperature, now, self.valid_days, self.port, csv, self.as_json
        )
        session.check_clock()
        return session, GuideScreen(ask, quiet=csv is not None, by_itself=self.yes)


def procedure(name: str, example: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Make a command of the group from a function: its own options, then those of `Asked`, which it gets first."""

    def register(work: Callable[..., None]) -> Callable[..., None]:
        own = list(signature(work).parameters.values())[1:]
        common = list(signature(Asked).parameters.values())

        def command(**options: Any) -> None:
            asked = Asked(**{one.name: options.pop(one.name) for one in common})
            work(asked, **options)

        # The command line is read off the signature, so the command shows the one it would have if written out.
        options = [one.replace(kind=Parameter.KEYWORD_ONLY) for one in (*own, *common)]
        command.__signature__ = Signature(options)  # type: ignore[attr-defined]
        command.__annotations__ = {one.name: one.annotation for one in options}
        command.__doc__ = work.__doc__
        calibrate.command(name, epilog=f"Example: midspan calibrate {name} {example}")(command)
        return work

    return register
