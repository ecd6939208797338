"""Look whether every screw holds: thread around its shank, material under its head, a screw in every nut.

Threads are modelled at their nominal diameter and clearance holes by ISO 273, so a thin ring around a screw's shank
lies in the material that it is screwed into, and in nothing where it only passes. That a screw has its hole at all is
seen by the overlaps.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold

from model.checks.finding import Finding, label
from model.checks.meshes import boxes_meet, boxes_of, matrix, mesh_of
from model.holes import clearance
from model.piece import Piece
from model.standard.fasteners import COUNTERSUNK_HEAD, LOCK_NUT, NUT, SLOT_NUT, SOCKET_HEAD, WASHER, WOOD_HEAD

RING_MM = 0.1
SIDES = 96
REACH_METAL, REACH_SOFT = 0.8, 1.5  # least length in thread, in diameters: common practice, no source
SOFT = {"PETG", "plywood", "acetal", "polycarbonate"}
HEAD_RESTS = 0.4  # least share of a head's face on material: a slot under it takes half
NUT_RESTS = 0.25
WASHER_RESTS = 0.25
FOOT_SEAT_MM = 25.0  # diameter around a foot's stud that must rest
_SCREW = re.compile(
    r"(ISO 4762 M|ISO 10642 M|ISO 4026 M|chipboard screw, countersunk |rubber foot 40x20, stud M)"
    r"([\d.]+)x([\d.]+)"
)
_NUT = re.compile(r"(ISO 4032 M|ISO 10511 M|slot nut 8, M|slot nut 6, M)([\d.]+)")
_WASHER = re.compile(r"ISO 7089 M([\d.]+)")


@dataclass(frozen=True)
class Screw:
    """A screw's kind, diameter and length, mm."""

    kind: str
    d: float
    length: float

    @property
    def shank(self) -> tuple[float, float]:
        """Heights between which its thread lies; a foot's stud points up."""
        return (0.0, self.length) if "foot" in self.kind else (-self.length, -self.sunk)

    @property
    def sunk(self) -> float:
        """Depth of a head that lies below the origin, mm; 0 for other heads."""
        return (self.cone - self.d) / 2 if self.cone else 0.0

    @property
    def cone(self) -> float:
        """Diameter of a countersunk head, mm; 0 for other heads."""
        if self.kind.startswith("chipboard"):
            return WOOD_HEAD[self.d]
        return COUNTERSUNK_HEAD[self.d][0] if "10642" in self.kind else 0.0


def screw_of(piece: Piece) -> Screw | None:
    """Return a piece's measures as a screw; None if it is something else."""
    match = _SCREW.match(piece.part.designation)
    return Screw(match[1], float(match[2]), float(match[3])) if match else None


def _ring(outer: float, inner: float, low: float, high: float) -> Manifold:
    """Return a ring about z by its diameters and heights; an inner diameter of 0 makes it a disc."""
    grow = 1 / np.cos(np.pi / SIDES)  # a polygon around the circle, not in it
    body = Manifold.cylinder(high - low, outer / 2, outer / 2, SIDES)
    if inner:
        body -= Manifold.cylinder(high - low, inner / 2 * grow, inner / 2 * grow, SIDES)
    return body.translate((0, 0, low))


class _Around:
    """The pieces around each fastener, and how much of a probe lies in them."""

    def __init__(self, pieces: Iterable[Piece]) -> None:
        self.pieces = tuple(pieces)
        self.places = [matrix(piece.where) for piece in self.pieces]
        boxes = boxes_of(self.pieces)
        self.near = boxes_meet(boxes, boxes, margin=0.2)
        self._placed: dict[int, Manifold] = {}

    def mesh(self, i: int) -> Manifold:
        """Return the mesh of a piece in its place."""
        if i not in self._placed:
            self._placed[i] = mesh_of(self.pieces[i].part.shape).transform(self.places[i])
        return self._placed[i]

    def filled(self, i: int, probe: Manifold, screws: bool | None = None) -> dict[int, float]:
        """Return how much of a probe in the frame of piece `i` lies in each other piece, mm3.

        `screws` leaves in only screws, or all but screws; None leaves in both.
        """
        probe = probe.transform(self.places[i])
        volumes = {}
        for j in np.flatnonzero(self.near[i]):
            if j == i or (screws is not None and (screw_of(self.pieces[j]) is not None) is not screws):
                continue
            both = probe ^ self.mesh(int(j))
            if not both.is_empty():
                volumes[int(j)] = float(both.volume())
        return volumes

    def share(self, i: int, probe: Manifold, screws: bool | None = None) -> float:
        """Return the share of a probe in the frame of piece `i` that lies in other pieces."""
        return sum(self.filled(i, probe, screws).values()) / float(probe.volume())

    def finding(self, code: str, i: int, amount: float, z: float = 0.0) -> Finding:
        """Return a finding with a piece at a height of its own axis."""
        place = self.places[i] @ np.array([0, 0, z, 1])
        x, y, z = (float(v) for v in place)
        return Finding(code, (label(self.pieces[i]),), amount, (x, y, z))


