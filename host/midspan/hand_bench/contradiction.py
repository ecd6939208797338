"""Readings that disagree with the others: which they are, the values that would agree, and slips nobody could detect.

The deflection that the weight adds repeats twice in a turn, so each visit to a clock position can be predicted from
the others. A visit that lies too far off has a typing error, or the shaft is not a tube there: both need a second
look. Which of its readings is wrong follows from the return of the dial, or from the height of the surface where no
return was read.

>>> loaded = np.array([15.70, 15.71, 15.70, 15.69, 16.70, 15.71, 15.70, 15.69])
>>> three = np.full(8, 3.0)
>>> [found] = contradictions(HandReadings(np.arange(8) * 45.0, ("1",) * 8, three, loaded, three, (False,) * 8), 0.01)
>>> found.visits, found.names
((4,), ('loaded',))
>>> print(found.sentence)
the reading at 180 degrees, repeat 1: loaded 16.70, but the others make it 15.70 ± 0.13; read it again, or confirm it
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log10

import numpy as np

from midspan.hand_bench.clock_fit import Array
from midspan.hand_bench.outliers import Outlier, outliers, predicted, undetectable
from midspan.hand_bench.readings import HandReadings

# Readings of a sound bench repeat within about two graduations (common practice, no source).
USUAL_GRADUATIONS = 2.0
THREE = ("unloaded", "loaded", "unloaded_again")
SWAPPED = ("unloaded", "loaded")
FEW = 2  # visits to a position; only a third shows which of two is wrong
ADVICE = "read it again, or confirm it"


@dataclass(frozen=True)
class Contradiction:
    """A disagreement between readings.

    Parameters
    ----------
    visits : tuple of int
        Visits of which one is wrong; a single visit if it is known which.
    names : tuple of str
        Readings of the visit that may be wrong; a single name if it is known which.
    within : float
        Largest difference that chance explains, in the dial's unit.
    sentence : str
        The disagreement in words.
    """

    visits: tuple[int, ...]
    names: tuple[str, ...]
    within: float
    sentence: str


@dataclass(frozen=True)
class _FitSeries:
    """One value of each visit, linear in columns; `outliers` by visit are left out of predictions."""

    columns: Array
    values: Array
    usual: float
    outliers: dict[int, Outlier]

    @classmethod
    def of(cls, columns: Array, values: Array, usual: float) -> "_FitSeries":
        """Return the series with its outliers; `usual` is the standard deviation that such values normally have."""
        return cls(columns, values, usual, {outlier.place: outlier for outlier in outliers(columns, values, usual)})

    def misfit(self, i: int, value: float, more: float) -> bool:
        """Return True if a value at visit i would disagree with the others; `more` is its own uncertainty."""
        expected, within = predicted(self.columns, self.values, i, self.outliers.keys(), self.usual)
        return abs(value - expected) > within + more


def contradictions(readings: HandReadings, graduation: float) -> tuple[Contradiction, ...]:
    """Return the disagreements between readings, except those that a person confirmed.

    Visits to one position that are off by the same amount confirm each other: there the shaft is different, and nobody
    made a typing error.

    Parameters
    ----------
    readings : HandReadings
        Readings of a session.
    graduation : float
        Smallest step of the dial, in its unit.

    Returns
    -------
    tuple of Contradiction
        Disagreements in the order of their visits, empty if there are none.
    """
    usual = USUAL_GRADUATIONS * graduation
    sag = _FitSeries.of(_around(readings.angle_deg, (2,)), readings.loaded - readings.zero, usual)
    digits = max(ceil(-log10(graduation)), 0)
    accused = {
        place: outlier for place, outlier in sag.outliers.items() if not _repeated_elsewhere(place, sag, readings)
    }
    found = [_from_sag(readings, outlier, usual, digits) for outlier in accused.values()]
    found += [
        _from_return(readings, outlier, place, digits)
        for place, outlier in _returns(readings, usual).items()
        if place not in accused
    ]
    return tuple(sorted((each for each in found if each is not None), key=lambda each: each.visits))


def undetected_slips(readings: HandReadings) -> str | None:
    """Return what a typing error could hide because there are so few readings.

    Parameters
    ----------
    readings : HandReadings
        Readings of a session.

    Returns
    -------
    str or None
        A sentence, None if every typing error would be found and named.
    """
    visits = Counter(readings.angle_deg.tolist())
    few = [i for i, angle in enumerate(readings.angle_deg.tolist()) if visits[angle] <= FEW]
    blind, alike = undetectable(_around(readings.angle_deg, (2,)), few)
    if blind:
        return f"nothing could contradict {readings.name(blind[0])}; read each position twice"
    if alike:
        names = " or ".join(map(readings.name, alike))
        return f"were {names} wrong, nothing could tell which; read eight positions, or each three times"
    return None


def _around(angle_deg: Array, orders: Sequence[int]) -> Array:
    """Return columns of a mean and of waves that repeat `orders` times in a turn, shape (n, 1 + 2 orders)."""
    waves = [wave(order * np.radians(angle_deg)) for order in orders for wave in (np.cos, np.sin)]
    return np.stack([np.ones_like(angle_deg), *waves], axis=1)


def _repeated_elsewhere(place: int, sag: _FitSeries, readings: HandReadings) -> bool:
    """Return True if another visit to the same position is off by the same amount."""
    this = sag.outliers[place]
    off = sag.values[place] - this.expected
    return any(
        other != place
        and (readings.angle_deg[other] - readings.angle_deg[place]) % 360 == 0
        and abs(sag.values[other] - outlier.expected - off) < min(this.within, outlier.within)
        for other, outlier in sag.outliers.items()
    )


def _returns(readings: HandReadings, usual: float) -> dict[int, Outlier]:
    """Return the visits whose dial did not come back like the others', with the prediction of their return."""
    read = np.flatnonzero(np.isfinite(readings.again))
    back = (readings.again - readings.unloaded)[read]
    found = outliers(np.ones((len(read), 1)), back, usual)
    return {int(read[outlier.place]): outlier for outlier in found if not outlier.rivals}


