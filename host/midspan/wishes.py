"""Wishes for a night that come from another program: `midspan page` writes them, `midspan sort` looks for them.

They stand in a table that only grows, like all others. A wish is for whoever sorts when it is made: a night that goes
on later was told to go on by somebody who knew of it.
"""

from __future__ import annotations

from sqlalchemy import ForeignKey, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from midspan.tables import Table


class WishRow(Table):
    """Somebody wished that a night ends after the shaft in hand; `at_ms` is UTC in milliseconds since 1970."""

    __tablename__ = "wishes"
    id: Mapped[int] = mapped_column(primary_key=True)
    night_id: Mapped[int] = mapped_column(ForeignKey("nights.id"), index=True)
    at_ms: Mapped[int]


def wish_for_an_end(session: Session, night: int, at_ms: int) -> None:
    """Ask the night to end after the shaft in hand."""
    session.add(WishRow(night_id=night, at_ms=at_ms))


def newest_wish(session: Session, night: int) -> int:
    """The number of a night's newest wish, 0 when there is none."""
    return session.scalar(select(func.max(WishRow.id)).where(WishRow.night_id == night)) or 0


def wished_ms(session: Session, night: int) -> int | None:
    """When a night was last asked to end."""
    return session.scalar(select(func.max(WishRow.at_ms)).where(WishRow.night_id == night))
