"""Which class of the force standards the readings allow, and what they cannot tell.

Limits in percent: ISO 376:2011, table 2, and ISO 7500-1:2018, table 2, both from memory; OIML R 60-1:2021, 5.3 to
5.5, as published. A class is named only for what was measured: the standards ask for more than a bench has.

>>> round(largest_error(3000), 3), round(creep_limit(3000), 3), round(late_creep_limit(3000), 4)
(1.05, 0.735, 0.1575)
"""

from midspan.base.errors import ConversionError
from midspan.calibrate.cell_behaviour import Behaviour

Limits = dict[str, dict[str, float]]


def _limits(names: tuple[str, ...], classes: dict[str, tuple[float, ...]]) -> Limits:
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
# OIML R 60 class C: the error allowed up to a load, both in verification intervals, before the cell's share of it.
CELL_SHARE = 0.7
CLASS_C = ((500.0, 0.5), (2000.0, 1.0), (10_000.0, 1.5))
CREEP_SHARE, LATE_CREEP_SHARE = 0.7, 0.15  # of that error: over 30 min, and from 20 to 30 min (5.5.1)


def best_class(found: Behaviour, standard: Limits) -> str | None:
    """The best class whose limits hold for everything that was measured; None when not even the last one does."""
    known = found.figures()
    holds = (
        name
        for name, limits in standard.items()
        if all(known[figure] <= most for figure, most in limits.items() if figure in known)
    )
    return next(holds, None)


def largest_error(load_intervals: float) -> float:
    """Error allowed to a class C cell at a load, both in verification intervals v (table 4 of 5.3.2).

    Raises ConversionError beyond class C.
    """
    for most, error in CLASS_C:
        if load_intervals <= most:
            return CELL_SHARE * error
    raise ConversionError(f"a load of {load_intervals:g} intervals is beyond class C, which ends at {CLASS_C[-1][0]:g}")


def creep_limit(load_intervals: float) -> float:
    """Change allowed under that load within 30 min, in v."""
    return CREEP_SHARE * largest_error(load_intervals)


def late_creep_limit(load_intervals: float) -> float:
    """Change allowed from 20 to 30 min under that load, in v."""
    return LATE_CREEP_SHARE * largest_error(load_intervals)


def intervals_held(creep_pct: float) -> int:
    """Most intervals n of a class C cell (500 to 10 000, in hundreds) that a creep at full load leaves; 0 if none."""
    fits = (n for n in range(10_000, 499, -100) if creep_pct / 100 * n <= creep_limit(n) * (1 + 1e-9))
    return next(fits, 0)


def class_sentences(found: Behaviour) -> tuple[str, ...]:
    """The classes in plain words, with what was not told."""
    sentences = []
    for name, standard in (("ISO 376", ISO_376), ("ISO 7500-1", ISO_7500_1)):
        best = best_class(found, standard)
        wanted = next(iter(standard.values()))
        missing = [_plain(figure) for figure in wanted if figure not in found.figures()]
        told = f"within class {best}" if best else "beyond its last class"
        lacks = f"; not told: {', '.join(missing)}" if missing else ""
        sentences.append(f"{name} (limits from memory): what was measured lies {told}{lacks}")
    creep = "creep within 30 min was not measured"
    if found.creep_pct is not None:
        creep = f"creep alone would leave {intervals_held(found.creep_pct)} intervals of class C (5 min, not 30)"
    sentences.append(
        f"OIML R 60: {creep}. Turning the cell to other positions, temperature and the masses' own class were not tried"
    )
    return tuple(sentences)


def _plain(figure: str) -> str:
    return figure.removesuffix("_pct").replace("_", " ")
