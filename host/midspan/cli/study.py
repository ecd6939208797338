"""`midspan study`: how well a gauge measures."""

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midspan.base.errors import ReadingsError
from midspan.cli.options import STORE, AsJson, Commands, Picture, StoreAt
from midspan.cli.screen import aside
from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from rich.table import Table

    from midspan.study.control_chart import ControlChart, WeightedMean
    from midspan.study.linearity import BiasStudy, Reference
    from midspan.study.source import StudyReading

study = typer.Typer(
    cls=Commands,
    help="Study how well a gauge measures: repeatability, bias, stability, control charts.",
    epilog="Example: midspan study chart --label bar-1",
    no_args_is_help=True,
)


class Interaction(StrEnum):
    """Treatment of the interaction of appraiser and part: kept, dropped, or decided by its F test."""

    AUTO = "auto"
    WITH = "with"
    WITHOUT = "without"


class Quantity(StrEnum):
    """Quantity of a stored result to study."""

    SPINE = "spine_thou"
    SPREAD = "spread_thou"
    RUNOUT = "runout_mm"
    HYSTERESIS = "hysteresis_pct"
    OLDER = "older_lb"

    @property
    def words(self) -> str:
        """Name and unit for an axis."""
        return ", ".join(self.rsplit("_", 1))


Labels = Annotated[list[str] | None, typer.Option("--label", help="Label of the check standard.")]
Of = Annotated[Quantity, typer.Option("--quantity", help="Which quantity of the stored results to study.")]
References = Annotated[
    Path | None, typer.Option("--csv", help="Readings: columns part, reference, value; u_reference, u_shared.")
]
Bars = Annotated[list[Path] | None, typer.Option("--bar", help="File of an assigned bar (midspan hand assign).")]
Tolerance = Annotated[
    float | None,
    typer.Option(min=1e-9, max=1e9, help="Width between two limits that the gauge must serve, in the same unit."),
]
KEPT = {Interaction.AUTO: None, Interaction.WITH: True, Interaction.WITHOUT: False}


@dataclass(frozen=True)
class StudySource:
    """Source of the readings of a study: a table, or a quantity of stored results."""

    csv: Path | None
    store: StorePlace
    quantity: Quantity

    @property
    def words(self) -> str:
        """Text for an axis: the stored quantity with its unit; a table does not give a unit."""
        return "value" if self.csv else self.quantity.words

    def of_batches(self, batches: Sequence[str]) -> "list[StudyReading]":
        """Return the readings of the table, or of the batches of each appraiser; at least two appraisers."""
        from midspan.study.source import from_batches, from_table

        if self.csv:
            return from_table(self.csv)
        if len(batches) < 2:
            raise ReadingsError("name the batches of two or more appraisers: --batch 1,2 --batch 3,4; or give a --csv")
        with self.store.open_to_read() as store:
            return _some(from_batches(store, batches, self.quantity), self.store)

    def of_stock(self, batches: Sequence[str]) -> "list[StudyReading]":
        """Return the readings of the table, or of the batches named."""
        from midspan.study.source import from_stock, from_table

        if self.csv:
            return from_table(self.csv)
        if not batches:
            raise ReadingsError("name a --batch; or give a --csv")
        with self.store.open_to_read() as store:
            return _some(from_stock(store, batches, self.quantity), self.store)

    def timed(self, labels: Sequence[str]) -> "list[StudyReading]":
        """Return the readings of the table with their days, or of labelled shafts."""
        from midspan.study.source import from_table

        return from_table(self.csv, timed=True) if self.csv else of_labels(self.store, labels, self.quantity)

    def against(self, bars: Sequence[Path]) -> "tuple[dict[str, Reference], list[StudyReading]]":
        """Return known values and readings by part, from the table or from files of bars."""
        from midspan.study.source import from_table, references_in, references_of

        if self.csv:
            return references_in(self.csv), from_table(self.csv)
        known = references_of(bars)
        return known, of_labels(self.store, list(known), self.quantity)


def of_labels(place: StorePlace, labels: Sequence[str], quantity: Quantity) -> "list[StudyReading]":
    """Return stored results of labelled shafts; a ReadingsError says that there are none."""
    from midspan.study.source import from_labels

    if not labels:
        raise ReadingsError("name what to study: --label of a check standard (or --bar files), or give a --csv")
    with place.open_to_read() as store:
        return _some(from_labels(store, labels, quantity), place)


