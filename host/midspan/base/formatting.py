"""Numbers and verdicts in words: one way to write a value with its uncertainty, used by every table and picture.

The expanded uncertainty is given to two significant digits and the value to the same place (JCGM 100:2008,
7.2.6).

>>> with_uncertainty(498.6281, 0.4571)
'498.63 ± 0.46'
>>> with_uncertainty(6.0, 12.0)
'6 ± 12'
"""

import math
from collections.abc import Iterable, Sequence

from midspan.base.plain_text import printable as printable  # part of how things are worded

CODE = "midspan shaft "


def places_for(expanded: float) -> int:
    """Decimal places that show an expanded uncertainty to two significant digits.

    >>> places_for(0.46), places_for(12.0), places_for(0.0098)
    (2, 0, 4)
    """
    if not math.isfinite(expanded) or expanded <= 0:
        return 3
    return max(0, 1 - math.floor(math.log10(float(f"{expanded:.1e}"))))


def with_uncertainty(value: float, expanded: float, most_places: int = 6) -> str:
    """The value and its expanded uncertainty at a common number of places, rounding up what the limit hides.

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
    """A stiff side as its two opposite angles, or a dash when none may be named.

    >>> angle(34.2), angle(179.8), angle(None)
    ('34 / 214', '0 / 180', '-')
    """
    if degrees is None or not math.isfinite(degrees):
        return "-"
    whole = round(degrees) % 180
    return f"{whole} / {whole + 180}"


def signed(value: float | None, places: int = 3) -> str:
    """A change with its sign, or a dash when there is none to give.

    >>> signed(0.12345), signed(-2.0, 1), signed(None)
    ('+0.123', '-2.0', '-')
    """
    return "-" if value is None else f"{value:+.{places}f}"


def code_of(shaft: int) -> str:
    """What the code on a shaft's label says: plain words, so that any reader shows something sensible.

    >>> code_of(12)
    'midspan shaft 12'
    """
    return f"{CODE}{shaft}"


def read_code(text: str) -> str:
    """The number of a shaft in what a reader typed of its label; any other name stays as it is.

    >>> read_code("midspan shaft 12"), read_code("blue-12")
    ('12', 'blue-12')
    """
    return text.removeprefix(CODE)


def ranges(numbers: Iterable[int]) -> str:
    """Numbers in order with runs of three and more drawn together.

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
    """Shafts by their numbers.

    >>> shafts_numbered([7]), shafts_numbered([1, 2, 3])
    ('shaft 7', 'shafts 1 to 3')
    """
    return f"{'shaft' if len(numbers) == 1 else 'shafts'} {ranges(numbers)}"
