"""Compare a cell's figures with the limits of the force standards, and name what a class needs besides.

Limits in percent: ISO 376:2011, table 2, and ISO 7500-1:2018, table 2, both from memory; OIML R 60-1:2021, 5.3 to
5.5, as published. The standards require tests that no bench of masses makes, so a cell is never given a class here:
the remarks name the limits that single figures keep, and every test that is missing.

>>> round(largest_error(3000), 3), round(creep_limit(3000), 3), round(late_creep_limit(3000), 4)
(1.05, 0.735, 0.1575)
"""

from midspan.base.errors import ConversionError
from midspan.calibrate.cell_behaviour import Behaviour
from midspan.calibrate.outcome import Remark

Limits = dict[str, dict[str, float]]


def _limits(names: tuple[str, ...], classes: dict[str, tuple[float, ...]]) -> Limits:
    """Return the limits of each class by name of the figure."""
    return {name: dict(zip(names, values, strict=True)) for name, values in classes.items()}


# Best class first, all in percent.
ISO_376 = _limits(
    ("repeatability_pct", "interpolation_pct", "zero_return_pct", "reversibility_pct", "creep_pct"),
    {
        "00": (0.025, 0.025, 0.012, 0.07, 0.025),
        "0.5": (0.05, 0.05, 0.025, 0.15, 0.05),
        "1": (0.1, 0.1, 0.05, 0.3, 0.1),
        "2": (0.2, 0.2, 0.1, 0.5, 0.2),
    },
)
ISO_7500_1 = _limits(
    ("accuracy_pct", "repeatability_pct", "zero_return_pct", "reversibility_pct"),
    {
        "0.5": (0.5, 0.5, 0.05, 0.75),
        "1": (1.0, 1.0, 0.1, 1.5),
        "2": (2.0, 2.0, 0.2, 3.0),
        "3": (3.0, 3.0, 0.3, 4.5),
    },
)
# Tests that a class requires and that masses on a head cannot make.
UNTRIED = {
    "iso_376": ("reproducibility in other positions of the cell", "resolution", "uncertainty of the calibration force"),
    "iso_7500_1": ("resolution", "class of the instrument that gave the force"),
}
# OIML R 60 class C: error allowed up to a load, both in verification intervals, before the cell's share is taken.
CELL_SHARE = 0.7
CLASS_C = ((500.0, 0.5), (2000.0, 1.0), (10_000.0, 1.5))
CREEP_SHARE, LATE_CREEP_SHARE = 0.7, 0.15  # of that error: over 30 min, and from 20 to 30 min (5.5.1)


def best_class(found: Behaviour, standard: Limits) -> str | None:
    """Return the best class whose limits hold for every figure that was measured.

    Parameters
    ----------
    found : Behaviour
        Figures of the cell.
    standard : Limits
        Limits by class, best class first, percent.

    Returns
    -------
    str | None
        Name of the class, None if the figures are beyond the last class.
    """
    known = found.figures()
    holds = (
        name
        for name, limits in standard.items()
        if all(known[figure] <= most for figure, most in limits.items() if figure in known)
    )
    return next(holds, None)


def largest_error(load_intervals: float) -> float:
    """Return the error allowed to a class C cell at a load.

    Parameters
    ----------
    load_intervals : float
        Load in verification intervals v.

    Returns
    -------
    float
        Error in v.

    Raises
    ------
    ConversionError
        The load is beyond class C.

    References
    ----------
    OIML R 60-1:2021, 5.3.2, table 4.
    """
    for most, error in CLASS_C:
        if load_intervals <= most:
            return CELL_SHARE * error
    raise ConversionError(f"a load of {load_intervals:g} intervals is beyond class C, which ends at {CLASS_C[-1][0]:g}")


def creep_limit(load_intervals: float) -> float:
    """Return the change allowed under a load within 30 min.

    Parameters
    ----------
    load_intervals : float
        Load in verification intervals v.

    Returns
    -------
    float
        Change in v.

    References
    ----------
    OIML R 60-1:2021, 5.5.1.
    """
    return CREEP_SHARE * largest_error(load_intervals)


def late_creep_limit(load_intervals: float) -> float:
    """Return the change allowed under a load from 20 to 30 min.

    Parameters
    ----------
    load_intervals : float
        Load in verification intervals v.

    Returns
    -------
    float
        Change in v.

    References
    ----------
    OIML R 60-1:2021, 5.5.1.
    """
    return LATE_CREEP_SHARE * largest_error(load_intervals)


def intervals_held(creep_pct: float) -> int:
    """Return the largest number of verification intervals of a class C cell that a creep allows.

    Parameters
    ----------
    creep_pct : float
        Creep at full load, percent of the rise.

    Returns
    -------
    int
        Number of intervals, 500 to 10 000 in hundreds; 0 if the creep is too large for any.
    """
    fits = (n for n in range(10_000, 499, -100) if creep_pct / 100 * n <= creep_limit(n) * (1 + 1e-9))
    return next(fits, 0)


def class_remarks(found: Behaviour) -> tuple[Remark, ...]:
    """Return how the figures compare with each standard, and the tests that a class would need besides.

    Parameters
    ----------
    found : Behaviour
        Figures of the cell.

    Returns
    -------
    tuple[Remark, ...]
        A remark for each standard.
    """
    remarks = [
        Remark(code, f"{name} (limits from memory): {_place(found, standard, UNTRIED[code])}")
        for code, name, standard in (("iso_376", "ISO 376", ISO_376), ("iso_7500_1", "ISO 7500-1", ISO_7500_1))
    ]
    creep = "creep within 30 min was not measured"
    if found.creep_pct is not None:
        creep = f"creep alone would leave {intervals_held(found.creep_pct)} intervals of class C (5 min, not 30)"
    untried = "Turning the cell to other positions, temperature and the masses' own class were not tried"
    return (*remarks, Remark("r_60", f"OIML R 60: {creep}. {untried}"))


def _place(found: Behaviour, standard: Limits, untried: tuple[str, ...]) -> str:
    """Return which figures keep the limits of the best class, and that these alone make no class."""
    missing = [*map(_plain, not_measured(found, standard)), *untried]
    judged = ", ".join(_plain(figure) for figure in next(iter(standard.values())) if figure in found.figures())
    best = best_class(found, standard)
    keep = f"keep the limits of class {best}" if best else "are beyond the last class"
    return f"no class, because these were not tested: {', '.join(missing)}. Alone, {judged} {keep}"


def not_measured(found: Behaviour, standard: Limits) -> list[str]:
    """Return the figures that a standard limits and that were not measured.

    Parameters
    ----------
    found : Behaviour
        Figures of the cell.
    standard : Limits
        Limits by class.

    Returns
    -------
    list[str]
        Names of figures, empty if all were measured.
    """
    return [figure for figure in next(iter(standard.values())) if figure not in found.figures()]


def _plain(figure: str) -> str:
    """Return the name of a figure in words."""
    return figure.removesuffix("_pct").replace("_", " ")
