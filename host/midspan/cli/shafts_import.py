"""`midspan shafts import`: spines from a list that was made elsewhere."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.base.clock import now_ms
from midspan.cli.options import STORE, StoreAt


def import_(
    file: Annotated[Path, typer.Argument(help="CSV table with a heading for each column.")],
    column: Annotated[
        list[str],
        typer.Option(
            metavar="WHAT=HEADING",
            help="What a column is: number, spine, u, weight_gr, weight_g, label, note, customer, order, size or "
            "length_mm; repeatable.",
        ),
    ],
    unit: Annotated[str, typer.Option(help="Unit of the spines: thou, mm or pounds (26 in, 2 lb).")],
    u: Annotated[
        float | None,
        typer.Option(
            "--u", min=0.001, max=1000.0, help="95 % range of every spine in that unit, where no column has it."
        ),
    ] = None,
    by: Annotated[str, typer.Option(help="Who brings the list.")] = "",
    store: StoreAt = STORE,
) -> None:
    """Bring an old list of spines into the stock, with its own uncertainty.

    You say which column is what. Such a spine is less sure than a measured one: it is found and shown, a measurement
    always counts before it, and no set is chosen by it. Flex and look at each shaft before it is shot.
    """
    from midspan.report.sets_view import listed
    from midspan.sets.spine_list import ListForm, read_list
    from midspan.sets.spine_list_import import import_list

    shafts = read_list(file, ListForm.of(column, unit, u))
    with store.open() as opened:
        done = import_list(opened, shafts, file, by, now_ms())
    print(f"{len(done.added)} shafts of the list are in {store}" + (f": {listed(done.added)}" if done.added else ""))
    if done.known:
        lines = "1 line was" if done.known == 1 else f"{done.known} lines were"
        print(f"{lines} imported before with the same spine, and left out")
    if done.measured:
        print(f"measured here already, which counts before the list: {listed(done.measured)}")
    if done.added:
        print(f"the next new shaft gets number {done.next_number}")
