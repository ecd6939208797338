"""What a check found wrong."""

from __future__ import annotations

from dataclasses import dataclass

from model.piece import Piece


@dataclass(frozen=True)
class Finding:
    """Something wrong with one piece or between two.

    `code` names the fault. `amount` is its size in the unit of the fault (mm3, mm, degrees or a share), `at` its place
    in mm, `pose` the motion and value at which it is worst; an empty pose is the machine at home.
    """

    code: str
    pieces: tuple[str, ...]
    amount: float
    at: tuple[float, float, float]
    pose: str = ""

    def __str__(self) -> str:
        place = ", ".join(f"{v:.1f}" for v in self.at)
        return f"{self.code}: {' / '.join(self.pieces)}: {self.amount:.2f} at ({place}) {self.pose}".rstrip()


def label(piece: Piece) -> str:
    """Return what a piece is called in a finding."""
    part = piece.part
    return f"{part.number} {part.designation if part.number.startswith('N') else part.name} [{piece.step}]"
