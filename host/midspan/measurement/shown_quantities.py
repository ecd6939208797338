"""Quantities as people read them: the value, its ±, and the chosen unit. Nothing else formats a spine or its ±.

What follows a ± is the 95 % range of that shaft's value under the reference condition, with k from the degrees of
freedom, and the same text on every screen, page, report, card and label. Three other numbers have other names:

* inside a set, errors common to its shafts cancel: "difference inside this set";
* a verdict at a limit keeps the distance that the rule of the bands file asks for, with the file's own k;
* a check standard passes within the difference that the sorting plan allows, with the plan's own k.

A fixed k (the option --k) replaces that of 95 % everywhere. Budgets show k and degrees of freedom; JSON and exports
keep standard uncertainties.

>>> from midspan.base.shown_units import ShownUnits, showing
>>> shaft = ShownSpine(498.6281, 0.232, 42.9, 52.14, 0.024)
>>> str(spine_text(shaft))
'498.63 ± 0.47 thou'
>>> with showing(ShownUnits(across=AcrossUnit.MM)):
...     str(spine_text(shaft))
'12.665 ± 0.012 mm'
>>> with showing(ShownUnits(wood=WoodSpine.BOTH)):
...     str(spine_text(shaft)), spine_unit()
('498.63 ± 0.47 thou (52.14 ± 0.05 lb)', 'thou (lb)')
>>> with showing(ShownUnits(wood=WoodSpine.POUNDS)):
...     str(spine_text(shaft))
'52.14 ± 0.05 lb'
"""

import math
import re
from dataclasses import dataclass
from typing import Protocol

from midspan.base.formatting import with_uncertainty
from midspan.base.shown_units import AcrossUnit, WeightUnit, WoodSpine, shown_units
from midspan.base.units import GRAM_PER_GRAIN, MM_PER_THOU
from midspan.uncertainty.budget import Coverage

UNKNOWN = "-"
PLACES = 2  # of thou: a hundredth of a thou is finer than any gauge knows a spine
FINE_PLACES = 3  # of differences in which the common errors cancel
MORE_PLACES_MM = 2  # a hundredth of a thou is a quarter of 0.001 mm
INSIDE_SET = "the ± of a difference inside a set leaves out errors common to its shafts"


class WithSpine(Protocol):
    """A shaft's spine as results and the stock hold it; None where it is not known, or where freedom is infinite."""

    @property
    def spine_thou(self) -> float | None: ...
    @property
    def u_spine_thou(self) -> float | None: ...
    @property
    def dof_spine(self) -> float | None: ...
    @property
    def older_lb(self) -> float | None: ...
    @property
    def u_older_lb(self) -> float | None: ...


class WithShape(Protocol):
    """Spread around and runout of a shaft as results hold them; None where it is not known, or freedom is infinite."""

    @property
    def spread_thou(self) -> float | None: ...
    @property
    def u_spread_thou(self) -> float | None: ...
    @property
    def dof_spread(self) -> float | None: ...
    @property
    def runout_mm(self) -> float | None: ...
    @property
    def u_runout_mm(self) -> float | None: ...
    @property
    def dof_runout(self) -> float | None: ...


@dataclass(frozen=True, slots=True)
class ShownSpine:
    """A spine with what its text needs, for one that is no result: the mean of a set, a result converted since.

    Parameters
    ----------
    spine_thou : float or None
        Static spine, thou.
    u_spine_thou : float or None
        Its standard uncertainty, thou.
    dof_spine : float or None
        Degrees of freedom of that, None where infinite.
    older_lb : float or None
        Spine in pounds (26 in, 2 lb).
    u_older_lb : float or None
        Its standard uncertainty, lb.
    """

    spine_thou: float | None
    u_spine_thou: float | None
    dof_spine: float | None = None
    older_lb: float | None = None
    u_older_lb: float | None = None


