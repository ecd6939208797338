"""Shapes of labels for a tube of 5 to 9 mm, and the paper they are printed on."""

from enum import StrEnum


class LabelShape(StrEnum):
    """How a label is stuck to a shaft or beside it."""

    FLAG = "flag"
    """Wrapped around the tube and stuck to itself: a flat flag with code and text on both sides."""
    COLLAR = "collar"
    """Once around the tube: text from every side, and a code of rings that is read along the tube."""
    BOX = "box"
    """Flat, for a box or a place in a rack: code and text."""
    NUMBER = "number"
    """A narrow collar with the number alone, for a shaft whose code is on its box."""


class LabelPaper(StrEnum):
    """Paper that labels are printed on."""

    A4 = "a4"
    LETTER = "letter"
    ROLL = "roll"
    """One label a page, and the page as large as the label."""
