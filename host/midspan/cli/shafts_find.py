"""`midspan shafts find, show`: look shafts up by what is known of them, and see everything on record about one."""

import json
from typing import Annotated

import typer

from midspan.cli.options import STORE, AsJson, StoreAt
from midspan.cli.screen import aside

Part = Annotated[str | None, typer.Option(help="Part of it, in any case.")]


def find(
    word: Annotated[
        str | None, typer.Argument(help="A number, or part of the label, a note, customer, order or size.")
    ] = None,
    label: Part = None,
    note: Part = None,
    customer: Part = None,
    order: Part = None,
    size: Part = None,
    low: Annotated[float | None, typer.Option(min=0, max=9999, help="Lowest spine, thou.")] = None,
    high: Annotated[float | None, typer.Option(min=0, max=9999, help="Highest spine, thou.")] = None,
    batch: Annotated[int | None, typer.Option(min=1, help="Measured in this batch.")] = None,
    set_name: Annotated[str | None, typer.Option("--set", help="In this set now.")] = None,
    suspects: Annotated[
        bool, typer.Option("--suspects", help="Only doubtful or suspect shafts, and those that may be cracked.")
    ] = False,
    voided: Annotated[bool, typer.Option("--voided", help="Only shafts with void measurements.")] = False,
    store: StoreAt = STORE,
    as_json: AsJson = False,
) -> None:
    """Find shafts; what is asked for must all fit. Without anything, list all shafts.

    Check standards are left out.
    """
    from midspan.report.result_text import console
    from midspan.report.shafts_text import found_json, found_table
    from midspan.sets.find_shafts import ShaftQuery, find_shafts
    from midspan.store.detail_kinds import DetailKind

    said = {DetailKind.NOTE: note, DetailKind.CUSTOMER: customer, DetailKind.ORDER: order, DetailKind.SIZE: size}
    asked = {kind: part for kind, part in said.items() if part is not None}
    query = ShaftQuery(word, label, asked, low, high, batch, set_name, suspects, voided)
    with store.open_to_read() as opened:
        found = find_shafts(opened, query)
    if as_json:
        print(json.dumps([found_json(shaft) for shaft in found]))
    elif found:
        console().print(found_table(found))
    elif query == ShaftQuery():
        aside(f"{store}: no shaft was measured yet; begin with: midspan measure")
    else:
        aside("no shaft fits; ask for less, or list all with: midspan shafts find")


def show(
    shaft: Annotated[str, typer.Argument(help="Number or label of the shaft.")],
    store: StoreAt = STORE,
    as_json: AsJson = False,
) -> None:
    """Show everything on record about a shaft: measurements, labels, notes, sets, weights, its other numbers.

    `midspan show` has its newest measurement alone, with uncertainty, picture and budget.
    """
    from midspan.report.result_text import console
    from midspan.report.shafts_text import history_json, history_words, measurements_table
    from midspan.sets.shaft_history import shaft_history
    from midspan.store.lookup import read_name

    with store.open_to_read() as opened:
        history = shaft_history(opened, read_name(opened, shaft))
    if as_json:
        print(json.dumps(history_json(history)))
        return
    for line in history_words(history):
        console().print(line, markup=False, highlight=False)
    console().print("", measurements_table(history))