def _some(rows: "list[StudyReading]", place: StorePlace) -> "list[StudyReading]":
    """Return the readings; a ReadingsError says that there are none."""
    if not rows:
        raise ReadingsError(f"{place}: no results of that name or batch; look it up with: midspan show")
    older = sum(row.converted for row in rows)
    if older:
        aside(f"{older} of {len(rows)} spines are of an earlier version and were converted to normal reactions")
    return rows


@dataclass(frozen=True)
class Findings:
    """Result of a study: tables and sentences for people, plain values for programs, and how to draw it."""

    tables: "Sequence[Table]"
    verdict: Sequence[str]
    values: dict[str, Any]
    draw: Callable[[Path], None]

    def tell(self, picture: Path | None, *, as_json: bool) -> None:
        """Print everything as text or JSON, and draw it if a picture is asked for."""
        if as_json:
            print(json.dumps(self.values | {"verdict": self.verdict}, allow_nan=False))
        else:
            self._print()
        if picture:
            self.draw(picture)
            aside(f"picture: {picture}")

    def _print(self) -> None:
        """Print tables and sentences."""
        from midspan.report.result_text import console

        screen = console()
        for table in self.tables:
            screen.print(table, "")
        for sentence in self.verdict:
            screen.print(sentence)


@study.command("gauge", epilog="Example: midspan study gauge --batch 1,2 --batch 3,4 --batch 5,6 --tolerance 10")
def gauge(
    csv: Annotated[Path | None, typer.Option(help="Readings: columns part, appraiser, value.")] = None,
    store: StoreAt = STORE,
    batch: Annotated[
        list[str] | None, typer.Option(help="Stored batches of one appraiser, as 1,4,7; once for each appraiser.")
    ] = None,
    quantity: Of = Quantity.SPINE,
    interaction: Annotated[
        Interaction, typer.Option(help="Keep it, drop it, or decide by its F test.")
    ] = Interaction.AUTO,
    tolerance: Tolerance = None,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Repeatability and reproducibility: the same parts, measured by several people, days or gauges."""
    from midspan.report import plot_study, study_text
    from midspan.study.gauge_rr import crossed_study

    source = StudySource(csv, store, quantity)
    rows = source.of_batches(batch or [])
    parts, appraisers = [row.part for row in rows], [row.appraiser for row in rows]
    found = crossed_study(parts, appraisers, [row.value for row in rows], KEPT[interaction])
    verdict = list(study_text.gauge_verdict(found, tolerance))
    tables = [study_text.anova_table(found.table), study_text.components_table(found, tolerance)]
    values: dict[str, Any] = {
        "anova": [asdict(row) for row in found.table],
        "interaction_kept": found.kept_interaction,
        "variances": found.components.named(),
        "pct_of_study": {name: found.pct_of_study(name) for name in found.components.named()},
        "classes": found.classes,
    }
    if tolerance:
        values["pct_of_tolerance"] = {name: found.pct_of_tolerance(name, tolerance) for name in values["variances"]}
    findings = Findings(tables, verdict, values, lambda file: plot_study.draw_gauge(found, file, source.words))
    findings.tell(picture, as_json=as_json)


@study.command("linearity", epilog="Example: midspan study linearity --bar soft.toml --bar mid.toml --bar stiff.toml")
def linearity(
    csv: References = None,
    store: StoreAt = STORE,
    bar: Bars = None,
    quantity: Of = Quantity.SPINE,
    tolerance: Tolerance = None,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Bias against bars of known value, and whether it changes along the range."""
    from midspan.report import plot_study, study_text
    from midspan.study.linearity import linearity_study

    source = StudySource(csv, store, quantity)
    known, rows = source.against(bar or [])
    found = linearity_study([row.part for row in rows], [row.value for row in rows], known)
    capable = study_text.capability(found.names, found.at, tolerance)
    verdict = [*study_text.linearity_verdict(found), *capable]
    tables = [study_text.bias_table(found.names, found.at), study_text.line_table(found)]
    values = {
        "bias": {name: bias.bias for name, bias in zip(found.names, found.at, strict=True)},
        "constant": float(found.line.coefficients[0]),
        "slope": float(found.line.coefficients[1]),
        "scatter": found.line.residual_sd,
        "t": found.t,
        "u": found.u,
        "p": found.p,
        "r_squared": found.r_squared,
        "real_biases": found.real_biases(),
    }
    findings = Findings(tables, verdict, values, lambda file: plot_study.draw_linearity(found, file, source.words))
    findings.tell(picture, as_json=as_json)


@study.command("bias", epilog="Example: midspan study bias --bar bar-1.toml --tolerance 10")
def bias(
    csv: References = None,
    store: StoreAt = STORE,
    bar: Bars = None,
    quantity: Of = Quantity.SPINE,
    tolerance: Tolerance = None,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Bias against one bar of known value, or several, each on its own."""
    from midspan.report import plot_study, study_text
    from midspan.study.linearity import bias_study

    source = StudySource(csv, store, quantity)
    known, rows = source.against(bar or [])
    by_part: dict[str, list[float]] = {}
    for row in rows:
        by_part.setdefault(row.part, []).append(row.value)
    names, at = (
        list(by_part),
        [bias_study(values, known[name].value, known[name].u) for name, values in by_part.items()],
    )
    verdict = [*study_text.bias_verdict(names, at), *study_text.capability(names, at, tolerance)]
    biases = {name: _bias_values(found, tolerance) for name, found in zip(names, at, strict=True)}
    tables = [study_text.bias_table(names, at)]
    findings = Findings(
        tables, verdict, {"bias": biases}, lambda file: plot_study.draw_bias(names, at, file, source.words)
    )
    findings.tell(picture, as_json=as_json)


def _bias_values(found: "BiasStudy", tolerance: float | None) -> dict[str, Any]:
    """Return the study of a bias for a program, with its capability if there is a tolerance."""
    values = asdict(found) | {"bias": found.bias, "is_real": found.is_real}
    if tolerance:
        bounds = found.cgk_bounds(tolerance)
        values |= {"cg": found.cg(tolerance), "cgk": found.cgk(tolerance), "cgk_bounds": bounds}
    return values


@study.command("stability", epilog="Example: midspan study stability --label bar-1 --picture bar-1.png")
def stability(
    csv: Annotated[Path | None, typer.Option(help="Readings: columns value and day (a date or a number).")] = None,
    store: StoreAt = STORE,
    label: Labels = None,
    quantity: Of = Quantity.SPINE,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Scatter within and between days, and drift, of one check standard."""
    from midspan.report import plot_study, study_text
    from midspan.study.source import by_day
    from midspan.study.stability import stability_study

    source = StudySource(csv, store, quantity)
    days = list(by_day(source.timed(label or [])))
    found = stability_study([readings for _, readings in days], [day for day, _ in days])
    verdict = list(study_text.stability_verdict(found))
    values = {"mean": found.mean, "session_sd": found.sessions.sd, "limits": found.limits, "drift_p": found.drift_p}
    values |= {"within_sd": found.within_sd, "drift_per_day": found.drift_per_day}
    values |= {"within_dof": found.within and found.within.dof, "session_dof": found.sessions.dof}
    values |= {"session_means": found.means, "restless": [i + 1 for i in found.restless]}
    tables = [study_text.stability_table(found)]
    findings = Findings(tables, verdict, values, lambda file: plot_study.draw_stability(found, file, source.words))
    findings.tell(picture, as_json=as_json)


@study.command(
    "stock",
    help="Where nearly all shafts of a stock lie, and how well they suit given limits.",
    epilog="Example: midspan study stock --batch 1 --low 493 --high 505",
)
def stock(
    csv: Annotated[Path | None, typer.Option(help="Values: column value.")] = None,
    store: StoreAt = STORE,
    batch: Annotated[list[str] | None, typer.Option(help="Stored batches, as 1,4,7.")] = None,
    quantity: Of = Quantity.SPINE,
    low: Annotated[float | None, typer.Option(min=-1e9, max=1e9, help="Lower limit, if there is one.")] = None,
    high: Annotated[float | None, typer.Option(min=-1e9, max=1e9, help="Upper limit, if there is one.")] = None,
    share: Annotated[
        float, typer.Option(min=0.5, max=0.9999, help="Share of all shafts that the limits should hold.")
    ] = 0.95,
    confidence: Annotated[float, typer.Option(min=0.5, max=0.9999, help="Confidence for that share.")] = 0.95,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Print the interval that holds nearly all shafts of a stock, and how well they suit given limits."""
    from midspan.report import plot_study, study_text
    from midspan.study.population import stock_study

    source = StudySource(csv, store, quantity)
    found = stock_study([row.value for row in source.of_stock(batch or [])], low, high, share, confidence)
    verdict = list(study_text.stock_verdict(found))
    ends = [None if math.isinf(end) else end for end in found.interval]
    values = {"mean": found.mean, "sd": found.sd, "interval": ends, "cp": found.cp, "cpk": found.cpk}
    values |= {"outside": found.outside, "normal_p": found.normal_p, "number": len(found.values)}
    values |= {"cpk_bounds": found.cpk_bounds, "suits": found.suits}
    tables = [study_text.stock_table(found)]
    findings = Findings(tables, verdict, values, lambda file: plot_study.draw_stock(found, file, source.words))
    findings.tell(picture, as_json=as_json)


@study.command("chart", epilog="Example: midspan study chart --label bar-1 --baseline 20")
def chart(
    csv: Annotated[
        Path | None, typer.Option(help="Readings in the order of time: column value, and day if known.")
    ] = None,
    store: StoreAt = STORE,
    label: Labels = None,
    quantity: Of = Quantity.SPINE,
    baseline: Annotated[
        int | None, typer.Option(min=2, help="First readings that make the limits; else 20, or all if there are fewer.")
    ] = None,
    centre: Annotated[
        float | None, typer.Option(min=-1e9, max=1e9, help="Centre line, if known; with --sigma.")
    ] = None,
    sigma: Annotated[float | None, typer.Option(min=1e-12, max=1e9, help="Sigma of a reading, if known.")] = None,
    weight: Annotated[float, typer.Option(min=0.01, max=1.0, help="Weight of the newest reading in the mean.")] = 0.2,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Control charts of a check standard: single readings, moving range, weighted mean, run rules."""
    from midspan.report import plot_study, study_text
    from midspan.study.control_chart import ChartBasis, individuals_chart, weighted_mean

    source = StudySource(csv, store, quantity)
    rows = sorted(source.timed(label or []), key=lambda row: row.day)
    found = individuals_chart(*charted(rows), ChartBasis(baseline or enough_of(rows), centre, sigma))
    mean = weighted_mean(found, weight)
    verdict = list(study_text.chart_verdict(found, mean))
    tables, name = [study_text.chart_table(found, mean)], csv.name if csv else ", ".join(label or [])
    findings = Findings(
        tables,
        verdict,
        _chart_values(found, mean),
        lambda file: plot_study.draw_chart(found, mean, file, source.words, name),
    )
    findings.tell(picture, as_json=as_json)


def charted(rows: "Sequence[StudyReading]") -> tuple[list[float], list[int]]:
    """Return the values of readings in the order of time, and the session of each."""
    from midspan.study.scatter import sessions_of

    return [row.value for row in rows], sessions_of([row.day for row in rows])


def enough_of(rows: "Sequence[StudyReading]") -> int | None:
    """Return how many of the first readings make reliable limits, None for all where there are no more."""
    from midspan.study.control_chart import ENOUGH

    return ENOUGH if len(rows) > ENOUGH else None


def _chart_values(chart: "ControlChart", mean: "WeightedMean") -> dict[str, Any]:
    """Return a control chart for a program; readings are counted from 1."""
    from midspan.study.control_chart import out_of_control
    from midspan.study.run_length import run_length

    bad = out_of_control(chart, mean)
    dof = chart.scatter.dof
    return {
        "centre": chart.centre,
        "sigma": chart.sigma,
        "sigma_from": chart.scatter.source.value,
        "sigma_within": math.sqrt(chart.scatter.within),
        "sigma_between": math.sqrt(chart.scatter.between),
        "dof": None if math.isinf(dof) else dof,
        "baseline": chart.baseline,
        "provisional": chart.provisional,
        "limits": chart.limits,
        "action_limits": chart.action_limits,
        "range_limit": chart.range_limit,
        "ranges": chart.ranges,
        "jumps": [i + 1 for i in chart.wide_ranges],
        "weighted_mean": {"mean": mean.means, "low": mean.low, "high": mean.high},
        "weighted_mean_outside": [i + 1 for i in mean.signals],
        "signals": [
            {"reading": signal.at + 1, "rule": signal.rule.name, "source": signal.rule.source}
            for signal in chart.signals
        ],
        "in_control": bad is None,
        "shift_since": None if bad is None else bad.likeliest + 1,
        "shift_earliest": None if bad is None else bad.earliest + 1,
        "readings_until": {
            "false alarm": run_length(0.0, weight=mean.weight),
            **{f"{sigmas:g} sigma": run_length(sigmas, weight=mean.weight) for sigmas in (0.5, 1.0, 1.5, 2.0, 3.0)},
        },
    }
