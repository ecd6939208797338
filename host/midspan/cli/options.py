"""Options that several commands share, declared once."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from midspan.workspace.settings import Workspace

LONGEST_LABEL = 64
WHOLE = 1000  # letters, more than any first sentence has
HELP_ASKED, WORKSPACE_PROBLEM = "midspan.help_asked", "midspan.workspace_problem"  # keys in the data of a context
STORE = StorePlace(Path("results.db"))


class Commands(TyperGroup):
    """A group of commands, listed by what one wants to do, each with its first sentence in full."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Return name, command and arguments of what is called; note if only its help is asked for."""
        ctx.meta[HELP_ASKED] = "--help" in args
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the list by headings, wrapped to the width of the screen."""
        listed: dict[str, list[tuple[str, str]]] = {}
        for name in self.list_commands(ctx):
            command: Any = self.get_command(ctx, name)
            if not command.hidden:
                heading = command.rich_help_panel
                rows = listed.setdefault(heading if isinstance(heading, str) else "Commands", [])
                rows.append((name, command.get_short_help_str(WHOLE)))
        for heading, rows in listed.items():
            with formatter.section(heading):
                formatter.write_dl(rows)


def workspace_of(context: typer.Context) -> "Workspace | None":
    """Return the workspace that a command runs in, None if there is none."""
    found: Workspace | None = context.find_root().obj
    return found


def shop_of(context: typer.Context) -> str:
    """Return the name of the shop as the workspace states it, empty without one."""
    workspace = workspace_of(context)
    return "" if workspace is None else workspace.shop.name


def is_typed(context: typer.Context, name: str) -> bool:
    """Return True if an option was given on the command line, not by the workspace."""
    source = context.get_parameter_source(name)
    return source is not None and source.name == "COMMANDLINE"


def named_after(kind: str, name: object, ending: str) -> Path:
    """Return the name of a file of something, in the present folder, with signs that every system takes.

    >>> named_after("card", "spring 1", ".html").name
    'card-spring-1.html'
    """
    return Path(f"{kind}-" + "".join(sign if sign.isalnum() else "-" for sign in str(name)) + ending)


def _one_line(label: str) -> str:
    """Return a label if every file can store it and every screen can print it; refuse it otherwise."""
    if not label.isprintable() or len(label) > LONGEST_LABEL:
        raise typer.BadParameter(f"at most {LONGEST_LABEL} printable characters")
    return label


def _store_place(given: object) -> StorePlace:
    """Return the place of a store from its path."""
    return StorePlace.of(str(given))


Label = Annotated[str, typer.Option("--label", help="A name for the shaft.", callback=_one_line)]
StoreAt = Annotated[
    StorePlace, typer.Option("--store", parser=_store_place, metavar="<path>", help="Database of results.")
]
StoreOfPlan = Annotated[
    StorePlace, typer.Option("--store", parser=_store_place, metavar="<path>", help="Database that the plan names.")
]
StoreToKeepIn = Annotated[
    StorePlace | None,
    typer.Option(
        "--store", parser=_store_place, metavar="<path>", help="Also keep them beside the old ones; needs --bands."
    ),
]
CalibrationFile = Annotated[Path, typer.Option("--calibration", help="Calibration file of the gauge (TOML).")]
BandsFile = Annotated[Path, typer.Option("--bands", help="Tolerance bands and bins (TOML).")]
SetName = Annotated[str, typer.Argument(help="Name of the set.", metavar="SET")]
Shafts = Annotated[list[str], typer.Argument(help="Numbers or labels of shafts.", metavar="SHAFT")]
Batches = Annotated[list[int] | None, typer.Option("--batch", min=1, help="Only shafts of this batch; repeatable.")]
Distance = Annotated[float, typer.Option("--distance", min=5.0, max=300.0, help="Distance to the target in metres.")]
Picture = Annotated[Path | None, typer.Option("--picture", help="Also draw it (png, pdf or svg).")]
CycleChoice = Annotated[
    str | None,
    typer.Option(
        "--cycle",
        metavar="NAME|FILE",
        help="standard, deep, or a TOML file with a table [cycle].",
        show_default="as the calibration says",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")]
Factor = Annotated[
    float | None, typer.Option("--k", min=1.0, max=4.0, help="Coverage factor of each ±.", show_default="95 %")
]
ClearFault = Annotated[
    bool, typer.Option("--clear-fault", help="You looked at the gauge: clear its fault; the head goes up first.")
]
AllowDoubtful = Annotated[
    bool,
    typer.Option(
        "--doubtful-calibration",
        help="Use a calibration that has expired or is for another gauge or temperature; results then say so.",
    ),
]


@dataclass(frozen=True)
class Shown:
    """Form of a result: JSON or words, coverage factor of U, the picture to draw, and whether to say the details."""

    as_json: bool = False
    k: float | None = None
    picture: Path | None = None
    details: bool = False
