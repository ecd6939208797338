"""Labels of shafts from the database: what they say, as a PDF on paper of the user's choice."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from midspan.base.formatting import angle, code_of
from midspan.measurement.shown_quantities import across_text, spine_text
from midspan.report.label_drawing import ShaftLabel, draw_label
from midspan.report.label_sheet import Sheet
from midspan.report.set_card import fonts, lasting_side_deg, save
from midspan.sets.registry import Sets
from midspan.sets.stock import StockShaft, full_results, shafts_of, spoken_against
from midspan.store.database import Store
from midspan.store.stored_result import MeasuredResult


def label_of(
    shaft: StockShaft, result: MeasuredResult, k: float | None, last: str | None, shop: str = ""
) -> ShaftLabel:
    """Return the label of a shaft with its newest result.

    Parameters
    ----------
    shaft : StockShaft
        The shaft.
    result : MeasuredResult
        Its newest result.
    k : float or None
        Coverage factor of each ±, None for 95 %.
    last : str or None
        Line below the values: the set it is in, or what speaks against it; None for its bin.
    shop : str
        Name of the shop, club or school; empty for none.

    Returns
    -------
    ShaftLabel
        The label.
    """
    spine = spine_text(shaft, k)
    values = [f"{spine.number} {spine.unit}", spine.also]
    values += [f"around {across_text(shaft.spread_thou)}"] if shaft.spread_thou is not None else []
    stiff = lasting_side_deg(result)
    values += [f"stiff {angle(stiff)}"] if stiff is not None else []
    shown = tuple(value for value in values if value)
    return ShaftLabel(shaft.shaft, code_of(shaft.shaft), shown, shaft.name, last or shaft.bin or "", shop)


def labels_of(store: Store, numbers: Sequence[int], k: float | None = None, shop: str = "") -> list[ShaftLabel]:
    """Return the labels of shafts, in the given order.

    Parameters
    ----------
    store : Store
        Open database.
    numbers : Sequence[int]
        Numbers of the shafts.
    k : float or None
        Coverage factor of each ±, None for 95 %.
    shop : str
        Name of the shop, club or school; empty for none.

    Returns
    -------
    list[ShaftLabel]
        A label for each.

    Raises
    ------
    StoreError
        A shaft has no result.
    """
    last = {number: kept.name for kept in Sets(store).all() for number in kept.present}
    last |= spoken_against(store, numbers)
    found = shafts_of(store, numbers)
    those = [found[number] for number in numbers]
    results = full_results(store, those)
    return [label_of(shaft, results[shaft.result], k, last.get(shaft.shaft), shop) for shaft in those]


def write_labels(labels: Sequence[ShaftLabel], sheet: Sheet, path: Path, skip: int = 0) -> int:
    """Write labels as PDF and return the number of sheets.

    Parameters
    ----------
    labels : Sequence[ShaftLabel]
        The labels.
    sheet : Sheet
        The paper.
    path : Path
        File to write.
    skip : int
        Places of the first sheet to leave empty.

    Returns
    -------
    int
        Number of sheets.

    Raises
    ------
    OutputError
        The file cannot be written, or a label has no room for its code.
    """
    fonts()
    written = BytesIO()
    canvas = Canvas(written, pagesize=(sheet.page_mm[0] * mm, sheet.page_mm[1] * mm))
    canvas.setTitle("Shaft labels")
    for index, label in enumerate(labels, skip):
        if index % sheet.number == 0 and index > skip:
            canvas.showPage()
        draw_label(canvas, label, sheet, index)
    canvas.save()
    save(path, written.getvalue())
    return -(-(skip + len(labels)) // sheet.number)
