"""From raw readings to a verdict, and what a store must know of the calibration that made it."""

import json
from collections.abc import Mapping
from typing import Any

from midspan.bands import Bands
from midspan.calibration import Calibration
from midspan.decision import Decision, judge, judge_unmeasured
from midspan.raw_run import RawRun
from midspan.shaft import ShaftResult, Unmeasured, evaluate
from midspan.store import RunReference, Store


def keep_calibration(store: Store, calibration: Calibration) -> None:
    """Let the store keep what the calibration says; StoreError when its id stands there with other values."""
    store.keep_calibration(calibration.calibration.id, calibration.model_dump(mode="json", exclude_unset=True))


def stands_there(store: Store, run: RunReference, result: Mapping[str, Any] | None, decision: Decision) -> bool:
    """Whether the store has this result with this verdict for a run, to the last bit; StoreError as its methods."""
    plain = json.loads(json.dumps(result), parse_constant=lambda _: None)  # as the store keeps it
    return any(old.result == plain and old.decision == decision for old in store.history(run))


def judged(run: RawRun, calibration: Calibration, bands: Bands) -> tuple[ShaftResult | Unmeasured, Decision]:
    """Result and verdict of one run."""
    (result,) = evaluate([run], calibration)
    return result, verdict_on(result, bands)


def verdict_on(result: ShaftResult | Unmeasured, bands: Bands) -> Decision:
    """The verdict on a result, or on the reasons why there is none."""
    return judge_unmeasured(result.reasons) if isinstance(result, Unmeasured) else judge(result, bands)
