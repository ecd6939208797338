"""Crossed gauge study: the share of the parts and the share of the measurement in the scatter of readings.

Every appraiser measures every part equally often. Two-way analysis of variance with random effects (D. C. Montgomery,
Design and Analysis of Experiments, chapter on random factors; AIAG Measurement Systems Analysis, 4th ed., chapter III
B): repeatability is the scatter of one appraiser on one part, reproducibility is what appraisers and their interaction
with parts add. A variance that comes out negative is set to 0 and reported.

>>> parts, appraisers = ["1", "1", "2", "2"] * 2, ["Ann"] * 4 + ["Ben"] * 4
>>> study = crossed_study(parts, appraisers, [10.0, 10.1, 12.0, 12.1, 10.1, 10.2, 12.1, 12.2])
>>> round(study.components.repeatability, 4), study.kept_interaction
(0.004, False)
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from midspan.base.errors import ReadingsError

Array = NDArray[np.float64]
POOLED_ABOVE = 0.05  # an interaction with a larger p counts as repeatability
# AIAG MSA, 4th ed., chapter II D: below 10 % acceptable, below 30 % depends on the use; five classes.
GOOD_PCT, USABLE_PCT, CLASSES_WANTED = 10.0, 30.0, 5
SIGMAS_OF_A_STUDY = 6.0  # a tolerance is compared with six standard deviations (AIAG MSA, 4th ed.)


@dataclass(frozen=True)
class AnovaRow:
    """One source of variation in an analysis of variance.

    Parameters
    ----------
    source : str
        Name of the source.
    df : int
        Degrees of freedom.
    ss : float
        Sum of squares, in the square of the readings' unit.
    f : float | None
        F against its error row; None where it is not tested.
    p : float | None
        Probability of so large an F by chance; None where it is not tested.
    """

    source: str
    df: int
    ss: float
    f: float | None = None
    p: float | None = None

    @property
    def ms(self) -> float:
        """Mean square."""
        return self.ss / self.df


@dataclass(frozen=True)
class Components:
    """Variances of a gauge study.

    Parameters
    ----------
    repeatability : float
        Variance within one appraiser and part, in the square of the readings' unit.
    appraiser : float
        Variance between appraisers.
    interaction : float
        Variance of appraisers that differs from part to part.
    part : float
        Variance between parts.
    negative : tuple[str, ...]
        Names of the variances that came out below 0 and were set to 0.
    """

    repeatability: float
    appraiser: float
    interaction: float
    part: float
    negative: tuple[str, ...]

    @property
    def reproducibility(self) -> float:
        """Variance that appraisers add, alone and by part."""
        return self.appraiser + self.interaction

    @property
    def gauge(self) -> float:
        """Variance of repeatability and reproducibility together."""
        return self.repeatability + self.reproducibility

    @property
    def total(self) -> float:
        """Variance of everything, parts included."""
        return self.gauge + self.part

    def named(self) -> dict[str, float]:
        """Return all variances by their names in tables.

        Returns
        -------
        dict[str, float]
            Variances by name, in the order of the table.
        """
        return {
            "gauge (R&R)": self.gauge,
            "repeatability": self.repeatability,
            "reproducibility": self.reproducibility,
            "appraiser": self.appraiser,
            "interaction": self.interaction,
            "part to part": self.part,
            "total": self.total,
        }


@dataclass(frozen=True)
class CrossedStudy:
    """A crossed study: both tables, with and without interaction, and the components from the table that counts.

    Parameters
    ----------
    parts : tuple[str, ...]
        Names of the parts.
    appraisers : tuple[str, ...]
        Names of the appraisers.
    cells : Array
        Readings, shape (parts, appraisers, trials).
    with_interaction : tuple[AnovaRow, ...]
        Analysis of variance with the interaction.
    without_interaction : tuple[AnovaRow, ...]
        Analysis with the interaction pooled into repeatability.
    components : Components
        Variances from the table that counts.
    kept_interaction : bool
        True if the table with interaction counts.
    """

    parts: tuple[str, ...]
    appraisers: tuple[str, ...]
    cells: Array
    with_interaction: tuple[AnovaRow, ...]
    without_interaction: tuple[AnovaRow, ...]
    components: Components
    kept_interaction: bool

    @property
    def table(self) -> tuple[AnovaRow, ...]:
        """The analysis of variance that counts."""
        return self.with_interaction if self.kept_interaction else self.without_interaction

    def pct_of_study(self, name: str) -> float:
        """Return the standard deviation of a component as a percentage of the total.

        Parameters
        ----------
        name : str
            Name of the component, as `Components.named` has it.

        Returns
        -------
        float
            Percentage; these do not add up to 100.
        """
        return 100 * math.sqrt(self.components.named()[name] / self.components.total)

    def pct_of_variance(self, name: str) -> float:
        """Return the variance of a component as a percentage of the total.

        Parameters
        ----------
        name : str
            Name of the component, as `Components.named` has it.

        Returns
        -------
        float
            Percentage; these add up to 100.
        """
        return 100 * self.components.named()[name] / self.components.total

    def pct_of_tolerance(self, name: str, tolerance: float) -> float:
        """Return six standard deviations of a component as a percentage of a tolerance.

        Parameters
        ----------
        name : str
            Name of the component, as `Components.named` has it.
        tolerance : float
            Width between the two limits, in the unit of the readings.

        Returns
        -------
        float
            Percentage.
        """
        return 100 * SIGMAS_OF_A_STUDY * math.sqrt(self.components.named()[name]) / tolerance

    @property
    def classes(self) -> float:
        """Number of classes of parts that the gauge can tell apart, not rounded down; infinite for a perfect gauge.

        Root of 2 times the standard deviation of the parts over that of the gauge: D. J. Wheeler and R. W. Lyday's
        number of distinct categories, as in AIAG MSA, 4th ed.
        """
        gauge = self.components.gauge
        return math.inf if gauge == 0 else math.sqrt(2 * self.components.part / gauge)


def crossed_study(
    parts: Sequence[str], appraisers: Sequence[str], values: Sequence[float], interaction: bool | None = None
) -> CrossedStudy:
    """Analyse a crossed gauge study.

    Parameters
    ----------
    parts : Sequence[str]
        Part of each reading.
    appraisers : Sequence[str]
        Appraiser of each reading.
    values : Sequence[float]
        The readings.
    interaction : bool | None
        True to keep the interaction, False to pool it, None to keep it only when it is significant.

    Returns
    -------
    CrossedStudy
        The study, in the unit of the readings.

    Raises
    ------
    ReadingsError
        Only one appraiser or part, a table that is not crossed and balanced (code `unbalanced`), no repeats, or repeats
        without scatter.

    References
    ----------
    AIAG Measurement Systems Analysis, 4th ed., chapter III B.

    Examples
    --------
    >>> parts, appraisers = ["1", "1", "2", "2"] * 2, ["Ann"] * 4 + ["Ben"] * 4
    >>> study = crossed_study(parts, appraisers, [10.0, 10.1, 12.0, 12.1, 10.1, 10.2, 12.1, 12.2])
    >>> round(study.pct_of_study("gauge (R&R)"), 2)
    6.31
    """
    names, who, cells = _balanced(parts, appraisers, values)
    rows = _anova(cells)
    chance = rows[2].p if rows[2].p is not None else 0.0
    kept = chance <= POOLED_ABOVE if interaction is None else interaction
    pooled = _pooled(rows)
    components = _components(rows if kept else pooled, cells.shape)
    return CrossedStudy(names, who, cells, rows, pooled, components, kept)


def _balanced(
    parts: Sequence[str], appraisers: Sequence[str], values: Sequence[float]
) -> tuple[tuple[str, ...], tuple[str, ...], Array]:
    """Return the names in the order they come, and the readings [parts, appraisers, trials]."""
    cells: dict[tuple[str, str], list[float]] = {}
    for part, appraiser, value in zip(parts, appraisers, values, strict=True):
        cells.setdefault((part, appraiser), []).append(value)
    names, who = tuple(dict.fromkeys(parts)), tuple(dict.fromkeys(appraisers))
    if len(who) < 2:
        raise ReadingsError(
            f"only one appraiser ({', '.join(who) or 'none'}): reproducibility is unknown; let a second person, day or "
            "gauge measure the same parts, or study repeatability alone with: midspan study stability",
            code="one_appraiser",
        )
    if len(names) < 2:
        raise ReadingsError(
            f"only one part ({', '.join(names)}): measure at least five that differ, better ten", code="one_part"
        )
    _check_repeats({(part, appraiser): len(cells.get((part, appraiser), ())) for part in names for appraiser in who})
    table = np.array([[cells[part, appraiser] for appraiser in who] for part in names])
    if not np.ptp(table, axis=2).any():
        raise ReadingsError(
            "every repeat is the same as the first: the gauge resolves too little for this study, or the readings are "
            "copies",
            code="no_scatter",
        )
    return names, who, table


def _check_repeats(numbers: Mapping[tuple[str, str], int]) -> None:
    """Raise ReadingsError unless each appraiser read each part equally often, and at least twice."""
    most = max(numbers.values())
    short = [f"part {part}, appraiser {who} has {number}" for (part, who), number in numbers.items() if number < most]
    if short:
        raise ReadingsError(
            f"the table is not balanced: {'; '.join(short[:3])}{' ...' if len(short) > 3 else ''}, others have {most} "
            f"readings; take the {len(short)} missing ones, or leave those parts out",
            code="unbalanced",
        )
    if most < 2:
        raise ReadingsError(
            "each part was measured once by each appraiser: measure again, otherwise repeatability is unknown",
            code="no_repeats",
        )


def _anova(cells: Array) -> tuple[AnovaRow, ...]:
    """Return the rows of the analysis of variance.

    Sums of squares come from deviations, part by part, so that no digits are lost to a large mean.
    """
    parts, appraisers, trials = cells.shape
    mean = cells.mean()
    by_part = cells.mean(axis=(1, 2)) - mean
    by_appraiser = cells.mean(axis=(0, 2)) - mean
    by_cell = cells.mean(axis=2)
    mixed = by_cell - mean - by_part[:, None] - by_appraiser[None, :]
    error = AnovaRow(
        "repeatability", parts * appraisers * (trials - 1), float(((cells - by_cell[:, :, None]) ** 2).sum())
    )
    interaction = AnovaRow("interaction", (parts - 1) * (appraisers - 1), trials * float((mixed**2).sum()))
    part = AnovaRow("part", parts - 1, appraisers * trials * float((by_part**2).sum()))
    appraiser = AnovaRow("appraiser", appraisers - 1, parts * trials * float((by_appraiser**2).sum()))
    total = AnovaRow("total", cells.size - 1, float(((cells - mean) ** 2).sum()))
    return _tested(part, interaction), _tested(appraiser, interaction), _tested(interaction, error), error, total


def _tested(row: AnovaRow, against: AnovaRow) -> AnovaRow:
    """Return the row with its F and p against another row, unchanged if that has no variance."""
    if against.ms == 0:
        return row
    f = row.ms / against.ms
    return AnovaRow(row.source, row.df, row.ss, f, float(fdtrc(row.df, against.df, f)))


def one_way(groups: Sequence[Sequence[float]], source: str) -> tuple[AnovaRow, AnovaRow]:
    """Analyse the variance between groups, which may differ in size, against that within them.

    Parameters
    ----------
    groups : Sequence[Sequence[float]]
        Readings of each group.
    source : str
        Name of what the groups are, for the table.

    Returns
    -------
    tuple[AnovaRow, AnovaRow]
        The row between the groups, tested, and the row within them.

    Raises
    ------
    ReadingsError
        Fewer than two groups, or no group with two readings.

    Examples
    --------
    >>> between, within = one_way([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]], "session")
    >>> between.ss, within.ss, round(between.f, 9)
    (1.5, 4.0, 1.5)
    """
    data = [np.asarray(group, float) for group in groups]
    everything = np.concatenate(data)
    if len(data) < 2 or len(everything) == len(data):
        raise ReadingsError(
            f"{len(data)} group(s) of {source}: at least two are needed, one of them with two readings or more"
        )
    mean = everything.mean()
    spread = sum(len(group) * (group.mean() - mean) ** 2 for group in data)
    scatter = sum(float(((group - group.mean()) ** 2).sum()) for group in data)
    within = AnovaRow("repeatability", len(everything) - len(data), scatter)
    return _tested(AnovaRow(source, len(data) - 1, float(spread)), within), within


def _pooled(rows: tuple[AnovaRow, ...]) -> tuple[AnovaRow, ...]:
    """Return the analysis of variance with the interaction pooled into repeatability."""
    part, appraiser, interaction, error, total = rows
    pooled = AnovaRow("repeatability", interaction.df + error.df, interaction.ss + error.ss)
    return _tested(part, pooled), _tested(appraiser, pooled), pooled, total


def _components(rows: tuple[AnovaRow, ...], shape: tuple[int, ...]) -> Components:
    """Return the variance components from the expected mean squares."""
    parts, appraisers, trials = shape
    ms = {row.source: row.ms for row in rows}
    beside = ms.get("interaction", ms["repeatability"])
    found = {
        "appraiser": (ms["appraiser"] - beside) / (parts * trials),
        "interaction": (beside - ms["repeatability"]) / trials,
        "part to part": (ms["part"] - beside) / (appraisers * trials),
    }
    negative = tuple(name for name, variance in found.items() if variance < 0)
    appraiser, interaction, part = (max(variance, 0.0) for variance in found.values())
    return Components(ms["repeatability"], appraiser, interaction, part, negative)
