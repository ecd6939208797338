"""Measuring shafts one after another: the place where gauge, archive, evaluation, verdict and store meet.

Order for each shaft: its readings come over the line; they are on the disk in the archive; they are evaluated;
the verdict is on the disk in the store; the gauge may forget them. A shaft that fails is kept and
judged like any other, and the next one goes on; only a gauge that cannot go on stops the batch.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from midspan.archive.raw_run import RawRun
from midspan.archive.writer import ArchiveWriter
from midspan.base.clock import now_ms
from midspan.base.errors import DeviceFault, StoreError
from midspan.decision.bands import Bands
from midspan.decision.basis import basis_of_bands
from midspan.decision.decision import Decision, Outcome
from midspan.decision.evaluate_and_decide import judged
from midspan.decision.origin import Origin
from midspan.link.gauge import Gauge, ignore
from midspan.link.session_events import Outcome as LinkOutcome
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_plan import plan_for
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.store.database import RunReference, Store
from midspan.wire.records import State

MOST_FAULTS = 3  # instrument faults in a row after which the gauge, not the shafts, wants attention


@dataclass(frozen=True, slots=True)
class Verdict:
    """One measured shaft: its readings, what they gave, what was decided, and its number in the store."""

    run: RawRun
    result: ShaftResult | Unmeasured
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
    on_event: Callable[[LinkOutcome], None] = ignore

    def __post_init__(self) -> None:
        self.store.keep_calibration(self.calibration.calibration.id, self.calibration.content())

    def measure(self, shaft: int, label: str) -> Verdict:
        """Measure, keep and judge the shaft in the gauge; errors of line, disk and gauge pass through.

        Ctrl-C lifts the head and keeps what was read so far before it goes its way.
        """
        plan = plan_for(self.calibration, self.gauge.identify(self.on_event))
        try:
            run = self.gauge.measure(shaft, label, plan, self.on_event)
        except KeyboardInterrupt:
            self._give_up()
            raise
        return self._keep(run)

    def _give_up(self) -> None:
        run = self.gauge.stop()
        if run is not None:
            self._keep(run)

    def fetch_held(self) -> Verdict | None:
        """Keep and judge a shaft that the gauge still holds from an earlier host, if there is one."""
        held = self.gauge.identify(self.on_event).held_shaft
        return None if held is None else self._keep(
            self.gauge.fetch(held, "", self.on_event), Origin.IMPORTED
        )  # fmt: skip

    def _keep(self, run: RawRun, origin: Origin = Origin.MEASURED) -> Verdict:
        offset = self.archive.append(run)
        where = RunReference(str(self.archive.path), offset, run.shaft, run.label, run.started_ms)
        try:
            result, decision = judged(run, self.calibration, self.bands)
            values = result.as_dict() if isinstance(result, ShaftResult) else None
            stored = self.store.add(
                self.batch, where, values, decision, self.now_ms(), basis=basis_of_bands(self.bands), origin=origin
            )  # fmt: skip
            return Verdict(run, result, self.store.history(where)[-1].decision, stored)
        except StoreError as error:
            raise StoreError(
                f"{error} (the readings of {run.name} are safe in {self.archive.path}; recompute gives its result)"
            ) from error
        finally:
            # The readings are on the disk, whatever became of the verdict: holding them would store them twice.
            self.gauge.acknowledge(run.shaft, self.on_event)


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
