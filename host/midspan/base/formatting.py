"""Numbers and names as text: every table and figure writes a value with its uncertainty in the same way.

The expanded uncertainty has two significant digits and the value has the same number of places (JCGM 100:2008, 7.2.6).

>>> with_uncertainty(498.6281, 0.4571)
'498.63 ± 0.46'
>>> with_uncertainty(6.0, 12.0)
'6 ± 12'
"""

import math
from collections.abc import Iterable, Sequence

from midspan.base.plain_text import printable as printable  # part of how things are worded

CODE = "MIDSPAN SHAFT "


def places_for(expanded: float) -> int:
    """Return how many decimal places show an expanded uncertainty to two significant digits.

    Parameters
    ----------
    expanded : float
        Expanded uncertainty, in any unit.

    Returns
    -------
    int
        Decimal places, 0 or more; 3 if the uncertainty is not a finite number above 0.

    References
    ----------
    JCGM 100:2008, 7.2.6.

    Examples
    --------
    >>> places_for(0.46), places_for(12.0), places_for(0.0098)
    (2, 0, 4)
    """
    if not math.isfinite(expanded) or expanded <= 0:
        return 3
    return max(0, 1 - math.floor(math.log10(float(f"{expanded:.1e}"))))


def with_uncertainty(value: float, expanded: float, most_places: int = 6) -> str:
    """Return a value and its expanded uncertainty as text, both with the same number of decimal places.

    Parameters
    ----------
    value : float
        The value, in any unit.
    expanded : float
        Its expanded uncertainty, in the same unit.
    most_places : int
        Largest number of decimal places; the uncertainty is rounded up if it needs more.

    Returns
    -------
    str
        Value, plus-minus sign and uncertainty.

    References
    ----------
    JCGM 100:2008, 7.2.6.

    Examples
    --------
    >>> with_uncertainty(2.8173, 0.0117, most_places=2)
    '2.82 ± 0.02'
    >>> with_uncertainty(-0.0001, math.inf, most_places=2)
    '0.00 ± inf'
    """
    wanted = places_for(expanded)
    places = min(wanted, most_places)
    if wanted > places and math.isfinite(expanded):
        expanded = math.ceil(expanded * 10**places - 1e-6) / 10**places
    return f"{value:z.{places}f} ± {expanded:.{places}f}"


def angle(degrees: float | None) -> str:
    """Return a stiff side as its two opposite angles.

    Parameters
    ----------
    degrees : float or None
        Angle of the stiff side from the index mark, degrees; None if it is not known.

    Returns
    -------
    str
        Two whole angles half a turn apart, or a dash for None and for a number that is not finite.

    Examples
    --------
    >>> angle(34.2), angle(179.8), angle(None)
    ('34 / 214', '0 / 180', '-')
    """
    if degrees is None or not math.isfinite(degrees):
        return "-"
    whole = round(degrees) % 180
    return f"{whole} / {whole + 180}"


def signed(value: float | None, places: int = 3) -> str:
    """Return a change with its sign.

    Parameters
    ----------
    value : float or None
        The change, in any unit; None if it is unknown.
    places : int
        Decimal places.

    Returns
    -------
    str
        The number with a plus or a minus sign, or a dash for None.

    Examples
    --------
    >>> signed(0.12345), signed(-2.0, 1), signed(None)
    ('+0.123', '-2.0', '-')
    """
    return "-" if value is None else f"{value:+.{places}f}"


def code_of(shaft: int) -> str:
    """Return the text in the scannable code on a shaft's label.

    Plain words, so that any reader shows sense, in capitals, which take less room in a QR code.

    Parameters
    ----------
    shaft : int
        Number of the shaft.

    Returns
    -------
    str
        Text that `read_code` understands.

    Examples
    --------
    >>> code_of(12)
    'MIDSPAN SHAFT 12'
    """
    return f"{CODE}{shaft}"


def read_code(text: str) -> str:
    """Return the number of a shaft from the text that a reader scanned off its label.

    Parameters
    ----------
    text : str
        Text of a label's code, or any other name.

    Returns
    -------
    str
        The digits after the words of the code; any other text unchanged.

    Examples
    --------
    >>> read_code("midspan shaft 12"), read_code("blue-12")
    ('12', 'blue-12')
    """
    return text[len(CODE) :] if text.upper().startswith(CODE) else text


def ranges(numbers: Iterable[int]) -> str:
    """Return numbers as a list in rising order, with three or more in a row written as a range.

    Parameters
    ----------
    numbers : Iterable[int]
        Numbers in any order; repeated ones count once.

    Returns
    -------
    str
        The list, empty if there are no numbers.

    Examples
    --------
    >>> ranges([7, 1, 2, 3, 9, 10])
    '1 to 3, 7, 9, 10'
    """
    parts: list[list[int]] = []
    for number in sorted(set(numbers)):
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in parts)


def shafts_numbered(numbers: Sequence[int]) -> str:
    """Return the numbers of shafts as a list with the word shaft or shafts in front.

    Parameters
    ----------
    numbers : Sequence[int]
        Numbers of the shafts, at least one.

    Returns
    -------
    str
        The word and the list, as `ranges` writes it.

    Examples
    --------
    >>> shafts_numbered([7]), shafts_numbered([1, 2, 3])
    ('shaft 7', 'shafts 1 to 3')
    """
    return f"{'shaft' if len(numbers) == 1 else 'shafts'} {ranges(numbers)}"
