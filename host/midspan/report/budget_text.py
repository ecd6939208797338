"""The budget of one result in full: a table with a bar a cause, and how the Monte Carlo trials compare.

A bar is as long as the cause's share of u^2, because shares of u do not add up but those of u^2 do.
"""

from rich.table import Table

from midspan.base.formatting import places_for
from midspan.report.result_text import MANY, NOTHING_THOU
from midspan.uncertainty.budget import Budget, Coverage
from midspan.uncertainty.monte_carlo import Agreement, Interval, Summary

BAR_SIGNS = 24
EIGHTHS = " ▏▎▍▌▋▊▉"


def bar(portion: float) -> str:
    """A portion from 0 to 1 as a bar of at most BAR_SIGNS signs, to an eighth of a sign.

    >>> bar(0.5), bar(1 / 192), bar(0.0)
    ('████████████', '▏', '')
    """
    whole, eighths = divmod(round(portion * BAR_SIGNS * 8), 8)
    return "█" * whole + (EIGHTHS[eighths] if eighths else "")


def budget_table(budget: Budget, coverage: Coverage) -> Table:
    """Every cause, largest first, with what it makes of the combined uncertainty; below, k and U."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("cause", no_wrap=True)
    for heading in ("known to", "dof", "thou per unit", "u, thou", "of u²"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True, min_width=BAR_SIGNS)
    for part in sorted(budget.contributions, key=lambda one: -one.u):
        portion = budget.portion(part)
        known = part.u_input if part.u > NOTHING_THOU else 0.0
        cells = f"{known:.2g} {part.unit}", _dof(part.dof), f"{part.sensitivity:.4g}", f"{part.u:.3f}"
        table.add_row(part.name, *cells, f"{portion:.0%}", bar(portion))
    k = budget.k(coverage)
    table.add_row("u, together", "", _dof(budget.dof), "", f"{budget.u:.3f}", "100%", "", style="bold")
    table.add_row(f"U = {k:g} u", "", "", "", f"{k * budget.u:.3f}", "", coverage.words, style="bold")
    return table


def _dof(dof: float) -> str:
    return "many" if dof > MANY else f"{dof:.0f}"


def trials_table(budget: Budget, value: float, expanded: float, found: Summary) -> Table:
    """The budget's result beside that of the trials."""
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
    """The verdict on the budget in one sentence (JCGM 101:2008, clause 8).

    >>> trials_words(Agreement(0.002, 0.003, 0.05))
    'the ends lie 0.002 and 0.003 thou apart, 0.05 are allowed: the trials confirm the budget'
    """
    verdict = "the trials confirm the budget" if check.holds else "trust the interval of the trials, not the budget's"
    ends = f"the ends lie {check.low_apart:.2g} and {check.high_apart:.2g} thou apart"
    return f"{ends}, {check.tolerance:g} are allowed: {verdict}"


def _interval(interval: Interval, places: int) -> str:
    return f"{interval[0]:.{places}f} to {interval[1]:.{places}f}"
