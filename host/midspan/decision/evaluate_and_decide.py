"""From raw readings to a verdict, by bands alone."""

from midspan.archive.raw_run import RawRun
from midspan.decision.bands import Bands
from midspan.decision.decision import Decision, Quantities, judge, judge_unmeasured
from midspan.measurement.calibration import Calibration
from midspan.measurement.result import ShaftResult, Unmeasured, evaluate


def judged(run: RawRun, calibration: Calibration, bands: Bands) -> tuple[ShaftResult | Unmeasured, Decision]:
    """Result and verdict of one run, by bands alone."""
    (result,) = evaluate([run], calibration)
    return result, verdict_on(result, bands)


def verdict_on(result: Quantities | Unmeasured, bands: Bands) -> Decision:
    """The verdict on a result, or on the reasons why there is none."""
    return judge_unmeasured(result.reasons) if isinstance(result, Unmeasured) else judge(result, bands)
