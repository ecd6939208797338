"""Where labels lie on paper: the usual sheets and rolls for each shape of label, or the user's own as a TOML file:

    shape = "flag"                # flag, collar, box or number
    tube_mm = 6.5                 # outside diameter of the shaft; a box label needs none
    page_mm = [210.0, 297.0]      # width and height of the paper
    label_mm = [90.0, 14.0]       # for flag, collar and number the width goes around the tube
    columns = 2
    rows = 18
    first_mm = [10.0, 12.0]       # from the paper's left and upper edge to the first label's
    step_mm = [95.0, 15.0]        # from one label's left and upper edge to the next one's
    outline = true                # a thin line to cut along; false for labels that are cut already

>>> Sheet().place(5)
(1, 1)
>>> usual_sheet(LabelShape.COLLAR, 5.0, LabelPaper.ROLL).label_mm
(18.8, 44.0)
"""

from __future__ import annotations

from math import ceil, pi
from pathlib import Path
from typing import Annotated

from pydantic import Field, model_validator

from midspan.base.config import ARRAY, Section, read_toml, validated
from midspan.base.errors import ConfigurationError
from midspan.base.label_shape import LabelPaper, LabelShape

Millimetres = Annotated[float, Field(gt=0, le=1000)]
Pair = Annotated[tuple[Millimetres, Millimetres], ARRAY]
Edge = Annotated[float, Field(ge=0, le=1000)]  # labels may begin at the very edge of their sheet
Number = Annotated[int, Field(ge=1, le=100)]
Tube = Annotated[float, Field(ge=3, le=12)]
ShapeChoice = Annotated[LabelShape, Field(strict=False)]

ROUNDING_MM = 1e-3  # sums of tenths of a millimetre are not exact
OVERLAP_MM = 3.0  # of a collar, stuck under its other end
PAGES_MM = {LabelPaper.A4: (210.0, 297.0), LabelPaper.LETTER: (215.9, 279.4)}
MARGIN_MM = 8.0  # that no office printer reaches
GAP_MM = 1.5  # between labels that are cut out
# Widths go around the tube or beyond it, heights along it. A code of 29 squares with three dots of 1/203 in each needs
# 11 mm; a code of rings for four digits 19 mm, for six 22 mm, and a spine with its range beside it 18 mm.
USUAL_MM = {
    LabelShape.FLAG: (68.0, 14.0), LabelShape.COLLAR: (0.0, 44.0),
    LabelShape.BOX: (45.0, 21.0), LabelShape.NUMBER: (0.0, 14.0),
}  # fmt: skip
LEAST_MM = {
    LabelShape.FLAG: (56.0, 11.0), LabelShape.COLLAR: (0.0, 38.0),
    LabelShape.BOX: (30.0, 12.0), LabelShape.NUMBER: (0.0, 7.0),
}  # fmt: skip


def around_mm(shape: LabelShape, tube_mm: float) -> float:
    """Return the part of a label's width that goes once around the tube, with the overlap of a collar.

    Parameters
    ----------
    shape : LabelShape
        Shape of the label.
    tube_mm : float
        Outside diameter of the tube, mm.

    Returns
    -------
    float
        Width, mm; 0 for a box label.
    """
    if shape is LabelShape.BOX:
        return 0.0
    return pi * tube_mm + (0.0 if shape is LabelShape.FLAG else OVERLAP_MM)


