"""What a person can say of a shaft or of a set.

Each is a record of its own; the newest of a kind counts, notes all stay.

>>> DetailKind("length_mm"), SetDetailKind("shipped")
(<DetailKind.LENGTH_MM: 'length_mm'>, <SetDetailKind.SHIPPED: 'shipped'>)
"""

from enum import StrEnum


class DetailKind(StrEnum):
    """Kind of what is said of a shaft."""

    LABEL = "label"
    NOTE = "note"
    CUSTOMER = "customer"
    ORDER = "order"
    SIZE = "size"  # nominal size, as the maker or seller names it
    LENGTH_MM = "length_mm"


class SetDetailKind(StrEnum):
    """Kind of what is said of a set."""

    NAME = "name"
    CUSTOMER = "customer"
    ORDER = "order"
    SHIPPED = "shipped"  # date, ISO 8601; null when taken back
    NOTE = "note"
