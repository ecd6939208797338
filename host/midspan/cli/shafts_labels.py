"""`midspan shafts labels`: labels for shafts as a PDF, and to a printer."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import ConfigurationError, OutputError, ReadingsError
from midspan.base.label_shape import LabelPaper, LabelShape
from midspan.cli.options import STORE, Factor, StoreAt, is_typed, shop_of

if TYPE_CHECKING:
    from midspan.report.label_sheet import Sheet
    from midspan.store.database import Store
    from midspan.workspace.settings import Workspace

LABELS_FOLDER = "labels"  # in the folder of a workspace: the PDFs of labels that a session prints


def labels(
    context: typer.Context,
    shafts: Annotated[list[str] | None, typer.Argument(help="Numbers or labels of shafts.", metavar="SHAFT")] = None,
    set_name: Annotated[str | None, typer.Option("--set", help="All shafts of this set.")] = None,
    shape: Annotated[
        LabelShape | None,
        typer.Option(
            help="flag: stuck to itself around the shaft, read from both sides. collar: once around the shaft. "
            "box: flat, for box or rack. number: a narrow collar with the number alone.",
            show_default="box",
        ),
    ] = None,
    tube: Annotated[float | None, typer.Option(min=3, max=12, help="Outside diameter of the shafts, mm.")] = None,
    paper: Annotated[
        LabelPaper | None, typer.Option(help="Paper; on a roll each label is a page.", show_default="a4")
    ] = None,
    sheet: Annotated[Path | None, typer.Option(help="Where labels lie on your own paper (TOML).")] = None,
    out: Annotated[Path, typer.Option("--out", help="PDF file to write.")] = Path("labels.pdf"),
    skip: Annotated[int, typer.Option(min=0, help="Labels gone from the first sheet.")] = 0,
    to_print: Annotated[bool, typer.Option("--print", help="Print them too.")] = False,
    printer: Annotated[
        str | None, typer.Option(help="Printer, with --print.", show_default="the system's own choice")
    ] = None,
    store: StoreAt = STORE,
    k: Factor = None,
) -> None:
    """Write shaft labels as PDF, each with a code of the shaft's number, and print them with --print."""
    from midspan.report.labels import labels_of, write_labels
    from midspan.report.printing import print_file
    from midspan.sets.registry import Sets

    if out.suffix.lower() != ".pdf":
        raise OutputError(f"{out}: the name of a sheet of labels ends in .pdf", code="labels_ending")
    if paper is not None and not is_typed(context, "sheet"):
        sheet = None  # what is typed wins over what the workspace states
    elif sheet is not None and not is_typed(context, "paper"):
        paper = None
    chosen = sheet_for(sheet, shape, tube, paper)
    if skip >= chosen.number:
        raise ReadingsError(f"--skip {skip}: a sheet has {chosen.number} labels; take a new one", code="skip_too_large")
    with store.open_to_read() as opened:
        sets = Sets(opened)
        numbers = [sets.number(name) for name in shafts or []]
        numbers += sets.named(set_name).present if set_name is not None else ()
        if not numbers:
            raise ReadingsError("say which shafts, or --set NAME with shafts in it", code="no_shafts")
        made = labels_of(opened, numbers, k, shop_of(context))
    sheets = write_labels(made, chosen, out, skip)
    print(f"{out}: {len(made)} label{'s' if len(made) != 1 else ''} on {sheets} sheet{'s' if sheets != 1 else ''}")
    if to_print:
        print_file(out, printer, "shaft labels")
        print(f"sent to {printer or 'the printer of this system'}; look that nothing was scaled: print at 100 %")


def sheet_for(file: Path | None, shape: LabelShape | None, tube_mm: float | None, paper: LabelPaper | None) -> "Sheet":
    """Return the sheet that options or the workspace ask for: a file's, or the usual one of a shape.

    A ConfigurationError says that file and options contradict each other, or that a diameter is missing.
    """
    from midspan.report.label_sheet import load_sheet, usual_sheet

    if file is None:
        return usual_sheet(shape or LabelShape.BOX, tube_mm, paper or LabelPaper.A4)
    if paper is not None:
        raise ConfigurationError(
            f"--paper {paper}: {file} says what the paper is; leave one of them out", code="two_papers"
        )
    return load_sheet(file, shape, tube_mm)


def label_printer(workspace: "Workspace | None", store: "Store") -> "Callable[[int], object] | None":
    """Return what prints a label of a shaft in a session, None if the workspace does not ask for labels.

    A ConfigurationError says what the workspace lacks for labels, before anything is measured.
    """
    if workspace is None or workspace.labels.print == "never":
        return None
    from midspan.report.printing import LabelPrinter

    stated = workspace.labels
    sheet = sheet_for(stated.sheet, stated.shape, stated.tube_mm, stated.paper)
    printer = LabelPrinter(sheet, stated.printer, workspace.folder / LABELS_FOLDER, shop=workspace.shop.name)
    return lambda shaft: printer.print_label(store, shaft)
