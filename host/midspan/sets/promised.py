"""Shafts that people said are for a customer or an order: they are nobody else's stock, and in nobody else's set."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from midspan.sets.stock import Stock
from midspan.sets.whom import Whom
from midspan.store.database import Store
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import Detail, current, details_of
from midspan.store.identity import known_identities
from midspan.store.records import Records


def promised_to_others(store: Store, numbers: Collection[int], whom: Whom) -> dict[int, Whom]:
    """Return the shafts that are for other people than these.

    Parameters
    ----------
    store : Store
        Open database.
    numbers : Collection[int]
        Numbers of the shafts.
    whom : Whom
        The people.

    Returns
    -------
    dict[int, Whom]
        For whom each of those shafts is, by its number.
    """
    with Records.of(store) as records:
        same = known_identities(records)
    said: dict[int, list[Detail]] = {}
    for detail in details_of(store, None):
        said.setdefault(same.key(detail.shaft), []).append(detail)
    found = {}
    for number in numbers:
        counts = current(said.get(same.key(number), ()))
        told = Whom(counts.get(DetailKind.CUSTOMER), counts.get(DetailKind.ORDER))
        if not whom.may_have(told):
            found[number] = told
    return found


def stock_for(store: Store, stock: Stock, whom: Whom) -> Stock:
    """Return a stock without the shafts that are for others.

    Parameters
    ----------
    store : Store
        Open database.
    stock : Stock
        The stock.
    whom : Whom
        For whom shafts are taken from it.

    Returns
    -------
    Stock
        The stock; the others are left out with the reason, as in "promised (for Tom Reed)".
    """
    others = promised_to_others(store, [shaft.shaft for shaft in stock.shafts], whom)
    left_out = dict(stock.left_out)
    for number, told in others.items():
        reason = f"promised ({told.words})"
        left_out[reason] = (*left_out.get(reason, ()), number)
    return replace(stock, shafts=tuple(shaft for shaft in stock.shafts if shaft.shaft not in others), left_out=left_out)