@dataclass(frozen=True, slots=True)
class QuantityText:
    """A quantity as text: the number for a column whose heading has the unit, and the unit.

    Parameters
    ----------
    number : str
        Value, with its ± if it has one; a dash where it is not known.
    unit : str
        Unit of the number.
    also : str
        The same quantity in a second unit, with that unit; empty if there is none.
    """

    number: str
    unit: str
    also: str = ""

    def __str__(self) -> str:
        """Return number and unit, with the second in parentheses."""
        if self.number == UNKNOWN:
            return UNKNOWN
        return f"{self.number} {self.unit}" + (f" ({self.also})" if self.also else "")

    @property
    def cell(self) -> str:
        """Text for a table under a heading with `spine_unit` or `across_unit`."""
        return f"{self.number} ({self.also.rpartition(' ')[0]})" if self.also else self.number


def meaning(k: float | None = None) -> str:
    """Return the sentence that says what a ± is, for a legend.

    Parameters
    ----------
    k : float or None
        Coverage factor that was asked for, None for 95 %.

    Returns
    -------
    str
        Without a full stop.

    Examples
    --------
    >>> meaning(), meaning(2.5)
    ('± is a 95 % range', '± is 2.5 standard uncertainties')
    """
    return "± is a 95 % range" if k is None else f"± is {k:g} standard uncertainties"


def across_unit() -> str:
    """Return the unit of everything across a shaft.

    Returns
    -------
    str
        "thou" or "mm".
    """
    return shown_units().across.value


def in_across_unit(thou: float) -> float:
    """Return a length across the shaft in the chosen unit, for axes.

    Parameters
    ----------
    thou : float
        The length, thou.

    Returns
    -------
    float
        The length in the unit that `across_unit` names.
    """
    return thou * MM_PER_THOU if shown_units().across is AcrossUnit.MM else thou


def across_text(thou: float | None, expanded_thou: float | None = None, places: int = PLACES) -> QuantityText:
    """Return a length across the shaft as text: a spread, a difference of two spines, a runout.

    Parameters
    ----------
    thou : float or None
        The length, thou; None where it is not known.
    expanded_thou : float or None
        What follows the ±, thou; None for no ±.
    places : int
        Largest number of decimal places in thou.

    Returns
    -------
    QuantityText
        The text, a dash for what is unknown or no finite number.

    Examples
    --------
    >>> str(across_text(2.8173, 0.0117)), across_text(2.8173).number, across_text(None).number
    ('2.82 ± 0.02 thou', '2.82', '-')
    """
    unit = across_unit()
    if thou is None or not math.isfinite(thou):
        return QuantityText(UNKNOWN, unit)
    most = places + (MORE_PLACES_MM if shown_units().across is AcrossUnit.MM else 0)
    value = in_across_unit(thou)
    if expanded_thou is None:
        return QuantityText(f"{value:z.{most}f}", unit)
    return QuantityText(with_uncertainty(value, in_across_unit(expanded_thou), most), unit)


def spine_unit() -> str:
    """Return the unit of spine for a heading.

    Returns
    -------
    str
        As in "thou", "thou (lb)" or "lb".
    """
    wood = shown_units().wood
    if wood is WoodSpine.POUNDS:
        return "lb"
    return f"{across_unit()} (lb)" if wood is WoodSpine.BOTH else across_unit()


def spine_convention() -> str:
    """Return span and load of the spines shown.

    Returns
    -------
    str
        As in "28 in, 880 g", "26 in, 2 lb", or both.
    """
    wood = shown_units().wood
    if wood is WoodSpine.POUNDS:
        return "26 in, 2 lb"
    return "28 in, 880 g; lb: 26 in, 2 lb" if wood is WoodSpine.BOTH else "28 in, 880 g"


