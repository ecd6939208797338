"""The group `midspan calibrate`, and the options and the course that all its procedures share."""

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midspan.base.errors import ConfigurationError
from midspan.cli.options import Commands, workspace_of
from midspan.cli.screen import Prompter, aside
from midspan.conversation.prompts import Conversation, Prompt, PromptChoice
from midspan.conversation.questions import Unattended

if TYPE_CHECKING:
    from midspan.calibrate.guide import GuidedCalibration, Taken
    from midspan.calibrate.record import Record

calibrate = typer.Typer(
    cls=Commands,
    help="Find out what your gauge's counts and steps mean: the calibration that every measurement rests on.\n\n"
    "`midspan calibrate all` leads through everything in order. Each part can be done by itself: force, travel, frame, "
    "span, sinking, rotation, filter; then file writes the calibration file, and bar checks it. Each part asks for "
    "what it needs to know, says what to have at hand, and names the next command at its end.",
    epilog="Example: midspan calibrate all",
    no_args_is_help=True,
)

Records = Annotated[Path, typer.Option("--records", help="Folder of calibration records; they are never changed.")]
RECORDS = Path("calibration")
NO_OPTIONS = ("typed", "workspace")  # fields of Asked that no option gives
BY_ITSELF = Prompt(
    "simulated gauge",
    "The simulated gauge puts everything on and reads everything by itself.",
    (PromptChoice("by itself", "", "let it"), PromptChoice("step by step", "s", "ask me at each step")),
)


@dataclass(frozen=True)
class Asked:
    """Options that every procedure has; `procedure` adds its fields to each command."""

    port: Annotated[str | None, typer.Option("--port", help="Serial port of the gauge, or: rehearsal.")] = None
    yes: Annotated[
        bool,
        typer.Option("--yes", help="Only with --port rehearsal: ask nothing, take the sizes of the simulated frame."),
    ] = False
    records: Records = RECORDS
    gauge: Annotated[
        str | None,
        typer.Option(
            "--gauge",
            help="Name of the gauge, where the gauge itself is not asked.",
            show_default="that of the records, or bench",
        ),
    ] = None
    who: Annotated[str, typer.Option("--who", help="Who calibrates.")] = ""
    temperature: Annotated[
        float | None,
        typer.Option(
            "--temperature", min=-20, max=60, help="Room temperature in C.", show_default="what the gauge shows, or 20"
        ),
    ] = None
    valid_days: Annotated[
        int, typer.Option("--valid-days", min=1, max=3650, help="How long the record shall count.")
    ] = 365
    details: Annotated[
        bool, typer.Option("--details", help="Also print counts, all figures, and each cause of uncertainty (k = 1).")
    ] = False
    as_json: Annotated[bool, typer.Option("--json", help="Print the outcome as JSON.")] = False
    typed: frozenset[str] = frozenset()  # names of the options that were typed, not stated by a workspace
    workspace: Path | None = None  # folder of the workspace

    def session(self, csv: Path | None, *, by_hand: bool = False) -> "GuidedCalibration":
        """Return where readings come from and go to, with the person at the terminal.

        Raises ConfigurationError unless there is a source of readings; `by_hand` they may also be typed.
        """
        from datetime import UTC, datetime

        from midspan.calibrate.guide import GuidedCalibration

        port = None if csv is not None and "port" not in self.typed else self.port  # a table needs no gauge
        if csv is None and port is None and not by_hand:
            raise ConfigurationError(
                "no source of readings: name the gauge with --port (or --port rehearsal), or readings with --csv",
                code="no_source",
            )
        if csv is not None and port is not None:
            raise ConfigurationError("give either --csv or --port, not both")
        now = datetime.now(UTC)
        session = GuidedCalibration(
            self.records, self.gauge_name(), self.who, self.temperature, now, self.valid_days, port, csv,
            self._talk(csv), details=self.details,
        )  # fmt: skip
        session.check_clock()
        return session

    def _talk(self, csv: Path | None) -> Conversation:
        """Return who asks: the terminal, or nobody where readings come from a table or the simulated gauge."""
        from midspan.rehearsal.process import REHEARSAL_PORT

        if csv is not None:
            return Unattended(_unsaid)
        if self.yes and self.port not in (None, REHEARSAL_PORT):
            raise ConfigurationError(
                "--yes is for the simulated gauge: at a real one somebody puts on what is measured; leave --yes out",
                code="yes_at_a_gauge",
            )
        return Unattended(aside) if self.let_simulated_go().yes else Prompter()

    def let_simulated_go(self) -> "Asked":
        """Return these options, with `yes` where the person lets the simulated gauge go by itself."""
        from midspan.rehearsal.process import REHEARSAL_PORT

        if self.yes or self.port != REHEARSAL_PORT:
            return self
        return replace(self, yes=Prompter().ask(BY_ITSELF).choice == BY_ITSELF.choices[0].id)

    def gauge_name(self) -> str:
        """Return the name of the gauge: that of the simulated one, the given one, or that of the records."""
        from midspan.calibrate.order import gauges_in
        from midspan.calibrate.record import records_in
        from midspan.rehearsal.process import REHEARSAL_PORT
        from midspan.rehearsal.scenario import GAUGE_NAME

        if self.port == REHEARSAL_PORT:
            return GAUGE_NAME
        if self.gauge is not None:
            return self.gauge
        known = gauges_in(records_in(self.records)) if self.records.is_dir() else []
        return known[0] if len(known) == 1 else "bench"

    def finish(self, session: "GuidedCalibration", taken: "Taken") -> None:
        """Make the record of the readings, print it, and print the next step."""
        from midspan.calibrate.guide import finish
        from midspan.calibrate.summary import details, summary

        kind, made = taken.kind, finish(session, taken)
        if self.as_json:
            print(json.dumps({"id": made.record.id, "file": str(made.path)} | made.record.outcome))
        else:
            print(summary(kind, made.finding))
            if self.details:
                print(details(made.finding))
            print(f"record: {made.path} (valid until {made.record.valid_until})")
        if kind != "bar":
            session.talk.say(f"Next: {self.next_command(made.record.gauge)}")

    def newest(self, gauge: str | None = None) -> "dict[str, Record]":
        """Return the newest record of each kind for a gauge, None for that of these options."""
        from midspan.calibrate.order import newest_of_each
        from midspan.calibrate.record import records_in

        return newest_of_each(records_in(self.records) if self.records.is_dir() else (), gauge or self.gauge_name())

    def next_command(self, gauge: str) -> str:
        """Return the command that comes next: in a workspace what its status says, else by the records."""
        from datetime import UTC, datetime

        from midspan.calibrate.order import FILE, command_of, next_procedure
        from midspan.cli.status import next_command

        if self.workspace is not None and not self.typed & {"port", "records", "gauge"}:
            return next_command(self.workspace)
        following = next_procedure(self.newest(gauge), datetime.now(UTC).date()) or FILE
        port = f" --port {self.port}" if "port" in self.typed and following != FILE else ""
        records = f" --records {self.records}" if "records" in self.typed else ""
        return f"{command_of(following)}{port}{records}"


