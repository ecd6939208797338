"""What is printed on the label of a shaft, and where the labels lie on their sheet.

    page_mm = [210.0, 297.0]      # width and height of the paper
    label_mm = [45.0, 21.0]
    columns = 4
    rows = 12
    first_mm = [9.0, 16.0]        # from the paper's left and upper edge to the first label's
    step_mm = [49.0, 22.3]        # from one label's left and upper edge to the next one's
    outline = true                # a thin line to cut along; false for labels that are cut already

>>> Sheet().place(5)
(1, 1)
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, model_validator

from midspan.configuration import ARRAY, Section, read_toml, validated
from midspan.set_card import lasting_side_deg
from midspan.stock import StockShaft
from midspan.wording import angle, code_of, with_uncertainty

Millimetres = Annotated[float, Field(gt=0, le=1000)]
Pair = Annotated[tuple[Millimetres, Millimetres], ARRAY]
Edge = Annotated[float, Field(ge=0, le=1000)]  # labels may begin at the very edge of their sheet
Number = Annotated[int, Field(ge=1, le=100)]
LEAST_MM = (30.0, 12.0)  # smaller has no room for a code that a telephone reads, and three lines beside it

ROUNDING_MM = 1e-3  # sums of tenths of a millimetre are not exact


class Sheet(Section):
    """Paper with labels in rows and columns; lengths in mm. The default suits plain A4 paper and a pair of scissors."""

    page_mm: Pair = (210.0, 297.0)
    label_mm: Pair = (45.0, 21.0)
    columns: Number = 4
    rows: Number = 12
    first_mm: Annotated[tuple[Edge, Edge], ARRAY] = (9.0, 16.0)
    step_mm: Pair = (49.0, 22.3)
    outline: bool = True

    @model_validator(mode="after")
    def _fits(self) -> Sheet:
        for what, i, number in (("wide", 0, self.columns), ("high", 1, self.rows)):
            if self.label_mm[i] < LEAST_MM[i]:
                raise ValueError(f"label_mm: a label needs to be {LEAST_MM[i]:g} mm {what}, not {self.label_mm[i]:g}")
            if number > 1 and self.step_mm[i] < self.label_mm[i]:
                raise ValueError(f"step_mm: labels {self.label_mm[i]:g} mm {what} overlap {self.step_mm[i]:g} mm apart")
            end = self.first_mm[i] + (number - 1) * self.step_mm[i] + self.label_mm[i]
            if end > self.page_mm[i] + ROUNDING_MM:
                raise ValueError(
                    f"the labels end at {end:g} mm, the paper is {self.page_mm[i]:g} mm {what}; ask for less"
                )
        return self

    @property
    def number(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    def place(self, index: int) -> tuple[int, int]:
        """Column and row of a label on its sheet, both from 0; a row is filled before the next begins."""
        row, column = divmod(index % self.number, self.columns)
        return column, row


def load_sheet(path: Path | None) -> Sheet:
    """The sheet of a TOML file, the default without one; ConfigurationError when labels do not fit on the paper."""
    return Sheet() if path is None else validated(Sheet, read_toml(path), path)


@dataclass(frozen=True, slots=True)
class ShaftLabel:
    """What stands on one label, in lines, the first one large."""

    code: str
    lines: tuple[str, ...]


def label_of(one: StockShaft, result: dict[str, Any], k: float, last: str | None) -> ShaftLabel:
    """The label of a shaft with its newest result; `k` is the coverage factor of what follows the ±.

    `last` stands in the last line: the set that it is in, or what speaks against it; without it its bin.
    """
    around = "" if one.spread_thou is None else f"around {one.spread_thou:.2f}"
    stiff = lasting_side_deg(result)
    side = "" if stiff is None else f"stiff {angle(stiff)}"
    lines = (
        one.name,
        f"{with_uncertainty(one.spine_thou, k * one.u_spine_thou, 2)} thou",
        ", ".join(part for part in (around, side) if part),
        last or one.bin or "",
    )
    return ShaftLabel(code_of(one.shaft), tuple(line for line in lines if line))
