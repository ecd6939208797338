"""Numbers and verdicts in words: one way to write a value with its uncertainty, used by every table and picture.

The expanded uncertainty is given to two significant digits and the value to the same place (JCGM 100:2008,
7.2.6).

>>> with_uncertainty(498.6281, 0.4571)
'498.63 ± 0.46'
>>> with_uncertainty(6.0, 12.0)
'6 ± 12'
"""

import math


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
    """
    places = min(places_for(expanded), most_places)
    shown = expanded if places < most_places else math.ceil(expanded * 10**places - 1e-6) / 10**places
    return f"{value:.{places}f} ± {shown:.{places}f}"


def angle(degrees: float | None, expanded: float | None) -> str:
    """A stiff side as its two opposite angles, or a dash when none may be named.

    >>> angle(34.2, 0.3), angle(None, None)
    ('34 / 214', '-')
    """
    if degrees is None or expanded is None:
        return "-"
    return f"{degrees:.0f} / {degrees + 180:.0f}"
