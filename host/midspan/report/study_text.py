"""Studies for people: tables of numbers, and a verdict in sentences that says what to do."""

import math
from collections.abc import Iterator, Sequence

from rich.table import Table

from midspan.base.formatting import places_for
from midspan.study.control_chart import (
    ENOUGH,
    RULES,
    WESTERN_ELECTRIC,
    ControlChart,
    WeightedMean,
    out_of_control,
)
from midspan.study.gauge_rr import CLASSES_WANTED, GOOD_PCT, USABLE_PCT, AnovaRow, CrossedStudy
from midspan.study.linearity import ALPHA, BiasStudy, LinearityStudy
from midspan.study.population import CAPABLE, StockStudy
from midspan.study.run_length import rules_run_length, run_length
from midspan.study.scatter import SESSIONS_WANTED, ScatterSource
from midspan.study.stability import StabilityStudy

MANY_CLASSES = 1000


def _table(*headings: str) -> Table:
    """Return a table of numbers: the first column names them, a last column "signal" says what they show."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for i, heading in enumerate(headings):
        table.add_column(heading, justify="right" if i and heading != "signal" else "left")
    return table


def anova_table(rows: tuple[AnovaRow, ...]) -> Table:
    """Return an analysis of variance: degrees of freedom, sums of squares, mean squares, F and p.

    Parameters
    ----------
    rows : tuple[AnovaRow, ...]
        Rows of the analysis.

    Returns
    -------
    Table
        The rows.
    """
    table = _table("source", "df", "sum of squares", "mean square", "F", "p")
    for row in rows:
        tested = ("", "") if row.f is None or row.p is None else (f"{row.f:.3f}", f"{row.p:.3g}")
        table.add_row(row.source, str(row.df), f"{row.ss:.6g}", f"{row.ms:.6g}", *tested)
    return table


def components_table(study: CrossedStudy, tolerance: float | None) -> Table:
    """Return standard deviation and shares of every component of variation.

    Parameters
    ----------
    study : CrossedStudy
        The study.
    tolerance : float or None
        Width of the tolerance in the unit of the readings, None without one.

    Returns
    -------
    Table
        The rows.
    """
    extra = ["% of tolerance"] if tolerance else []
    table = _table("component", "variance", "sd", "% of variance", "% of study", *extra)
    for name, variance in study.components.named().items():
        last = [f"{study.pct_of_tolerance(name, tolerance):.2f}"] if tolerance else []
        shares = f"{study.pct_of_variance(name):.2f}", f"{study.pct_of_study(name):.2f}"
        table.add_row(name, f"{variance:.6g}", f"{variance**0.5:.6g}", *shares, *last)
    return table


def gauge_verdict(study: CrossedStudy, tolerance: float | None) -> Iterator[str]:
    """Yield what a study of repeatability and reproducibility means, and what to do.

    Parameters
    ----------
    study : CrossedStudy
        The study.
    tolerance : float or None
        Width of the tolerance in the unit of the readings, None without one.

    Yields
    ------
    str
        A sentence.
    """
    share = study.pct_of_tolerance("gauge (R&R)", tolerance) if tolerance else study.pct_of_study("gauge (R&R)")
    against = f"the tolerance of {tolerance:g}" if tolerance else "all that was seen"
    yield f"Measuring takes {share:.1f} % of {against}: {_grade(share)}."
    classes = int(study.classes) if study.classes < MANY_CLASSES else "any number of"
    few = ", so it sorts too coarsely" if int(min(study.classes, MANY_CLASSES)) < CLASSES_WANTED else ""
    yield f"It tells {classes} classes of these parts apart; {CLASSES_WANTED} are wanted{few}."
    parts = study.components
    if parts.repeatability >= parts.reproducibility:
        yield "Most of it is scatter of one appraiser on one part: look at the gauge and how a part is put in."
    else:
        yield "Most of it is difference between appraisers: agree on one way, and train or calibrate to it."
    if study.kept_interaction:
        yield "Appraisers differ from part to part (interaction): find out which parts they treat differently."
    for name in parts.negative:
        yield f"The variance of {name} came out below zero and is taken as zero: it is too small to be seen here."


def _grade(share: float) -> str:
    """Return in words how good a share of the variation is."""
    if share < GOOD_PCT:
        return f"good (below {GOOD_PCT:g} %)"
    if share <= USABLE_PCT:
        return f"usable where little depends on it ({GOOD_PCT:g} to {USABLE_PCT:g} %)"
    return f"not good enough (above {USABLE_PCT:g} %)"


def bias_table(names: Sequence[str], at: Sequence[BiasStudy]) -> Table:
    """Return the bias at each reference with its 95 % interval.

    Parameters
    ----------
    names : Sequence[str]
        Name of each part.
    at : Sequence[BiasStudy]
        Bias of each part.

    Returns
    -------
    Table
        The rows.
    """
    table = _table("part", "reference", "readings", "mean", "bias", "± (95 %)", "t", "p")
    for name, bias in zip(names, at, strict=True):
        cells = f"{bias.mean:.6g}", f"{bias.bias:+.4g}", f"{bias.half_width:.2g}", f"{bias.t:.2f}", f"{bias.p:.3g}"
        table.add_row(name, f"{bias.reference:g}", str(bias.number), *cells)
    return table


def bias_verdict(names: Sequence[str], at: Sequence[BiasStudy]) -> Iterator[str]:
    """Yield what each bias means, and what to do.

    Parameters
    ----------
    names : Sequence[str]
        Name of each part.
    at : Sequence[BiasStudy]
        Bias of each part.

    Yields
    ------
    str
        A sentence.
    """
    for name, bias in zip(names, at, strict=True):
        if bias.is_real:
            yield f"{name}: a bias of {bias.bias:+.4g} is real: find its cause and calibrate; do not subtract it."
        else:
            yield f"{name}: scatter and the reference's own uncertainty explain the bias of {bias.bias:+.4g}."


def capability(names: Sequence[str], at: Sequence[BiasStudy], tolerance: float | None) -> Iterator[str]:
    """Yield at each reference if the gauge is capable for a tolerance.

    Parameters
    ----------
    names : Sequence[str]
        Name of each part.
    at : Sequence[BiasStudy]
        Bias of each part.
    tolerance : float or None
        Width of the tolerance in the unit of the readings, None without one.

    Yields
    ------
    str
        A sentence for each part; none without a tolerance.
    """
    for name, bias in zip(names, at, strict=True) if tolerance else ():
        cg, cgk = bias.cg(tolerance or math.nan), bias.cgk(tolerance or math.nan)
        low, high = bias.cgk_bounds(tolerance or math.nan)
        word = "capable" if low >= CAPABLE else "not capable" if high < CAPABLE else "open, read it more often"
        found = f"Cg {cg:.2f}, Cgk {cgk:.2f} ({low:.2f} to {high:.2f}) for a tolerance of {tolerance:g}"
        yield f"{name}: {found}: {word} (from {CAPABLE} on)."


def line_table(study: LinearityStudy) -> Table:
    """Return the straight line of bias against reference.

    Parameters
    ----------
    study : LinearityStudy
        The study.

    Returns
    -------
    Table
        The rows.
    """
    table = _table("bias = constant + slope x reference", "value", "u by scatter", "t", "u with references", "p")
    for i, name in enumerate(("constant", "slope")):
        value, u = study.line.coefficients[i], study.line.u[i]
        cells = f"{u:.3g}", f"{study.t[i]:.3f}", f"{study.u[i]:.3g}", f"{study.p[i]:.3g}"
        table.add_row(name, f"{value:.6g}", *cells)
    table.add_row("scatter around it", f"{study.line.residual_sd:.4g}", "", "", "")
    table.add_row("R squared", f"{study.r_squared:.4f}", "", "", "")
    return table


def linearity_verdict(study: LinearityStudy) -> Iterator[str]:
    """Yield what a study of linearity means, and what to do.

    Parameters
    ----------
    study : LinearityStudy
        The study.

    Yields
    ------
    str
        A sentence.
    """
    slope = float(study.line.coefficients[1])
    if study.p[1] < ALPHA:
        yield f"The bias changes by {slope:+.4g} per unit: a scale is off; calibrate force, travel and span."
    else:
        yield "Chance and the references explain the change of the bias along the range."
    real = study.real_biases()
    name, bias = study.worst
    largest = f"the largest is {bias:+.4g} at {name}"
    if real:
        yield f"Real biases at {', '.join(real)}; {largest}. Find the cause; do not subtract it."
    else:
        yield f"No bias exceeds scatter and the references' own uncertainty; {largest}."


def stability_table(study: StabilityStudy) -> Table:
    """Return levels of scatter, limits and drift.

    Parameters
    ----------
    study : StabilityStudy
        The study.

    Returns
    -------
    Table
        The rows.
    """
    table = _table("quantity", "value", "degrees of freedom")
    table.add_row("mean", f"{study.mean:.6g}", "")
    if study.within is not None:
        table.add_row("scatter within a session", f"{study.within.sd:.4g}", str(study.within.dof))
    table.add_row("scatter of session means", f"{study.sessions.sd:.4g}", str(study.sessions.dof))
    if study.session_variance is not None:
        table.add_row("added by sessions", f"{max(study.session_variance, 0.0) ** 0.5:.4g}", "")
    low, high = study.limits
    table.add_row("limits of a session mean", f"{low:.6g} to {high:.6g}", "")
    table.add_row("drift per day", f"{study.drift_per_day:+.3g} (u {study.u_drift_per_day:.2g})", "")
    return table


def stability_verdict(study: StabilityStudy) -> Iterator[str]:
    """Yield what a study of stability means, and what to do.

    Parameters
    ----------
    study : StabilityStudy
        The study.

    Yields
    ------
    str
        A sentence.
    """
    span = max(study.days) - min(study.days)
    if study.drifts:
        moved = study.drift_per_day * span
        rare = f"which chance seldom produces (p = {study.drift_p:.2g})"
        yield f"The gauge drifts: {moved:+.3g} over {span:g} days, {rare}; calibrate it."
    else:
        yield f"No drift over {span:g} days beyond chance (p = {study.drift_p:.2g})."
    if study.session_variance is not None and study.session_variance < 0:
        yield "Sessions add no visible scatter: the estimate came out below zero and is taken as zero."
    elif study.sessions_p is not None and study.sessions_p < ALPHA:
        yield f"Sessions differ more than their own scatter explains (p = {study.sessions_p:.2g})."
    for i in study.restless:
        loose = "as one in twenty does by chance. Was anything loose?"
        yield f"Session {i + 1} scatters by {study.deviations[i]:.3g}, {loose}"
    low, high = study.limits
    outside = [i + 1 for i, mean in enumerate(study.means) if not low <= mean <= high]
    if outside:
        names = ", ".join(map(str, outside))
        yield f"Sessions {names} lie outside the limits of two sigma; one in twenty does so by chance."


def stock_table(stock: StockStudy) -> Table:
    """Return mean, scatter, tolerance interval and capability of a stock.

    Parameters
    ----------
    stock : StockStudy
        The study.

    Returns
    -------
    Table
        The rows.
    """
    table = _table("quantity", "value")
    table.add_row("shafts", str(len(stock.values)))
    table.add_row("mean", f"{stock.mean:.6g}")
    table.add_row("standard deviation", f"{stock.sd:.4g}")
    table.add_row(f"{100 * stock.share:g} % of all lie", _between(stock))
    for name, value in (("Cp", stock.cp), ("Cpk", stock.cpk)):
        if value is not None:
            table.add_row(name, f"{value:.2f}")
    if stock.cpk_bounds is not None:
        low, high = stock.cpk_bounds
        table.add_row(f"Cpk of the whole stock ({100 * stock.confidence:g} %)", f"from {low:.2f}, up to {high:.2f}")
    return table


def _between(stock: StockStudy) -> str:
    """Return the tolerance interval in words."""
    places = places_for(stock.sd)
    low, high = (f"{end:.{places}f}" for end in stock.interval)
    if math.isinf(stock.interval[0]):
        return f"below {high}"
    return f"above {low}" if math.isinf(stock.interval[1]) else f"between {low} and {high}"


def stock_verdict(stock: StockStudy) -> Iterator[str]:
    """Yield what a study of a stock means, and what to do.

    Parameters
    ----------
    stock : StockStudy
        The study.

    Yields
    ------
    str
        A sentence.
    """
    sure = f"said with {100 * stock.confidence:g} % confidence"
    yield f"Of shafts like these {100 * stock.share:g} % lie {_between(stock)}; {sure}."
    if stock.cpk is not None:
        limits = " and ".join(f"{limit:g}" for limit in (stock.low, stock.high) if limit is not None)
        number = f"{1000 * stock.outside:.{0 if stock.outside > 0.01 else 2}f}"
        yield f"Of 1000 such shafts about {number} lie beyond {limits} (Cpk {stock.cpk:.2f}, {CAPABLE} is wanted)."
        yield _suits(stock)
    if stock.mixed:
        yield (
            f"It is hardly one normal stock (p = {stock.normal_p:.2g}): two bundles, or a stray shaft among "
            "them? Separate them first: the sentences above hold for one normal stock only."
        )


def _suits(stock: StockStudy) -> str:
    """Return in words if a stock suits its limits, or how many shafts would tell."""
    low, high = stock.cpk_bounds or (math.nan, math.nan)
    if stock.suits:
        return (
            f"The stock suits its limits: its Cpk is at least {low:.2f} with {100 * stock.confidence:g} % confidence."
        )
    if stock.suits is False:
        return f"The stock does not suit its limits without sorting: its Cpk is at most {high:.2f}."
    wanted = "no number of shafts would" if stock.shafts_wanted is None else f"about {stock.shafts_wanted} shafts would"
    return (
        f"{len(stock.values)} shafts leave open if the stock suits its limits (Cpk {low:.2f} to {high:.2f}): sort it, "
        f"or measure more; {wanted} tell."
    )


def chart_table(chart: ControlChart, mean: WeightedMean) -> Table:
    """Return every reading with its weighted mean and the rules it breaks.

    Parameters
    ----------
    chart : ControlChart
        The chart.
    mean : WeightedMean
        Weighted mean of the same readings.

    Returns
    -------
    Table
        The rows.
    """
    table = _table("reading", "value", "sigmas off", "weighted mean", "signal")
    for i, value in enumerate(chart.values):
        names = [signal.rule.name for signal in chart.signals if signal.at == i]
        names += ["jump"] * (i in chart.wide_ranges) + ["weighted mean outside"] * (i in mean.signals)
        off = f"{(value - chart.centre) / chart.sigma:+.2f}"
        table.add_row(str(i + 1), f"{value:.6g}", off, f"{mean.means[i]:.6g}", "; ".join(names))
    return table


def chart_verdict(chart: ControlChart, mean: WeightedMean) -> Iterator[str]:
    """Yield what a control chart means, and what to do.

    Parameters
    ----------
    chart : ControlChart
        The chart.
    mean : WeightedMean
        Weighted mean of the same readings.

    Yields
    ------
    str
        A sentence.
    """
    low, high = chart.action_limits
    yield f"Centre {chart.centre:.6g}, limits {low:.6g} to {high:.6g}; sigma {chart.sigma:.3g} by {_plan(chart)}."
    yield from _weak_basis(chart)
    bad = out_of_control(chart, mean)
    if bad is None:
        yield "The gauge is in control: go on measuring."
    else:
        early = f", perhaps since reading {bad.earliest + 1}" if bad.earliest < bad.likeliest else ""
        yield (
            f"Out of control since reading {bad.likeliest + 1}{early}: stop and look at the gauge. Every shaft since "
            f"{f'reading {bad.earliest}' if bad.earliest else 'the beginning'} is suspect."
        )
    for rule in dict.fromkeys(signal.rule for signal in chart.signals):
        points = [signal.at + 1 for signal in chart.signals if signal.rule == rule]
        where = (
            f"reading {points[0]}" if len(points) == 1 else f"{len(points)} readings from {points[0]} to {points[-1]}"
        )
        yield f"{rule.name}: {where} ({rule.source})."
    yield from _run_lengths(mean.weight)


def _plan(chart: ControlChart) -> str:
    """Return in words what sigma rests on."""
    if chart.scatter.source is ScatterSource.GIVEN:
        return "what was given"
    how = f"{chart.scatter.source.value}, {chart.scatter.dof:.0f} degrees of freedom"
    whole = chart.baseline == len(chart.values)
    return f"{how}, from {'all readings' if whole else f'the first {chart.baseline} readings'}"


def _weak_basis(chart: ControlChart) -> Iterator[str]:
    """Yield what makes the limits of a chart rough."""
    if chart.provisional:
        yield f"The limits are provisional: {chart.baseline} of {ENOUGH} readings, so they are wider."
    if chart.scatter.source is ScatterSource.ONE_SESSION:
        yield (
            f"The limits rest on fewer than {SESSIONS_WANTED} sessions: what another day adds is not known, and a "
            "signal on another day may be just that."
        )


def _run_lengths(weight: float) -> Iterator[str]:
    """Yield how often a chart accuses a good gauge, and how soon it finds a shift."""
    found = ", ".join(f"{sigmas:g} sigma after {run_length(sigmas, weight=weight):.0f}" for sigmas in (1.0, 2.0, 3.0))
    rules = frozenset(rule.name for rule in RULES if rule.source == WESTERN_ELECTRIC)
    yield (
        f"Limits and weighted mean signal a good gauge about once in {run_length(0.0, weight=weight):.0f} readings, "
        f"and find a lasting shift of {found} readings on average; with limits from few readings later."
    )
    yield (
        f"Run rules are hints: those of Western Electric alone signal a good gauge every "
        f"{rules_run_length(0.0, rules):.0f} readings."
    )