def difference_unit() -> str:
    """Return the unit of a difference between spines, which is a deflection even where spines are in pounds.

    Pounds go by the inverse of the deflection: equal differences of deflection are not equal in pounds.

    Returns
    -------
    str
        As in "thou"; with span and load where the spines beside it are in pounds.

    Examples
    --------
    >>> from midspan.base.shown_units import ShownUnits, showing
    >>> with showing(ShownUnits(wood=WoodSpine.POUNDS)):
    ...     difference_unit()
    'thou (28 in, 880 g)'
    """
    return across_unit() if shown_units().wood is WoodSpine.THOU else f"{across_unit()} (28 in, 880 g)"


def pounds_convention() -> str:
    """Return what a spine in pounds is.

    Returns
    -------
    str
        In words, without a full stop.
    """
    return "spine as the wood trade counts it: 26 divided by the deflection in inches on 26 in under 2 lb"


def expanded_thou(shaft: WithSpine, k: float | None = None) -> float | None:
    """Return what follows the ± of a spine.

    Parameters
    ----------
    shaft : WithSpine
        A result, a shaft of the stock, or another spine.
    k : float or None
        Coverage factor, None for 95 % by the degrees of freedom.

    Returns
    -------
    float or None
        Half width of the range, thou; None where the uncertainty is not known.
    """
    return None if shaft.u_spine_thou is None else Coverage(factor=k).k(shaft.dof_spine) * shaft.u_spine_thou


def spine_text(shaft: WithSpine, k: float | None = None) -> QuantityText:
    """Return the spine of a shaft with its ±, in the chosen units.

    Parameters
    ----------
    shaft : WithSpine
        A result, a shaft of the stock, or another spine.
    k : float or None
        Coverage factor, None for 95 % by the degrees of freedom.

    Returns
    -------
    QuantityText
        The text; a dash where there is no spine, or no pounds where only these were asked for.
    """
    wood, text = shown_units().wood, across_text(shaft.spine_thou, expanded_thou(shaft, k))
    if wood is WoodSpine.THOU or text.number == UNKNOWN:
        return text
    pounds = pounds_text(shaft, k)
    if wood is WoodSpine.POUNDS:
        return pounds
    return text if pounds.number == UNKNOWN else QuantityText(text.number, text.unit, str(pounds))


def pounds_text(shaft: WithSpine, k: float | None = None) -> QuantityText:
    """Return the spine of a shaft in pounds (26 in, 2 lb) with its ±, whatever was chosen.

    Parameters
    ----------
    shaft : WithSpine
        A result, a shaft of the stock, or another spine.
    k : float or None
        Coverage factor, None for 95 % by the degrees of freedom.

    Returns
    -------
    QuantityText
        The text, a dash where the pounds are not known.
    """
    if shaft.older_lb is None or not math.isfinite(shaft.older_lb):
        return QuantityText(UNKNOWN, "lb")
    if shaft.u_older_lb is None:
        return QuantityText(f"{shaft.older_lb:.{PLACES}f}", "lb")
    expanded = Coverage(factor=k).k(shaft.dof_spine) * shaft.u_older_lb
    return QuantityText(with_uncertainty(shaft.older_lb, expanded, PLACES), "lb")


def spread_text(shaft: WithShape, k: float | None = None) -> QuantityText:
    """Return the spread of spine around a shaft with its ±.

    Parameters
    ----------
    shaft : WithShape
        A result.
    k : float or None
        Coverage factor, None for 95 % by the degrees of freedom.

    Returns
    -------
    QuantityText
        The text, a dash where it was not measured.
    """
    u = shaft.u_spread_thou
    return across_text(shaft.spread_thou, None if u is None else Coverage(factor=k).k(shaft.dof_spread) * u)


def runout_text(shaft: WithShape, k: float | None = None) -> QuantityText:
    """Return the runout of a shaft at midspan with its ±.

    Parameters
    ----------
    shaft : WithShape
        A result.
    k : float or None
        Coverage factor, None for 95 % by the degrees of freedom.

    Returns
    -------
    QuantityText
        The text, a dash where it was not measured.
    """
    thou = None if shaft.runout_mm is None else shaft.runout_mm / MM_PER_THOU
    u = shaft.u_runout_mm
    return across_text(thou, None if u is None else Coverage(factor=k).k(shaft.dof_runout) * u / MM_PER_THOU)


