"""Tables of the store for matched sets: who is in which set, what was weighed, what is spent. They only ever grow.

A set that was taken apart and a shaft that was lost leave a row that says so. Which set a shaft is in is watched by the
database itself: a trigger refuses a shaft that has joined a set and not left it, whatever program tries.
"""

from __future__ import annotations

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from midspan.kept_values import Content
from midspan.tables import Table


class WeightRow(Table):
    """A shaft was weighed; the newest row holds. `u_weight_g` is the standard uncertainty of the scale's last digit."""

    __tablename__ = "weights"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    weight_g: Mapped[float]
    u_weight_g: Mapped[float]


class MarkRow(Table):
    """A person took a shaft out of the stock, or gave it back (`spent` false); the newest row holds."""

    __tablename__ = "marks"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    spent: Mapped[bool]
    words: Mapped[str]


class IdentityRow(Table):
    """A person said whether two numbers are of one shaft; `same` is null where that was taken back.

    The newest row about a pair holds (identity).
    """

    __tablename__ = "identities"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    other: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    same: Mapped[bool | None]
    person: Mapped[str]
    words: Mapped[str]


class SetRow(Table):
    """A matched set; `limits` is what was asked of it as JSON, `like_id` the set that it was made to match."""

    __tablename__ = "sets"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    made_ms: Mapped[int]
    limits: Mapped[Content]
    like_id: Mapped[int | None] = mapped_column(ForeignKey("sets.id"))


class MemberRow(Table):
    """A shaft joined a set; `result_id` is the result by which it was chosen."""

    __tablename__ = "members"
    id: Mapped[int] = mapped_column(primary_key=True)
    set_id: Mapped[int] = mapped_column(ForeignKey("sets.id"), index=True)
    shaft: Mapped[int] = mapped_column(index=True)
    joined_ms: Mapped[int]
    result_id: Mapped[int] = mapped_column(ForeignKey("results.id"))


class LeavingRow(Table):
    """A member left its set, and why."""

    __tablename__ = "leavings"
    member_id: Mapped[int] = mapped_column(ForeignKey("members.id"), primary_key=True)
    at_ms: Mapped[int]
    words: Mapped[str]
