"""Look for pieces that overlap, with the machine at home, over every motion and with any two motions at their ends."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations

import numpy as np
from build123d import Location
from manifold3d import Manifold
from numpy.typing import NDArray

from model.checks.finding import Finding, label
from model.checks.meshes import Array, boxes_meet, matrix, mesh_of, outer_box, own_box
from model.checks.revolved import axis_of
from model.motion import Motion
from model.piece import Piece

VOLUME_MM3 = 0.5  # an overlap smaller than that is left out: meshes are only nearly round
DEPTH_MM = 0.05  # as is one thinner than that: the mesh of a shaft in the mesh of its bore

STILL = np.eye(3, 4)

Place = tuple[float, float, float]


def overlaps(
    pieces: Iterable[Piece], motions: Iterable[Motion] = (), never_together: Iterable[frozenset[str]] = ()
) -> list[Finding]:
    """Return the worst overlap of each two pieces at home, over each motion and over each two motions.

    `never_together` has the names of each two motions that something keeps from happening together.
    """
    search, motions, apart = _Search(pieces), tuple(motions), set(never_together)
    search.at_home()
    for motion in motions:
        search.over(motion)
    for first, second in combinations(motions, 2):
        if frozenset((first.name, second.name)) not in apart:
            search.over_both(first, second)
    return list(search.found.values())


def shared(first: Manifold, second: Manifold) -> tuple[float, Place] | None:
    """Return volume and middle of what two meshes share, in mm3 and mm; None if it is too little to be an overlap."""
    both = first ^ second
    if both.is_empty() or both.volume() < VOLUME_MM3:
        return None
    deep = [c for c in both.decompose() if c.volume() >= VOLUME_MM3 and 2 * c.volume() > DEPTH_MM * c.surface_area()]
    if not deep:
        return None
    largest = max(deep, key=lambda component: float(component.volume()))
    x, y, z = (float(v) for v in np.array(largest.bounding_box()).reshape(2, 3).mean(axis=0))
    return sum(float(c.volume()) for c in deep), (x, y, z)


class _Moved:
    """Where groups of pieces have gone, and the pose by which a finding tells it."""

    def __init__(self, carry: Mapping[str, Location], pose: str = "") -> None:
        self.moves = {group: matrix(where) for group, where in carry.items()}
        self.pose = pose
        self._between: dict[tuple[str, str], Array] = {}

    def between(self, first: str, second: str) -> Array:
        """Return where the second group has moved as seen from the first, shape (3, 4)."""
        if (first, second) not in self._between:
            mine, other = self.moves.get(first, STILL), self.moves.get(second, STILL)
            back = mine[:, :3].T
            self._between[first, second] = np.column_stack([back @ other[:, :3], back @ (other[:, 3] - mine[:, 3])])
        return self._between[first, second]


class _Search:
    """The pieces with their boxes and meshes at home, and the worst overlap of each two, by their numbers."""

    def __init__(self, pieces: Iterable[Piece]) -> None:
        self.pieces = tuple(pieces)
        self.home = [matrix(piece.where) for piece in self.pieces]
        self.corners = [own_box(piece.part.shape) for piece in self.pieces]
        self.boxes = np.array([outer_box(c, m) for c, m in zip(self.corners, self.home, strict=True)]).reshape(-1, 6)
        self.meshes = [mesh_of(p.part.shape).transform(m) for p, m in zip(self.pieces, self.home, strict=True)]
        self.axes = [_axis_at_home(p, m) for p, m in zip(self.pieces, self.home, strict=True)]
        self.found: dict[tuple[int, int], Finding] = {}
        self.reach: dict[str, tuple[NDArray[np.int64], Array]] = {}
        self.seen: set[tuple[int, int, bytes]] = set()

    def at_home(self) -> None:
        """Look at every two pieces with the machine at home."""
        home = _Moved({})
        for i, j in np.argwhere(np.triu(boxes_meet(self.boxes, self.boxes), 1)):
            self._look(i, j, (self.meshes[i], self.meshes[j]), home)

    def over(self, motion: Motion) -> None:
        """Look at every two pieces of which a motion moves one against the other."""
        moving = self._of(motion.carry(motion.low))
        still = np.setdiff1d(np.arange(len(self.pieces)), moving)
        for value in motion.values():
            moved = _Moved(motion.carry(value), f"{motion.name} {value:g}")
            boxes, meshes = self._carried(moving, moved)
            for i, j in np.argwhere(boxes_meet(boxes, self.boxes[still])):
                self._look(moving[i], still[j], (meshes[i], self.meshes[still[j]]), moved)
            for i, j in np.argwhere(np.triu(boxes_meet(boxes, boxes), 1)):
                self._look(moving[i], moving[j], (meshes[i], meshes[j]), moved)

    def over_both(self, first: Motion, second: Motion) -> None:
        """Look at the pieces that one motion moves against those of another, one of the two motions at an end.

        Groups that both motions carry are left out.
        """
        groups, others = set(first.carry(first.low)), set(second.carry(second.low))
        (mine, my_reach), (theirs, their_reach) = self._reach(first), self._reach(second)
        near = boxes_meet(my_reach, their_reach)
        near &= np.array([self.pieces[i].moves not in others for i in mine], dtype=bool)[:, None]
        near &= np.array([self.pieces[j].moves not in groups for j in theirs], dtype=bool)[None, :]
        mine, theirs = mine[near.any(axis=1)], theirs[near.any(axis=0)]
        for value, other in _ends(first, second) if len(mine) else ():
            pose = f"{first.name} {value:g}, {second.name} {other:g}"
            moved = _Moved({**first.carry(value), **second.carry(other)}, pose)
            boxes, meshes = self._carried(mine, moved)
            other_boxes, other_meshes = self._carried(theirs, moved)
            for i, j in np.argwhere(boxes_meet(boxes, other_boxes)):
                self._look(mine[i], theirs[j], (meshes[i], other_meshes[j]), moved)

    def _look(self, i: int, j: int, meshes: tuple[Manifold, Manifold], moved: _Moved) -> None:
        """Keep what two pieces share if it is more than they shared before.

        A fit that is meant is passed over, as are two pieces that have stood to each other like this before.
        """
        i, j = min(i, j), max(i, j)
        first, second = self.pieces[i], self.pieces[j]
        stand = (i, j, self._stand(i, j, moved))
        if stand in self.seen or first.part.number in second.fits or second.part.number in first.fits:
            return
        self.seen.add(stand)
        both = shared(*meshes)
        if both and ((i, j) not in self.found or self.found[i, j].amount < both[0]):
            self.found[i, j] = Finding("overlap", (label(first), label(second)), both[0], both[1], moved.pose)

    def _stand(self, i: int, j: int, moved: _Moved) -> bytes:
        """Return how two pieces stand to each other, rounded, as a key that a turn about a body's own axis leaves."""
        for mine, other in ((i, j), (j, i)):
            seen = moved.between(self.pieces[mine].moves, self.pieces[other].moves)
            axis = self.axes[other]
            if axis is not None:
                seen = np.column_stack([seen[:, :3] @ axis[:, 0] + seen[:, 3], seen[:, :3] @ axis[:, 1]])
                break
        return (np.round(seen, 5) + 0.0).tobytes()

    def _of(self, groups: Iterable[str]) -> NDArray[np.int64]:
        """Return the numbers of the pieces that move with any of the groups."""
        names = set(groups)
        return np.array([i for i, piece in enumerate(self.pieces) if piece.moves in names], dtype=np.int64)

    def _carried(self, numbers: NDArray[np.int64], moved: _Moved) -> tuple[Array, list[Manifold]]:
        """Return the boxes, shape (pieces, 6), and the meshes of pieces that have moved."""
        boxes, meshes = [], []
        for i in numbers:
            boxes.append(outer_box(self.corners[i], self._place(i, moved)))
            meshes.append(self.meshes[i].transform(moved.moves[self.pieces[i].moves]))
        return np.array(boxes).reshape(-1, 6), meshes

    def _place(self, i: int, moved: _Moved) -> Array:
        """Return where a piece has been moved to, shape (3, 4)."""
        move = moved.moves[self.pieces[i].moves]
        place = move[:, :3] @ self.home[i]
        place[:, 3] += move[:, 3]
        return place

    def _reach(self, motion: Motion) -> tuple[NDArray[np.int64], Array]:
        """Return the pieces that a motion moves and the box of all places that each passes, shape (pieces, 6)."""
        if motion.name not in self.reach:
            numbers = self._of(motion.carry(motion.low))
            low, high = np.full((len(numbers), 3), np.inf), np.full((len(numbers), 3), -np.inf)
            for value in motion.values():
                moved = _Moved(motion.carry(value))
                boxes = np.array([outer_box(self.corners[i], self._place(i, moved)) for i in numbers]).reshape(-1, 6)
                low, high = np.minimum(low, boxes[:, :3]), np.maximum(high, boxes[:, 3:])
            self.reach[motion.name] = numbers, np.concatenate([low, high], axis=1)
        return self.reach[motion.name]


def _axis_at_home(piece: Piece, home: Array) -> Array | None:
    """Return a point on the axis of a body of revolution and its direction, shape (3, 2); None for other bodies."""
    axis = axis_of(piece.part.shape)
    return None if axis is None else np.column_stack([home[:, :3] @ axis[:, 0] + home[:, 3], home[:, :3] @ axis[:, 1]])


def _ends(first: Motion, second: Motion) -> Iterator[tuple[float, float]]:
    """Yield pairs of values of two motions of which at least one is at an end."""
    for end in (second.low, second.high):
        for value in first.values():
            yield value, end
    for end in (first.low, first.high):
        for value in second.values():
            yield end, value
