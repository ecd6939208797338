"""What the commands of the studies do, once their options are known."""

import json
import math
import sys
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.table import Table

from midspan.base.errors import ReadingsError
from midspan.report import plot_study, study_text
from midspan.report.result_text import console
from midspan.store.read_only import open_to_read
from midspan.study.control_chart import individuals_chart, weighted_mean
from midspan.study.gauge_rr import crossed_study
from midspan.study.linearity import Reference, bias_study, linearity_study
from midspan.study.population import stock_study
from midspan.study.source import (
    StudyReading,
    by_day,
    from_batches,
    from_labels,
    from_stock,
    from_table,
    references_in,
    references_of,
)
from midspan.study.stability import stability_study

INTERACTION = {"auto": None, "with": True, "without": False}


def gauge(
    csv: Path | None, store: Path, batches: list[str], quantity: str, interaction: str, tolerance: float | None,
    picture: Path | None, *, as_json: bool,
) -> None:  # fmt: skip
    """Print a crossed gauge study."""
    rows = from_table(csv) if csv else _of_batches(store, batches, quantity)
    parts, appraisers = [one.part for one in rows], [one.appraiser for one in rows]
    study = crossed_study(parts, appraisers, [one.value for one in rows], INTERACTION[interaction])
    verdict = list(study_text.gauge_verdict(study, tolerance))
    tables = [study_text.anova_table(study.table), study_text.components_table(study, tolerance)]
    values: dict[str, Any] = {
        "anova": [asdict(row) for row in study.table],
        "interaction_kept": study.kept_interaction,
        "variances": study.components.named(),
        "pct_of_study": {name: study.pct_of_study(name) for name in study.components.named()},
        "classes": study.classes,
    }
    _say(tables, verdict, values, as_json)
    if picture:
        plot_study.draw_gauge(study, picture, _words(csv, quantity))
        _say_picture(picture)


def linearity(
    csv: Path | None, store: Path, bars: list[Path], quantity: str, tolerance: float | None, picture: Path | None,
    *, as_json: bool,
) -> None:  # fmt: skip
    """Print a study of linearity and bias."""
    known, rows = _against(csv, store, bars, quantity)
    study = linearity_study([one.part for one in rows], [one.value for one in rows], known)
    capable = study_text.capability(study.names, study.at, tolerance)
    verdict = [*study_text.linearity_verdict(study), *capable]
    values = {
        "bias": {name: one.bias for name, one in zip(study.names, study.at, strict=True)},
        "constant": float(study.line.coefficients[0]),
        "slope": float(study.line.coefficients[1]),
        "t": study.t,
        "p": study.p,
        "r_squared": study.r_squared,
    }
    _say([study_text.bias_table(study.names, study.at), study_text.line_table(study)], verdict, values, as_json)
    if picture:
        plot_study.draw_linearity(study, picture, _words(csv, quantity))
        _say_picture(picture)


def bias(
    csv: Path | None, store: Path, bars: list[Path], quantity: str, tolerance: float | None, picture: Path | None,
    *, as_json: bool,
) -> None:  # fmt: skip
    """Print the bias against each reference on its own."""
    known, rows = _against(csv, store, bars, quantity)
    by_part: dict[str, list[float]] = {}
    for one in rows:
        by_part.setdefault(one.part, []).append(one.value)
    at = [bias_study(values, known[name].value, known[name].u) for name, values in by_part.items()]
    names = list(by_part)
    verdict = [*study_text.bias_verdict(names, at), *study_text.capability(names, at, tolerance)]
    values = {"bias": {name: asdict(one) | {"bias": one.bias} for name, one in zip(names, at, strict=True)}}
    _say([study_text.bias_table(names, at)], verdict, values, as_json)
    if picture:
        plot_study.draw_bias(names, at, picture, _words(csv, quantity))
        _say_picture(picture)


def _against(
    csv: Path | None, store: Path, bars: list[Path], quantity: str
) -> tuple[dict[str, Reference], list[StudyReading]]:
    if csv:
        return references_in(csv), from_table(csv)
    known = references_of(bars)
    return known, of_labels(store, list(known), quantity)


