"""`midspan calibrate`: all procedures in a row, and the calibration file made from their records."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from midspan.cli import calibrate_parts as parts
from midspan.cli.calibrate_changes import changes
from midspan.cli.calibrate_options import RECORDS, Asked, Records, at_hand, calibrate, procedure
from midspan.cli.calibrate_parts import MassesFile
from midspan.cli.options import workspace_of
from midspan.cli.screen import aside

__all__ = ["calibrate"]


def _within(temperatures: tuple[float, float] | None) -> tuple[float, float] | None:
    """Return the range of temperatures, None if there is none; refuse what no workshop has."""
    if temperatures is not None and not all(-20 <= each <= 60 for each in temperatures):
        raise typer.BadParameter("two temperatures between -20 and 60 C")
    return temperatures


PARTS: dict[str, Callable[[Asked], None]] = {
    "force": parts.force, "travel": parts.travel, "frame": parts.frame, "span": parts.span, "sinking": parts.sinking,
    "rotation": parts.rotation, "filter": parts.converter_filter,
}  # fmt: skip
CALIBRATION = Path("gauge.toml")

CalibrationOut = Annotated[
    Path,
    typer.Option("--out", "--calibration", help="The calibration file to write (TOML); an earlier one is kept aside."),
]


@procedure("all", "--port rehearsal --yes")
def all_parts(asked: Asked, calibration: CalibrationOut = CALIBRATION, masses: MassesFile = None) -> None:
    """Calibrate the whole gauge: every part in order, then the file. Parts whose record is still valid are left out.

    At hand: masses up to 1000 g, a dial indicator with its stand, a steel bar of 25 mm, a long rule or caliper, a shaft
    of the kind you measure that is bowed or uneven, the drawings, and an hour and a half. You may stop at any time with
    Ctrl-C: what is done is kept, and the same command goes on. Wear safety glasses where a shaft is pressed, and keep
    fingers away from head and rollers.
    """
    from midspan.calibrate.order import FILE, ORDER, next_procedure

    asked = asked.let_simulated_go()
    while (following := next_procedure(asked.newest(), datetime.now(UTC).date())) not in (FILE, ""):
        aside(f"\n{following} (part {ORDER.index(following) + 1} of {len(ORDER)})")
        aside(at_hand(PARTS[following]))
        if following == "force":
            parts.force(asked, masses=masses)
        else:
            PARTS[following](asked)
    write_file(calibration, asked.records, asked.gauge_name())
    say_next(None if asked.typed & {"port", "records", "gauge", "calibration"} else asked.workspace)


@calibrate.command("file", epilog="Example: midspan calibrate file")
def file(
    context: typer.Context,
    calibration: CalibrationOut = CALIBRATION,
    records: Records = RECORDS,
    gauge: Annotated[str | None, typer.Option(help="Of which gauge, when records of several are there.")] = None,
    previous: Annotated[
        Path | None,
        typer.Option(
            help="An earlier file: its [cycle] and all that has no record is kept.", show_default="the file to write"
        ),
    ] = None,
    temperatures: Annotated[
        tuple[float, float] | None,
        typer.Option(
            "--range", callback=_within, help="Lowest and highest temperature of use in C. Without: 5 C to either side."
        ),
    ] = None,
) -> None:
    """Write the calibration file from the newest record of each part; measuring uses that file."""
    write_file(calibration, records, gauge, previous, temperatures)
    workspace = workspace_of(context)
    say_next(None if workspace is None else workspace.folder)


def say_next(workspace: Path | None) -> None:
    """Print what comes after the calibration file; in the folder of a workspace what its status says."""
    from midspan.cli.status import next_command

    following = "midspan measure" if workspace is None else next_command(workspace)
    print(f"Check it with a bar of known spine when you have one: midspan calibrate bar\nNext: {following}")


def write_file(
    calibration: Path,
    records: Path,
    gauge: str | None,
    previous: Path | None = None,
    temperatures: tuple[float, float] | None = None,
) -> None:
    """Write the calibration file and print what it rests on."""
    from midspan.calibrate.calibration_file import kept_over, remarks_on, write_calibration

    earlier = previous or (calibration if calibration.exists() else None)
    kept = {} if earlier is None else kept_over(earlier)
    if temperatures is not None:
        kept = kept | {"calibration": {"temperature_range_c": list(temperatures)}}
    used = write_calibration(records, calibration, gauge, kept)
    until = min(record.valid_until for record in used)
    print(f"{calibration}: calibration of gauge {used[0].gauge}, valid until {until}")
    for record in used:
        print(f"  from {record.id}, made {record.made}")
    for remark in remarks_on(used):
        print(f"  * {remark}")


calibrate.command("changes", epilog="Example: midspan calibrate changes")(changes)
