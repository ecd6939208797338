"""Budget of one result in full: a table with a bar for each cause, and how Monte Carlo trials compare.

A bar is as long as the cause's share of u², because shares of u² add up to the whole and shares of u do not.
"""

from rich.table import Table

from midspan.base.formatting import places_for
from midspan.report.result_text import MANY, NOTHING_THOU
from midspan.uncertainty.budget import Budget, Coverage
from midspan.uncertainty.monte_carlo import Agreement, Interval, Summary

BAR_SIGNS = 24
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
    for heading in ("known to", "dof", "thou per unit", "u, thou", "of u²"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True, min_width=BAR_SIGNS)
    for part in sorted(budget.contributions, key=lambda part: -part.u):
        portion = budget.portion(part)
        known = part.u_input if part.u > NOTHING_THOU else 0.0
        cells = f"{known:.2g} {part.unit}", _dof(part.dof), f"{part.sensitivity:.4g}", f"{part.u:.3f}"
        table.add_row(part.name, *cells, f"{portion:.0%}", bar(portion))
    k = budget.k(coverage)
    table.add_row("u, together", "", _dof(budget.dof), "", f"{budget.u:.3f}", "100%", "", style="bold")
    table.add_row(f"U = {k:g} u", "", "", "", f"{k * budget.u:.3f}", "", coverage.words, style="bold")
    return table


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
    places = max(places_for(expanded), 3)
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("", no_wrap=True)
    for heading in ("thou", "u", f"{100 * found.probability:g} % interval"):
        table.add_column(heading, justify="right", no_wrap=True)
    around = value - expanded, value + expanded
    for name, middle, u, interval in (
        ("budget", value, budget.u, around),
        (f"{found.trials} trials", found.mean, found.u, found.symmetric),
    ):
        table.add_row(name, f"{middle:.{places}f}", f"{u:.{places}f}", _interval(interval, places))
    table.add_row("the shortest", "", "", _interval(found.shortest, places))
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
    'the ends lie 0.002 and 0.003 thou apart, 0.05 are allowed: the trials confirm the budget'
    """
    verdict = "the trials confirm the budget" if check.holds else "trust the interval of the trials, not the budget's"
    ends = f"the ends lie {check.low_apart:.2g} and {check.high_apart:.2g} thou apart"
    return f"{ends}, {check.tolerance:g} are allowed: {verdict}"


def _interval(interval: Interval, places: int) -> str:
    """Return both ends of an interval as text."""
    return f"{interval[0]:.{places}f} to {interval[1]:.{places}f}"
