"""Name the class of the force standards that the readings allow, and what they cannot tell.

Limits in percent: ISO 376:2011, table 2, and ISO 7500-1:2018, table 2, both from memory; OIML R 60-1:2021, 5.3 to
5.5, as published. A class is named only for what was measured: the standards require more than a bench can do.

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
    """Return the classes in plain words, with what was not measured.

    Parameters
    ----------
    found : Behaviour
        Figures of the cell.

    Returns
    -------
    tuple[Remark, ...]
        A remark for each standard.
    """
    remarks = []
    for code, name, standard in (("iso_376", "ISO 376", ISO_376), ("iso_7500_1", "ISO 7500-1", ISO_7500_1)):
        best = best_class(found, standard)
        missing = [_plain(figure) for figure in not_measured(found, standard)]
        place = f"within class {best}" if best else "beyond its last class"
        lacks = f"; not told: {', '.join(missing)}" if missing else ""
        remarks.append(Remark(code, f"{name} (limits from memory): what was measured lies {place}{lacks}"))
    creep = "creep within 30 min was not measured"
    if found.creep_pct is not None:
        creep = f"creep alone would leave {intervals_held(found.creep_pct)} intervals of class C (5 min, not 30)"
    untried = "Turning the cell to other positions, temperature and the masses' own class were not tried"
    return (*remarks, Remark("r_60", f"OIML R 60: {creep}. {untried}"))


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
