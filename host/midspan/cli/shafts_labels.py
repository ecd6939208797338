"""`midspan shafts labels`: sheets of labels for shafts."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.base.errors import OutputError, ReadingsError
from midspan.cli.options import STORE, Factor, StoreAt


def labels(
    shafts: Annotated[list[str] | None, typer.Argument(help="Numbers or labels of shafts.", metavar="SHAFT")] = None,
    set_name: Annotated[str | None, typer.Option("--set", help="All shafts of this set.")] = None,
    sheet: Annotated[Path | None, typer.Option(help="Where labels lie on your paper (TOML).")] = None,
    out: Annotated[Path, typer.Option("--out", help="PDF file to write.")] = Path("labels.pdf"),
    skip: Annotated[int, typer.Option(min=0, help="Labels gone from the first sheet.")] = 0,
    store: StoreAt = STORE,
    k: Factor = None,
) -> None:
    """Write a sheet of shaft labels as PDF, each with a code of the shaft's number."""
    from midspan.report.labels import label_of, load_sheet, write_labels
    from midspan.sets.registry import Sets
    from midspan.sets.stock import full_results, shafts_of, spoken_against

    if out.suffix.lower() != ".pdf":
        raise OutputError(f"{out}: the name of a sheet of labels ends in .pdf", code="labels_ending")
    paper = load_sheet(sheet)
    if skip >= paper.number:
        raise ReadingsError(f"--skip {skip}: a sheet has {paper.number} labels; take a new one", code="skip_too_large")
    with store.open_to_read() as opened:
        sets = Sets(opened)
        numbers = [sets.number(name) for name in shafts or []]
        numbers += sets.named(set_name).present if set_name is not None else ()
        if not numbers:
            raise ReadingsError("say which shafts, or --set NAME with shafts in it", code="no_shafts")
        of = {number: kept.name for kept in sets.all() for number in kept.present}
        found = shafts_of(opened, numbers)
        those = [found[number] for number in numbers]
        results = full_results(opened, those)
        of |= spoken_against(opened, numbers)
    made = [label_of(shaft, results[shaft.result], k, of.get(shaft.shaft)) for shaft in those]
    sheets = write_labels(made, paper, out, skip)
    print(f"{out}: {len(made)} label{'s' if len(made) != 1 else ''} on {sheets} sheet{'s' if sheets != 1 else ''}")