def _typed(context: typer.Context) -> frozenset[str]:
    """Return the names of the options that were typed, not taken from a default or a workspace."""
    sources = {name: context.get_parameter_source(name) for name in context.params}
    return frozenset(name for name, source in sources.items() if source is not None and source.name == "COMMANDLINE")


def _unsaid(text: str) -> None:
    """Print nothing: readings from a table need no guide."""


def at_hand(work: Callable[..., None]) -> str:
    """Return what the help of a procedure says of what to have at hand, as one line; empty if it says nothing."""
    paragraphs = [" ".join(paragraph.split()) for paragraph in (work.__doc__ or "").split("\n\n")]
    return next((paragraph for paragraph in paragraphs if paragraph.startswith("At hand")), "")


def procedure(name: str, example: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Return a decorator that makes a command of a function: the function's own options, then those of `Asked`."""

    def register(work: Callable[..., None]) -> Callable[..., None]:
        own = list(signature(work).parameters.values())[1:]
        common = [option for option in signature(Asked).parameters.values() if option.name not in NO_OPTIONS]
        place = Parameter("context", Parameter.KEYWORD_ONLY, annotation=typer.Context)

        def command(context: typer.Context, **options: Any) -> None:
            if options.get("csv") is None:
                aside(at_hand(work))
            known = workspace_of(context)
            folder = None if known is None else known.folder
            given = {option.name: options.pop(option.name) for option in common}
            asked = Asked(**given, typed=_typed(context), workspace=folder)
            work(asked, **options)

        # Typer reads the options from the signature, so the command gets the signature it would have if written out.
        options = [option.replace(kind=Parameter.KEYWORD_ONLY) for option in (place, *own, *common)]
        command.__signature__ = Signature(options)  # type: ignore[attr-defined]
        command.__annotations__ = {option.name: option.annotation for option in options}
        command.__doc__ = work.__doc__
        calibrate.command(name, epilog=f"Example: midspan calibrate {name} {example}".rstrip())(command)
        return work

    return register