class Sheet(Section):
    """Paper with labels in rows and columns. The default suits plain A4 paper and a pair of scissors.

    Parameters
    ----------
    shape : LabelShape
        Shape of the labels.
    tube_mm : float or None
        Outside diameter of the shafts, mm; None for box labels.
    page_mm : tuple[float, float]
        Width and height of the paper, mm.
    label_mm : tuple[float, float]
        Width and height of a label, mm.
    columns : int
        Labels side by side.
    rows : int
        Labels one below another.
    first_mm : tuple[float, float]
        From the left and upper edge of the paper to that of the first label, mm.
    step_mm : tuple[float, float]
        From the left and upper edge of a label to that of the next, mm.
    outline : bool
        True for a thin line to cut along.
    """

    shape: ShapeChoice = LabelShape.BOX
    tube_mm: Tube | None = None
    page_mm: Pair = (210.0, 297.0)
    label_mm: Pair = (45.0, 21.0)
    columns: Number = 4
    rows: Number = 12
    first_mm: Annotated[tuple[Edge, Edge], ARRAY] = (9.0, 16.0)
    step_mm: Pair = (49.0, 22.3)
    outline: bool = True

    @model_validator(mode="after")
    def _fits(self) -> Sheet:
        """Refuse labels that are too small for their shape, overlap, or reach beyond the paper."""
        if self.shape is not LabelShape.BOX and self.tube_mm is None:
            raise ValueError(f"tube_mm is missing: a {self.shape} goes around the shaft; state its outside diameter")
        around = around_mm(self.shape, self.tube_mm or 0.0)
        least_mm = (LEAST_MM[self.shape][0] + around, LEAST_MM[self.shape][1])
        for what, i, number in (("wide", 0, self.columns), ("high", 1, self.rows)):
            if self.label_mm[i] < least_mm[i] - ROUNDING_MM:
                given, least = self.label_mm[i], ceil(10 * least_mm[i] - ROUNDING_MM) / 10
                raise ValueError(f"label_mm: labels are {given:g} mm {what}, they need at least {least:g} mm")
            if number > 1 and self.step_mm[i] < self.label_mm[i]:
                step, given = self.step_mm[i], self.label_mm[i]
                raise ValueError(f"step_mm: labels {given:g} mm {what} overlap at steps of {step:g} mm")
            end = self.first_mm[i] + (number - 1) * self.step_mm[i] + self.label_mm[i]
            if end > self.page_mm[i] + ROUNDING_MM:
                raise ValueError(
                    f"the labels end at {end:g} mm, but the paper is {self.page_mm[i]:g} mm {what}; use fewer labels"
                )
        return self

    @property
    def number(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    def place(self, index: int) -> tuple[int, int]:
        """Return column and row of a label on its sheet, both from 0; rows are filled one after another.

        Parameters
        ----------
        index : int
            Number of the label, from 0.

        Returns
        -------
        tuple[int, int]
            Column and row.

        Examples
        --------
        >>> Sheet().place(5)
        (1, 1)
        """
        row, column = divmod(index % self.number, self.columns)
        return column, row

    def corner_mm(self, index: int) -> tuple[float, float]:
        """Return the left upper corner of a label on its sheet, from the paper's left and lower edge.

        Parameters
        ----------
        index : int
            Number of the label, from 0.

        Returns
        -------
        tuple[float, float]
            Distances from the left and the lower edge, mm.
        """
        column, row = self.place(index)
        left_mm = self.first_mm[0] + column * self.step_mm[0]
        return left_mm, self.page_mm[1] - self.first_mm[1] - row * self.step_mm[1]


def usual_sheet(shape: LabelShape, tube_mm: float | None, paper: LabelPaper) -> Sheet:
    """Return as many labels of the usual size as a paper takes; on a roll one a page.

    Parameters
    ----------
    shape : LabelShape
        Shape of the labels.
    tube_mm : float or None
        Outside diameter of the shafts, mm; None for box labels.
    paper : LabelPaper
        The paper.

    Returns
    -------
    Sheet
        The sheet.

    Raises
    ------
    ConfigurationError
        The shape goes around a tube whose diameter is not given or out of range.

    Examples
    --------
    >>> usual_sheet(LabelShape.BOX, None, LabelPaper.A4) == Sheet()
    True
    """
    if shape is LabelShape.BOX and paper is LabelPaper.A4:
        return Sheet()
    if shape is not LabelShape.BOX and not (tube_mm and 3 <= tube_mm <= 12):
        raise ConfigurationError(
            f"a {shape} goes around the shaft: state its outside diameter, 3 to 12 mm, with --tube", code="no_tube"
        )
    wide_mm = ceil(10 * (USUAL_MM[shape][0] + around_mm(shape, tube_mm or 0.0))) / 10
    label_mm = (wide_mm, USUAL_MM[shape][1])
    if paper is LabelPaper.ROLL:
        return Sheet(
            shape=shape, tube_mm=tube_mm, page_mm=label_mm, label_mm=label_mm, columns=1, rows=1,
            first_mm=(0.0, 0.0), step_mm=label_mm, outline=False,
        )  # fmt: skip
    page_mm = PAGES_MM[paper]
    columns, rows = (
        int((page - 2 * MARGIN_MM + GAP_MM) // (size + GAP_MM)) for page, size in zip(page_mm, label_mm, strict=True)
    )
    return Sheet(
        shape=shape, tube_mm=tube_mm, page_mm=page_mm, label_mm=label_mm, columns=columns, rows=rows,
        first_mm=(MARGIN_MM, MARGIN_MM), step_mm=(label_mm[0] + GAP_MM, label_mm[1] + GAP_MM),
    )  # fmt: skip


def load_sheet(path: Path, shape: LabelShape | None = None, tube_mm: float | None = None) -> Sheet:
    """Read a sheet from a TOML file.

    Parameters
    ----------
    path : Path
        The file.
    shape : LabelShape or None
        Shape in place of the file's, None for the file's.
    tube_mm : float or None
        Outside diameter of the shafts in place of the file's, mm; None for the file's.

    Returns
    -------
    Sheet
        The sheet.

    Raises
    ------
    ConfigurationError
        The file cannot be read, or its labels do not fit on the paper.
    """
    given = {"shape": shape and shape.value, "tube_mm": tube_mm}
    return validated(Sheet, read_toml(path) | {name: value for name, value in given.items() if value is not None}, path)