def stability(
    csv: Path | None, store: Path, labels: list[str], quantity: str, picture: Path | None, *, as_json: bool
) -> None:
    """Print a study of stability."""
    rows = from_table(csv, timed=True) if csv else of_labels(store, labels, quantity)
    days = list(by_day(rows))
    study = stability_study([readings for _, readings in days], [day for day, _ in days])
    verdict = list(study_text.stability_verdict(study))
    values = {"mean": study.mean, "session_sd": study.sessions.sd, "limits": study.limits, "drift_p": study.drift_p}
    values |= {"within_sd": study.within_sd, "drift_per_day": study.drift_per_day}
    _say([study_text.stability_table(study)], verdict, values, as_json)
    if picture:
        plot_study.draw_stability(study, picture, _words(csv, quantity))
        _say_picture(picture)


def stock(
    csv: Path | None, store: Path, batches: list[str], quantity: str, limits: tuple[float | None, float | None],
    share: float, confidence: float, picture: Path | None, *, as_json: bool,
) -> None:  # fmt: skip
    """Print what a sample says of the stock that it comes from."""
    rows = from_table(csv) if csv else _of_stock(store, batches, quantity)
    study = stock_study([one.value for one in rows], *limits, share, confidence)
    verdict = list(study_text.stock_verdict(study))
    ends = [None if math.isinf(end) else end for end in study.interval]
    values = {"mean": study.mean, "sd": study.sd, "interval": ends, "cp": study.cp, "cpk": study.cpk}
    values |= {"outside": study.outside, "normal_p": study.normal_p, "number": len(study.values)}
    _say([study_text.stock_table(study)], verdict, values, as_json)
    if picture:
        plot_study.draw_stock(study, picture, _words(csv, quantity))
        _say_picture(picture)


def chart(
    csv: Path | None, store: Path, labels: list[str], quantity: str, baseline: int | None, weight: float,
    picture: Path | None, *, as_json: bool,
) -> None:  # fmt: skip
    """Print the control charts of a check standard."""
    rows = from_table(csv, timed=True) if csv else of_labels(store, labels, quantity)
    found = individuals_chart([one.value for one in sorted(rows, key=lambda one: one.day)], baseline)
    mean = weighted_mean(found, weight)
    verdict = list(study_text.chart_verdict(found, mean))
    signals = [{"reading": one.at + 1, "rule": one.rule.name, "source": one.rule.source} for one in found.signals]
    values = {"centre": found.centre, "sigma": found.sigma, "limits": found.limits, "signals": signals}
    _say([study_text.chart_table(found, mean)], verdict, values, as_json)
    if picture:
        plot_study.draw_chart(found, mean, picture, _words(csv, quantity), csv.name if csv else ", ".join(labels))
        _say_picture(picture)


def _of_batches(store_file: Path, batches: list[str], quantity: str) -> list[StudyReading]:
    if len(batches) < 2:
        raise ReadingsError("name the batches of two or more appraisers: --batch 1,2 --batch 3,4; or give a --csv")
    with open_to_read(store_file) as store:
        return _some(from_batches(store, batches, quantity), store_file)


def _of_stock(store_file: Path, batches: list[str], quantity: str) -> list[StudyReading]:
    if not batches:
        raise ReadingsError("name a --batch; or give a --csv")
    with open_to_read(store_file) as store:
        return _some(from_stock(store, batches, quantity), store_file)


def of_labels(store_file: Path, labels: list[str], quantity: str) -> list[StudyReading]:
    """Results of labelled shafts; ReadingsError when there are none."""
    if not labels:
        raise ReadingsError("name what to study: --label of a check standard (or --bar files), or give a --csv")
    with open_to_read(store_file) as store:
        return _some(from_labels(store, labels, quantity), store_file)


def _some(rows: list[StudyReading], store_file: Path) -> list[StudyReading]:
    if not rows:
        raise ReadingsError(f"{store_file}: no results of that name or batch; check it with: midspan show")
    return rows


def _say(tables: Iterable[Table], verdict: list[str], values: dict[str, Any], as_json: bool) -> None:
    if as_json:
        print(json.dumps(values | {"verdict": verdict}, allow_nan=False))
        return
    screen = console()
    for table in tables:
        screen.print(table, "")
    for sentence in verdict:
        screen.print(sentence)


def _words(csv: Path | None, quantity: str) -> str:
    """What is on an axis: a stored quantity with its unit; a table does not say its unit."""
    return "value" if csv else ", ".join(quantity.rsplit("_", 1))


def _say_picture(picture: Path) -> None:
    print(f"picture: {picture}", file=sys.stderr)
