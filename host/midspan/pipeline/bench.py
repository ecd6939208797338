"""Measuring shafts one after another at the bench: where gauge, archive, calibration, bands and store meet.

A shaft that fails is kept and judged like any other, and the next one goes on; only a gauge that cannot go on stops
the batch.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from midspan.archive.raw_run import RawRun
from midspan.archive.writer import ArchiveWriter
from midspan.base.clock import now_ms
from midspan.base.errors import DeviceFault
from midspan.decision.bands import Bands
from midspan.decision.basis import basis_of_bands
from midspan.decision.decision import Decision, Outcome, verdict_on
from midspan.link.gauge import Gauge, OnEvent, ignore
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_plan import plan_for
from midspan.pipeline.steps import Judging, Kept, Pipeline, Result
from midspan.store.database import Store
from midspan.store.evaluation import Evaluation, Origin
from midspan.store.kept_calibration import KeptCalibration
from midspan.wire.records import State

MOST_FAULTS = 3  # instrument faults in a row after which the gauge, not the shafts, wants attention


@dataclass(frozen=True, slots=True)
class Verdict:
    """One measured shaft: its readings, what they gave, what was decided, and its number in the store."""

    run: RawRun
    result: Result
    decision: Decision
    stored: int


@dataclass
class Bench:
    """Everything a shaft passes on its way from the gauge to its verdict."""

    gauge: Gauge
    calibration: Calibration
    bands: Bands
    archive: ArchiveWriter
    store: Store
    batch: int
    now_ms: Callable[[], int] = now_ms
    on_event: OnEvent = ignore

    def __post_init__(self) -> None:
        self.store.keep_calibration(KeptCalibration.of(self.calibration))

    def measure(self, shaft: int, label: str) -> Verdict:
        """Measure, keep and judge the shaft in the gauge; errors of line, disk and gauge pass through.

        Ctrl-C lifts the head and keeps what was read so far before it goes its way.
        """
        plan = plan_for(self.calibration, self.gauge.identify(self.on_event))
        steps = self._pipeline(Origin.MEASURED)
        return steps.take(lambda: self.gauge.measure(shaft, label, plan, self.on_event))

    def fetch_held(self) -> Verdict | None:
        """Keep and judge a shaft that the gauge still holds from an earlier host; None when it holds none."""
        held = self.gauge.identify(self.on_event).held_shaft
        return None if held is None else self._pipeline(Origin.IMPORTED).fetch(held)

    def _pipeline(self, origin: Origin) -> Pipeline[Verdict]:
        # Of readings that the gauge still held, the verdict too may be stored already.
        add = self.store.add if origin is Origin.MEASURED else self.store.add_again

        def store(kept: Kept, result: Result, decision: Decision) -> Verdict:
            known = None if origin is Origin.MEASURED else self.store.run_of(kept.where)
            where = kept.where if known is None else known[1]  # its archive may have moved, or is named another way
            evaluation = Evaluation(result, decision, self.now_ms(), basis_of_bands(self.bands))
            add(self.batch, where, evaluation, origin=origin)
            newest = self.store.history(where)[-1]
            return Verdict(kept.run, result, newest.decision, newest.id)

        judging = Judging(self.calibration, lambda _, result: verdict_on(result, self.bands), store)
        return Pipeline(self.gauge, self.archive, judging.one, self.on_event)


def measure_batch(bench: Bench, shafts: Iterable[tuple[int, str]]) -> Iterator[Verdict]:
    """Measure numbered and labelled shafts in turn, giving each verdict as soon as it is stored.

    A gauge fault is cleared (the press goes home) and the batch goes on with the next shaft. Raises DeviceFault
    when the gauge does not recover, or after MOST_FAULTS instrument faults in a row; what was measured stays
    stored.
    """
    in_a_row = 0
    for shaft, label in shafts:
        verdict = bench.measure(shaft, label)
        yield verdict
        in_a_row = in_a_row + 1 if verdict.decision.outcome is Outcome.INSTRUMENT_FAULT else 0
        if in_a_row == MOST_FAULTS:
            raise DeviceFault(
                f"{in_a_row} instrument faults in a row, the last: {verdict.decision.reasons[0]} "
                f"Stopped after shaft {shaft}; look at the gauge"
            )
        if verdict.run.cause is not None and bench.gauge.settled(bench.on_event).state is State.FAULTED:
            bench.gauge.clear_fault(bench.on_event)