def weight_unit() -> str:
    """Return the unit of weight as it stands in headings.

    Returns
    -------
    str
        "gr" for grains, "g" for grams.
    """
    return "g" if shown_units().weight is WeightUnit.GRAMS else "gr"


def weight_text(grains: float | None) -> QuantityText:
    """Return the weight of a shaft.

    Parameters
    ----------
    grains : float or None
        Weight, grains; None where it was not weighed.

    Returns
    -------
    QuantityText
        The text, a dash where it was not weighed.

    Examples
    --------
    >>> str(weight_text(301.25)), weight_text(None).number
    ('301.2 gr', '-')
    """
    if grains is None:
        return QuantityText(UNKNOWN, weight_unit())
    if shown_units().weight is WeightUnit.GRAMS:
        return QuantityText(f"{grains * GRAM_PER_GRAIN:.2f}", "g")
    return QuantityText(f"{grains:.1f}", "gr")


def shown_unit(unit: str) -> str:
    """Return the unit in which people read what is kept in another.

    Parameters
    ----------
    unit : str
        Unit that is kept: "thou", "gr", or one that is shown as it is.

    Returns
    -------
    str
        Unit for people.
    """
    return {"thou": across_unit(), "gr": weight_unit()}.get(unit, unit)


def in_shown_unit(value: float, unit: str) -> float:
    """Return a value in the unit in which people read it.

    Parameters
    ----------
    value : float
        The value.
    unit : str
        Its unit: "thou", "gr", or one that is shown as it is.

    Returns
    -------
    float
        The value in the unit that `shown_unit` names.
    """
    if unit == "thou":
        return in_across_unit(value)
    return value * GRAM_PER_GRAIN if unit == "gr" and weight_unit() == "g" else value


def stated_value(value: float, unit: str) -> str:
    """Return a limit that a person stated, in the chosen unit.

    Parameters
    ----------
    value : float
        The limit.
    unit : str
        Its unit: "thou", "gr", or one that is shown as it is.

    Returns
    -------
    str
        Value and unit.

    Examples
    --------
    >>> stated_value(5.0, "gr"), stated_value(1.5, "thou"), stated_value(1.0, "%")
    ('5 gr', '1.5 thou', '1 %')
    """
    shown = in_shown_unit(value, unit)
    return f"{shown:g} {unit}" if shown == value else f"{shown:.4g} {shown_unit(unit)}"


_CODE = re.compile(r"^[A-Z][A-Z_]{3,}: ")
_IN_THOU = re.compile(r"(-?\d+(?:\.(\d+))?) thou\b")


def sentence_text(sentence: str) -> str:
    """Return a stored sentence as people read it: without a fault code in front, and in the chosen unit.

    Reasons of a verdict are stored in thou, as the bands files that they quote are written.

    Parameters
    ----------
    sentence : str
        The stored sentence.

    Returns
    -------
    str
        The sentence for people.

    Examples
    --------
    >>> sentence_text("CRACK_SUSPECTED: may be cracked: hysteresis 2.20 %, limit 1 %")
    'may be cracked: hysteresis 2.20 %, limit 1 %'
    >>> from midspan.base.shown_units import ShownUnits, showing
    >>> with showing(ShownUnits(across=AcrossUnit.MM)):
    ...     sentence_text("spine 523.20 thou, limit 515 thou")
    'spine 13.2893 mm, limit 13.081 mm'
    """
    words = _CODE.sub("", sentence)
    return words if across_unit() == "thou" else _IN_THOU.sub(_in_mm, words)


def _in_mm(found: re.Match[str]) -> str:
    """Return a number of thou as mm; one without decimal places was written in a file and is kept to all its digits."""
    value = in_across_unit(float(found[1]))
    return f"{value:.6g} mm" if found[2] is None else f"{value:.{len(found[2]) + MORE_PLACES_MM}f} mm"
