"""From raw readings to a verdict, and what a store must know of the calibration that made it."""

from midspan.bands import Bands
from midspan.basis import Basis
from midspan.calibration import Calibration
from midspan.checks import checked, verdict_on_check
from midspan.decision import Decision, Measured, Outcome, judge, judge_unmeasured
from midspan.raw_run import RawRun
from midspan.shaft import ShaftResult, Unmeasured, evaluate
from midspan.sort_plan import Checks, Standard
from midspan.standing import with_crack_limit
from midspan.store import Store


def keep_calibration(store: Store, calibration: Calibration) -> None:
    """Let the store keep what the calibration says; StoreError when its id stands there with other values."""
    store.keep_calibration(calibration.calibration.id, calibration.model_dump(mode="json", exclude_unset=True))


def judged(run: RawRun, calibration: Calibration, bands: Bands) -> tuple[ShaftResult | Unmeasured, Decision]:
    """Result and verdict of one run, by bands alone."""
    (result,) = evaluate([run], calibration)
    return result, verdict_on(result, bands)


def verdict_on(result: Measured | Unmeasured, bands: Bands) -> Decision:
    """The verdict on a result, or on the reasons why there is none."""
    return judge_unmeasured(result.reasons) if isinstance(result, Unmeasured) else judge(result, bands)


def verdict_by(result: ShaftResult | Unmeasured, basis: Basis, bands: Bands) -> Decision:
    """Return the verdict on a result by all that its basis knows, but by these bands.

    A check standard is judged by its assigned value; where an older version kept none its verdict says nothing but
    that it is one.
    """
    if basis.standard is not None:
        return _on_standard(result, basis)
    decision = verdict_on(result, bands)
    hysteresis_pct = None if isinstance(result, Unmeasured) else result.hysteresis_pct
    return with_crack_limit(decision, hysteresis_pct, basis.crack_hysteresis_pct)


def _on_standard(result: ShaftResult | Unmeasured, basis: Basis) -> Decision:
    assert basis.standard is not None
    if basis.assigned_thou is None or basis.u_assigned_thou is None:
        return Decision(Outcome.DOUBTFUL, (f"check standard {basis.standard}: its assigned value is not known",))
    bar = Standard(
        name=basis.standard, assigned_thou=basis.assigned_thou, u_assigned_thou=basis.u_assigned_thou
    )  # fmt: skip
    identity = result.calibration if isinstance(result, ShaftResult) else ""
    return verdict_on_check(checked(bar, result, (), Checks(), 0, identity))