def screw_findings(pieces: Iterable[Piece]) -> list[Finding]:
    """Return the screws that do not reach, the heads, nuts and washers that do not rest, the nuts without a screw."""
    around = _Around(pieces)
    found = []
    for i, piece in enumerate(around.pieces):
        screw = screw_of(piece)
        if screw:
            found += _screw_holds(around, i, screw)
        elif match := _NUT.match(piece.part.designation):
            found += _nut_holds(around, i, match[1], float(match[2]))
        elif match := _WASHER.match(piece.part.designation):
            found += _washer_lies(around, i, float(match[1]))
    return found


def _screw_holds(around: _Around, i: int, screw: Screw) -> list[Finding]:
    """Return what is wrong with a screw: "reach" with its length in thread in diameters, "head" with what rests."""
    found = []
    low, high = screw.shank
    ring = _ring(screw.d + 2 * RING_MM, screw.d, low, high)
    volumes = around.filled(i, ring, screws=False)
    per_mm = float(ring.volume()) / (high - low)
    turns = sum(v / (REACH_SOFT if _soft(around, j) else REACH_METAL) for j, v in volumes.items()) / per_mm / screw.d
    if turns < 0.98:
        found.append(around.finding("reach", i, sum(volumes.values()) / per_mm / screw.d, -screw.length))
    rests = _head_rests(around, i, screw)
    if rests < HEAD_RESTS:
        found.append(around.finding("head", i, rests))
    return found


def _soft(around: _Around, i: int) -> bool:
    """Return True for a piece of plastic or wood, in which a thread strips sooner."""
    return around.pieces[i].part.material in SOFT


def _head_rests(around: _Around, i: int, screw: Screw) -> float:
    """Return the share of a head's seat that lies on material; 1 for a screw without a head."""
    if "4026" in screw.kind:
        return 1.0
    if "foot" in screw.kind:
        return around.share(i, _ring(FOOT_SEAT_MM, clearance(screw.d), 0, RING_MM), screws=False)
    if screw.sunk:
        seat = Manifold.cylinder(screw.sunk, screw.d / 2, screw.cone / 2, SIDES).translate((0, 0, -screw.sunk))
        shell = seat.translate((0, 0, -RING_MM)) - seat - _ring(_hole(screw.d), 0, -screw.length, 0)
        return around.share(i, shell, screws=False)
    head = SOCKET_HEAD[screw.d][0]
    return around.share(i, _ring(head, _hole(screw.d), -RING_MM, 0), screws=False)


def _hole(d: float) -> float:
    """Return the diameter of a screw's clearance hole, mm, a chipboard screw's too."""
    return clearance(d) if d != 3.5 else 4.0


def _nut_holds(around: _Around, i: int, kind: str, d: float) -> list[Finding]:
    """Return what is wrong with a nut: "nut" with the share of its face that rests, "empty nut" with what is filled."""
    found = []
    if kind.startswith("slot"):
        corners, length = SLOT_NUT[int(kind[9])]
        wide = corners[-1][0]
        face = Manifold.cube((length, 2 * wide, RING_MM)).translate((-length / 2, -wide, 0))
        height, rests = -corners[2][1], around.share(i, face, screws=False)
        bore = _ring(d, 0, -min(height, REACH_METAL * d), 0)
    else:
        flats, height = (NUT if "4032" in kind else LOCK_NUT)[d]
        faces = (_ring(flats, clearance(d), low, low + RING_MM) for low in (-RING_MM, height))
        rests, bore = max(around.share(i, face, screws=False) for face in faces), _ring(d, 0.8 * d, 0, height)
    if rests < NUT_RESTS:
        found.append(around.finding("nut", i, rests))
    filled = around.share(i, bore, screws=True)
    if filled < 0.95:
        found.append(around.finding("empty nut", i, filled))
    return found


def _washer_lies(around: _Around, i: int, d: float) -> list[Finding]:
    """Return a "washer" with the share of its worse face that touches something, where that is too little."""
    _, outer, thickness = WASHER[d]
    faces = (_ring(outer * 0.7, clearance(d), low, low + RING_MM) for low in (-RING_MM, thickness))
    touches = min(around.share(i, face) for face in faces)
    return [around.finding("washer", i, touches)] if touches < WASHER_RESTS else []
