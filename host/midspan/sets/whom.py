"""For whom shafts or sets are: a customer, an order, or both.

>>> tom = Whom("Tom Reed")
>>> tom.may_have(tom), Whom("tom reed", "14").may_have(tom), Whom("Ann Bow").may_have(tom), Whom().may_have(tom)
(True, True, False, False)
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Whom:
    """Customer and order that shafts or a set are for.

    Parameters
    ----------
    customer : str | None
        The customer, None where nobody said.
    order : str | None
        The order, None where nobody said.
    """

    customer: str | None = None
    order: str | None = None

    @property
    def words(self) -> str:
        """Both, as in "for Ann, order 2026-14"; empty if neither is known."""
        parts = (("for", self.customer), ("order", self.order))
        return ", ".join(f"{word} {value}" for word, value in parts if value is not None)

    def may_have(self, told: Whom) -> bool:
        """Return True if a shaft may be given to this customer and order.

        Parameters
        ----------
        told : Whom
            What was said of the shaft.

        Returns
        -------
        bool
            False if the shaft is for another customer, or for another order.

        Examples
        --------
        >>> Whom("Ann", "14").may_have(Whom("Ann", "15")), Whom("Ann").may_have(Whom("Ann", "15"))
        (False, True)
        """
        if told.customer is None:
            return told.order is None or _same(told.order, self.order)
        return _same(told.customer, self.customer) and (
            None in (told.order, self.order) or _same(told.order, self.order)
        )


def _same(first: str | None, second: str | None) -> bool:
    """Return True if both are one name, whatever the case."""
    return first is not None and second is not None and first.casefold() == second.casefold()
