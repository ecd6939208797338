"""Crossed gauge study: how much of what is seen comes from the parts, and how much from measuring them.

Every appraiser measures every part equally often. Two-way analysis of variance with random effects (D. C.
Montgomery, Design and Analysis of Experiments, chapter on random factors; AIAG Measurement Systems Analysis, 4th
ed., chapter III B): repeatability is the scatter of one appraiser on one part, reproducibility what appraisers
and their interaction with parts add. A variance that comes out negative is nothing, and said to be so.

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
POOLED_ABOVE = 0.05  # an interaction that chance makes oftener than this is taken for repeatability
# AIAG MSA, 4th ed., chapter II D: below a tenth acceptable, below three tenths depends on the use; five classes.
GOOD_PCT, USABLE_PCT, CLASSES_WANTED = 10.0, 30.0, 5
SIGMAS_OF_A_STUDY = 6.0  # a tolerance is compared with six standard deviations (AIAG MSA, 4th ed.)


@dataclass(frozen=True)
class AnovaRow:
    """One source of variation; f and p are None where nothing is tested against it."""

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
    """Variances in the square of the readings' unit; `negative` names those that came out below nothing."""

    repeatability: float
    appraiser: float
    interaction: float
    part: float
    negative: tuple[str, ...]

    @property
    def reproducibility(self) -> float:
        """What appraisers add, alone and by part."""
        return self.appraiser + self.interaction

    @property
    def gauge(self) -> float:
        """Repeatability and reproducibility together."""
        return self.repeatability + self.reproducibility

    @property
    def total(self) -> float:
        """Everything, parts included."""
        return self.gauge + self.part

    def named(self) -> dict[str, float]:
        """All of them by the name they have in tables."""
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
    """Both tables, with and without the interaction, and the components of the one that counts."""

    parts: tuple[str, ...]
    appraisers: tuple[str, ...]
    cells: Array  # [parts, appraisers, trials]
    with_interaction: tuple[AnovaRow, ...]
    without_interaction: tuple[AnovaRow, ...]
    components: Components
    kept_interaction: bool

    @property
    def table(self) -> tuple[AnovaRow, ...]:
        """The analysis of variance that counts."""
        return self.with_interaction if self.kept_interaction else self.without_interaction

    def pct_of_study(self, name: str) -> float:
        """Standard deviation of a component in percent of the total one."""
        return 100 * math.sqrt(self.components.named()[name] / self.components.total)

    def pct_of_variance(self, name: str) -> float:
        """Variance of a component in percent of the total one: these add up to 100."""
        return 100 * self.components.named()[name] / self.components.total

    def pct_of_tolerance(self, name: str, tolerance: float) -> float:
        """Six standard deviations of a component in percent of the width between two limits."""
        return 100 * SIGMAS_OF_A_STUDY * math.sqrt(self.components.named()[name]) / tolerance

    @property
    def classes(self) -> float:
        """How many classes of parts the gauge tells apart: root of 2 times part to part over gauge, not yet cut.

        D. J. Wheeler and R. W. Lyday's number of distinct categories, as AIAG MSA, 4th ed., has it.
        """
        gauge = self.components.gauge
        return math.inf if gauge == 0 else math.sqrt(2 * self.components.part / gauge)


def crossed_study(
    parts: Sequence[str], appraisers: Sequence[str], values: Sequence[float], interaction: bool | None = None
) -> CrossedStudy:
    """Analyse readings that stand one a line; with interaction None, it is kept when chance seldom makes it.

    Raises ReadingsError when the table is not crossed and balanced, naming the cells, or no repeat varies.
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
    """The names in the order they come, and the readings [parts, appraisers, trials]."""
    cells: dict[tuple[str, str], list[float]] = {}
    for part, appraiser, value in zip(parts, appraisers, values, strict=True):
        cells.setdefault((part, appraiser), []).append(value)
    names, who = tuple(dict.fromkeys(parts)), tuple(dict.fromkeys(appraisers))
    if len(who) < 2:
        raise ReadingsError(
            f"only one appraiser ({', '.join(who) or 'none'}): what another person, day or gauge adds cannot be told; "
            "let a second one measure the same parts, or look at repeatability alone with: midspan study stability"
        )
    if len(names) < 2:
        raise ReadingsError(f"only one part ({', '.join(names)}): measure at least five that differ, better ten")
    _check_repeats({(part, one): len(cells.get((part, one), ())) for part in names for one in who})
    table = np.array([[cells[part, one] for one in who] for part in names])
    if not np.ptp(table, axis=2).any():
        raise ReadingsError(
            "every repeat is the same as the first: the gauge resolves too little for this study, or the readings are "
            "copies of one"
        )
    return names, who, table


def _check_repeats(numbers: Mapping[tuple[str, str], int]) -> None:
    """ReadingsError unless each part was read equally often by each appraiser, twice at least."""
    most = max(numbers.values())
    short = [f"part {part}, appraiser {who} has {number}" for (part, who), number in numbers.items() if number < most]
    if short:
        raise ReadingsError(
            f"the table is not balanced: {'; '.join(short[:3])}{' ...' if len(short) > 3 else ''}, others have {most} "
            f"readings; take the {len(short)} missing ones, or leave those parts out"
        )
    if most < 2:
        raise ReadingsError("each part was measured once by each appraiser: repeat it, or repeatability is unknown")


def _anova(cells: Array) -> tuple[AnovaRow, ...]:
    """Sums of squares from deviations, part by part, so that no digits are lost to a large mean."""
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
    """The row with F and the chance of so large an F; None when there is nothing to divide by."""
    if against.ms == 0:
        return row
    f = row.ms / against.ms
    return AnovaRow(row.source, row.df, row.ss, f, float(fdtrc(row.df, against.df, f)))


def one_way(groups: Sequence[Sequence[float]], source: str) -> tuple[AnovaRow, AnovaRow]:
    """Analysis of variance of groups that may differ in size: between them, tested against within.

    Raises ReadingsError for fewer than two groups, or when no group was read twice.

    >>> between, within = one_way([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]], "session")
    >>> between.ss, within.ss, round(between.f, 9)
    (1.5, 4.0, 1.5)
    """
    data = [np.asarray(group, float) for group in groups]
    everything = np.concatenate(data)
    if len(data) < 2 or len(everything) == len(data):
        raise ReadingsError(f"{len(data)} group(s) of {source}: two are needed, and one of them read at least twice")
    mean = everything.mean()
    spread = sum(len(group) * (group.mean() - mean) ** 2 for group in data)
    scatter = sum(float(((group - group.mean()) ** 2).sum()) for group in data)
    within = AnovaRow("repeatability", len(everything) - len(data), scatter)
    return _tested(AnovaRow(source, len(data) - 1, float(spread)), within), within


def _pooled(rows: tuple[AnovaRow, ...]) -> tuple[AnovaRow, ...]:
    part, appraiser, interaction, error, total = rows
    pooled = AnovaRow("repeatability", interaction.df + error.df, interaction.ss + error.ss)
    return _tested(part, pooled), _tested(appraiser, pooled), pooled, total


def _components(rows: tuple[AnovaRow, ...], shape: tuple[int, ...]) -> Components:
    """Variances from expected mean squares."""
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
