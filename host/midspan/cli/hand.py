"""Command line: the hand bench, a dead weight and a dial indicator."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, AsJson, Commands, Factor, Label, Picture, StoreFile

hand = typer.Typer(
    cls=Commands,
    help="Measure without a gauge: a dead weight and a dial indicator on a measured span.",
    epilog="Example: midspan hand measure --shaft 1 --bench hand-bench.toml",
    no_args_is_help=True,
)

BenchFile = Annotated[Path, typer.Option("--bench", help="What the bench is (TOML); made by asking if it is missing.")]
RecordFile = Annotated[Path, typer.Option("--record", help="File that the typed readings are added to, for ever.")]
BandsFile = Annotated[Path | None, typer.Option("--bands", help="Judge against these tolerance bands (TOML).")]
BENCH, RECORD = Path("hand-bench.toml"), Path("hand-readings.jsonl")


@hand.command("measure", epilog="Example: midspan hand measure --shaft 1 --label bar-1 --csv readings.csv")
def measure(
    shaft: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Number of the shaft.")],
    label: Label = "",
    csv: Annotated[
        Path | None,
        typer.Option(
            help="Readings (angle_deg or clock, unloaded, loaded; if read: repeat, unloaded_again, confirmed)."
        ),
    ] = None,
    positions: Annotated[int, typer.Option(min=1, max=72, help="Clock positions to ask for.")] = 8,
    repeats: Annotated[int, typer.Option(min=1, max=50, help="Readings of each position to ask for.")] = 2,
    operator: Annotated[str, typer.Option(help="Who reads the dial.")] = "",
    bench: BenchFile = BENCH,
    bands: BandsFile = None,
    store: StoreFile = STORE,
    record: RecordFile = RECORD,
    picture: Picture = None,
    as_json: AsJson = False,
    k: Factor = None,
    anew: Annotated[
        bool, typer.Option("--anew", help="Begin another session, though one of this shaft was not finished.")
    ] = False,
) -> None:
    """Measure a shaft: asks for each reading, or takes them from a CSV. A session that was broken off goes on."""
    from midspan.base.clock import now_ms
    from midspan.cli import hand_commands
    from midspan.hand_bench import prompts

    prompts.make_bench(bench, typer.prompt, typer.echo)
    guided = hand_commands.Guided(positions, repeats, typer.prompt, typer.echo, anew)
    source = hand_commands.from_csv(csv) if csv else guided
    whose = hand_commands.HandShaft(shaft, label, operator, record, store)
    result, decision = hand_commands.measure(bench, whose, source, bands, now_ms)
    hand_commands.show_hand(result, decision, picture, as_json=as_json, k=k)


@hand.command("recompute", epilog="Example: midspan hand recompute hand-readings.jsonl --bench better.toml")
def recompute(
    file: Annotated[Path, typer.Argument(help="File of typed readings.")] = RECORD,
    bench: Annotated[
        Path | None, typer.Option("--bench", help="Work under this bench file; without, under that of each reading.")
    ] = None,
    bands: BandsFile = None,
    store: StoreFile = STORE,
) -> None:
    """Make every result again from the typed readings; new ones stand beside the old."""
    from midspan.base.clock import now_ms
    from midspan.cli import hand_commands

    hand_commands.recompute(file, bench, bands, store, now_ms)


@hand.command("budget", epilog="Example: midspan hand budget --bench hand-bench.toml --spine 350 --spine 500")
def budget(
    bench: BenchFile = BENCH,
    spine: Annotated[list[float] | None, typer.Option(min=80, max=3000, help="Spine in thou; may be repeated.")] = None,
    scatter: Annotated[float, typer.Option(min=0, max=100, help="Scatter of single readings, in thou.")] = 0.3,
    readings: Annotated[int, typer.Option(min=4, max=1000, help="Readings of a shaft, all positions together.")] = 16,
) -> None:
    """Show how good the bench will be, before anything is measured."""
    from midspan.cli import hand_commands

    hand_commands.show_expected(bench, spine or [350.0, 500.0, 1000.0], scatter, readings)


@hand.command("assign", epilog="Example: midspan hand assign bar-1 --out bar-1.toml")
def assign(
    label: Annotated[str, typer.Argument(help="Label of the bar or shaft.")],
    out: Annotated[Path, typer.Option(help="File that the value is written to; never written over.")],
    store: StoreFile = STORE,
) -> None:
    """Give a check standard its value from all its hand bench results."""
    from midspan.cli import hand_commands

    hand_commands.assign(label, store, out)
