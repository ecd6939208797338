"""Budget of one result in full: a table with a bar for each cause, and how Monte Carlo trials compare.

A bar is as long as the cause's share of u², because shares of u² add up to the whole and shares of u do not.
"""

from rich.table import Table

from midspan.base.formatting import places_for
from midspan.measurement.shown_quantities import MORE_PLACES_MM, across_unit, in_across_unit
from midspan.uncertainty.budget import Budget, Coverage
from midspan.uncertainty.monte_carlo import Agreement, Interval, Summary

BAR_SIGNS = 24
MANY = 5000  # degrees of freedom that differ from infinitely many by nothing
NOTHING_THOU = 1e-9  # a smaller share is rounding
PLACES = 3  # of thou
EIGHTHS = " ▏▎▍▌▋▊▉"


def bar(portion: float) -> str:
    """Return a portion from 0 to 1 as a bar of at most BAR_SIGNS characters, to an eighth of a character.

    Parameters
    ----------
    portion : float
        Share, from 0 to 1.

    Returns
    -------
    str
        The bar.

    Examples
    --------
    >>> bar(0.5), bar(1 / 192), bar(0.0)
    ('████████████', '▏', '')
    """
    whole, eighths = divmod(round(portion * BAR_SIGNS * 8), 8)
    return "█" * whole + (EIGHTHS[eighths] if eighths else "")


def budget_table(budget: Budget, coverage: Coverage) -> Table:
    """Return every cause, largest first, with its share of the variance; below them u, k and U.

    Parameters
    ----------
    budget : Budget
        Budget of a quantity in thou.
    coverage : Coverage
        What U covers, or its factor.

    Returns
    -------
    Table
        A row for each cause and two rows for the whole.
    """
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("cause", no_wrap=True)
    unit, scale, places = across_unit(), in_across_unit(1.0), _places()
    for heading in ("known to", "dof", f"{unit} per unit", f"u, {unit}", "of u²"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True, min_width=BAR_SIGNS)
    for part in sorted(budget.contributions, key=lambda part: -part.u):
        portion = budget.portion(part)
        known = part.u_input if part.u > NOTHING_THOU else 0.0
        effect = f"{scale * part.sensitivity:.4g}", f"{scale * part.u:.{places}f}"
        cells = _known(known, part.unit), _dof(part.dof), *effect
        table.add_row(part.name, *cells, f"{portion:.0%}", bar(portion))
    k = budget.k(coverage)
    table.add_row("u, together", "", _dof(budget.dof), "", f"{scale * budget.u:.{places}f}", "100%", "", style="bold")
    table.add_row(f"U = {k:g} u", "", "", "", f"{scale * k * budget.u:.{places}f}", "", coverage.words, style="bold")
    return table


def _known(u: float, unit: str) -> str:
    """Return the standard uncertainty of a cause in its unit, a relative one in percent."""
    return f"{100 * u:.2g} %" if unit == "1" else f"{u:.2g} {unit}"


def _dof(dof: float) -> str:
    """Return degrees of freedom as a whole number, "many" where t hardly differs from the normal distribution."""
    return "many" if dof > MANY else f"{dof:.0f}"


def trials_table(budget: Budget, value: float, expanded: float, found: Summary) -> Table:
    """Return the budget's result beside that of the Monte Carlo trials.

    Parameters
    ----------
    budget : Budget
        Budget of a quantity in thou.
    value : float
        Value of the quantity, thou.
    expanded : float
        Expanded uncertainty by the budget, thou.
    found : Summary
        What the trials gave.

    Returns
    -------
    Table
        A row for the budget, one for the trials and one for the trials' shortest interval.
    """
    scale = in_across_unit(1.0)
    places = max(places_for(scale * expanded), _places())
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("", no_wrap=True)
    for heading in (across_unit(), "u", f"{100 * found.probability:g} % interval"):
        table.add_column(heading, justify="right", no_wrap=True)
    around = value - expanded, value + expanded
    for name, middle, u, interval in (
        ("budget", value, budget.u, around),
        (f"{found.trials} trials", found.mean, found.u, found.symmetric),
    ):
        ends = _interval((scale * interval[0], scale * interval[1]), places)
        table.add_row(name, f"{scale * middle:.{places}f}", f"{scale * u:.{places}f}", ends)
    table.add_row("the shortest", "", "", _interval((scale * found.shortest[0], scale * found.shortest[1]), places))
    return table


def trials_words(check: Agreement) -> str:
    """Return in a sentence if the trials confirm the budget.

    Parameters
    ----------
    check : Agreement
        How far apart the ends of both intervals are.

    Returns
    -------
    str
        Distances, tolerance and verdict.

    References
    ----------
    JCGM 101:2008, clause 8.

    Examples
    --------
    >>> trials_words(Agreement(0.002, 0.003, 0.05))
    'ends 0.002 and 0.003 thou apart, allowed 0.05 thou: the trials confirm the budget'
    """
    verdict = "the trials confirm the budget" if check.holds else "trust the trials, not the budget"
    low, high, allowed = (in_across_unit(apart) for apart in (check.low_apart, check.high_apart, check.tolerance))
    unit = across_unit()
    return f"ends {low:.2g} and {high:.2g} {unit} apart, allowed {allowed:.4g} {unit}: {verdict}"


def _places() -> int:
    """Return how many decimal places a share of the uncertainty gets."""
    return PLACES + (MORE_PLACES_MM if across_unit() == "mm" else 0)


def _interval(interval: Interval, places: int) -> str:
    """Return both ends of an interval as text."""
    return f"{interval[0]:.{places}f} to {interval[1]:.{places}f}"
