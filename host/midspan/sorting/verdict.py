"""Verdicts on shafts of a sorting run, and on shafts that are evaluated again, by the rules on record."""

from dataclasses import replace

from midspan.decision.bands import Bands
from midspan.decision.basis import Basis, content_of
from midspan.decision.concerns import with_crack_limit
from midspan.decision.decision import Decision, Outcome, judge
from midspan.measurement.definition import OLDER_DEFINITION
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.sorting.check_standards import checked, verdict_on_check
from midspan.sorting.plan import Checks, SortPlan, Standard


def basis_of_plan(plan: SortPlan, bands: Bands, standard: str | None, night: int | None = None) -> Basis:
    """Return the basis of the verdict on a shaft of a night.

    Parameters
    ----------
    plan : SortPlan
        Plan of the night.
    bands : Bands
        Its bands.
    standard : str | None
        Name of the check standard that it is, None for a shaft of the stock.
    night : int | None
        Number of the night, None if unknown.

    Returns
    -------
    Basis
        The basis.
    """
    bar = next((bar for bar in plan.standard if bar.name == standard), None)
    basis = Basis(content_of(bands), standard=standard) if bar is None else basis_of_standard(bar, bands)
    return replace(basis, crack_hysteresis_pct=plan.sort.crack_hysteresis_pct, night=night)


def basis_of_standard(bar: Standard, bands: Bands) -> Basis:
    """Return the basis of the verdict on a check standard.

    Parameters
    ----------
    bar : Standard
        The check standard with its assigned value.
    bands : Bands
        Bands by which shafts are judged beside it.

    Returns
    -------
    Basis
        The basis.
    """
    return Basis(
        bands=content_of(bands),
        standard=bar.name,
        assigned_thou=bar.assigned_thou,
        u_assigned_thou=bar.u_assigned_thou,
        assigned_definition=bar.definition,
        assigned_material=bar.material,
        assigned_at_c=bar.temperature_c,
    )


def verdict_by(result: ShaftResult | Unmeasured, basis: Basis, bands: Bands) -> Decision:
    """Return the verdict on a result by its basis, but with these bands.

    A check standard is judged by its assigned value. An older version did not store that value; the verdict then says
    only that it is a check standard.

    Parameters
    ----------
    result : ShaftResult | Unmeasured
        The result.
    basis : Basis
        What verdicts on this run rest on.
    bands : Bands
        The bands.

    Returns
    -------
    Decision
        The verdict.
    """
    if basis.standard is not None:
        return _on_standard(result, basis)
    decision = judge(result, bands)
    hysteresis_pct = None if isinstance(result, Unmeasured) else result.hysteresis_pct
    return with_crack_limit(decision, hysteresis_pct, basis.crack_hysteresis_pct)


def _on_standard(result: ShaftResult | Unmeasured, basis: Basis) -> Decision:
    """Return the verdict on a check standard, doubtful if its assigned value is not known."""
    assert basis.standard is not None
    if basis.assigned_thou is None or basis.u_assigned_thou is None:
        return Decision(Outcome.DOUBTFUL, (f"check standard {basis.standard}: its assigned value is not known",))
    bar = Standard(
        name=basis.standard, assigned_thou=basis.assigned_thou, u_assigned_thou=basis.u_assigned_thou,
        definition=basis.assigned_definition or OLDER_DEFINITION,
        material=basis.assigned_material, temperature_c=basis.assigned_at_c,
    )  # fmt: skip
    identity = result.calibration if isinstance(result, ShaftResult) else ""
    return verdict_on_check(checked(bar, result, (), Checks(), 0, identity))