def _from_sag(readings: HandReadings, outlier: Outlier, usual: float, digits: int) -> Contradiction | None:
    """Return the disagreement of a visit whose deflection is an outlier, None if every suspect is confirmed."""
    suspects = [each for each in (outlier, *outlier.rivals) if not readings.confirmed[each.place]]
    if not suspects:
        return None
    places = tuple(sorted(each.place for each in suspects))
    if len(places) > 1:
        names = " and ".join(map(readings.name, places))
        sentence = f"{names} contradict each other, one of them is wrong; read them again, or confirm them"
        return Contradiction(places, THREE, outlier.within, sentence)
    (suspect,) = suspects
    name, corrections = readings.name(suspect.place), _corrections(readings, suspect, usual)
    if "swapped" in corrections:
        return Contradiction(places, SWAPPED, suspect.within, f"{name}: unloaded and loaded look swapped; {ADVICE}")
    says = _says(readings, suspect, corrections, digits)
    sentence = f"{name}: {says} ± {suspect.within:.{digits}f}; {ADVICE}"
    return Contradiction(places, tuple(corrections) or THREE, suspect.within, sentence)


def _says(readings: HandReadings, suspect: Outlier, corrections: dict[str, float], digits: int) -> str:
    """Return the values typed and the values that would agree with the others, in words."""
    if not corrections:
        moved = readings.loaded[suspect.place] - readings.zero[suspect.place]
        return f"the weight moved the dial by {moved:.{digits}f}, but the others make it {suspect.expected:.{digits}f}"
    typed = [f"{key.replace('_', ' ')} {_at(readings, key, suspect.place):.{digits}f}" for key in corrections]
    right = [f"{value:.{digits}f}" for value in corrections.values()]
    return f"{' or '.join(typed)}, but the others make it {' or '.join(right)}"


def _at(readings: HandReadings, key: str, i: int) -> float:
    """Return a reading of a visit by its name."""
    column: Array = {"unloaded": readings.unloaded, "loaded": readings.loaded, "unloaded_again": readings.again}[key]
    return float(column[i])


def _corrections(readings: HandReadings, suspect: Outlier, usual: float) -> dict[str, float]:
    """Return, for each reading of a visit that may be wrong, the value that would agree with the others.

    The key "swapped" alone means that unloaded and loaded were exchanged.
    """
    i, within, expected = suspect.place, suspect.within, suspect.expected
    unloaded, loaded, again = (_at(readings, key, i) for key in THREE)
    zero, right = float(readings.zero[i]), loaded - expected  # the zero as read, and as the loaded reading needs it
    if abs(unloaded - (loaded + (again if np.isfinite(again) else loaded)) / 2 - expected) <= within:
        return {"swapped": expected}
    if np.isfinite(again):
        read = np.flatnonzero(np.isfinite(readings.again))
        back = _FitSeries.of(np.ones((len(read), 1)), (readings.again - readings.unloaded)[read], usual)
        k = int(np.flatnonzero(read == i)[0])
        wrong: tuple[tuple[str, float, bool], ...] = (
            ("loaded", expected + zero, back.misfit(k, again - unloaded, 0.0)),
            ("unloaded", 2 * right - again, back.misfit(k, 2 * (again - right), 2 * within)),
            ("unloaded_again", 2 * right - unloaded, back.misfit(k, 2 * (right - unloaded), 2 * within)),
        )
    else:
        surface = _FitSeries.of(_around(readings.angle_deg, (1, 2)), readings.unloaded, usual)
        wrong = (
            ("loaded", expected + zero, surface.misfit(i, unloaded, 0.0)),
            ("unloaded", right, surface.misfit(i, right, within)),
        )
    return {key: value for key, value, misfits in wrong if not misfits}


def _from_return(readings: HandReadings, outlier: Outlier, i: int, digits: int) -> Contradiction | None:
    """Return the disagreement of a visit whose return is an outlier, None if it is confirmed."""
    if readings.confirmed[i]:
        return None
    back = readings.again[i] - readings.unloaded[i]
    sentence = (
        f"{readings.name(i)}: the dial came back {back:+.{digits}f} beside where it was, the others make it "
        f"{outlier.expected:+.{digits}f} ± {outlier.within:.{digits}f}; {ADVICE}"
    )
    return Contradiction((i,), ("unloaded", "unloaded_again"), outlier.within, sentence)
