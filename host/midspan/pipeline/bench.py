"""Measure shafts one after another at the bench: gauge, archive, calibration, bands and store together.

A shaft that fails is kept and judged like any other, and the batch goes on. Only a gauge that cannot go on stops it.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from midspan.archive.raw_run import RawRun
from midspan.archive.writer import ArchiveWriter
from midspan.base.clock import now_ms
from midspan.base.errors import DeviceFault
from midspan.decision.bands import Bands
from midspan.decision.basis import basis_of_bands
from midspan.decision.decision import Decision, Outcome, judge
from midspan.link.gauge import Gauge, OnEvent, ignore
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import CycleSettings
from midspan.pipeline.steps import Judging, Kept, Pipeline, Result
from midspan.store.database import Store
from midspan.store.evaluation import Evaluation, Origin
from midspan.store.kept_calibration import KeptCalibration
from midspan.wire.records import State

MOST_FAULTS = 3  # in a row, after which the gauge needs attention and not the shafts


@dataclass(frozen=True, slots=True)
class Verdict:
    """One measured shaft: its readings, their result, the decision, and its number in the store.

    Parameters
    ----------
    run : RawRun
        Raw readings as they are in the archive.
    result : ShaftResult | Unmeasured
        Quantities with their uncertainties, or the reasons why there are none.
    decision : Decision
        Outcome, bin and reasons.
    stored : int
        Number of the result in the store.
    """

    run: RawRun
    result: Result
    decision: Decision
    stored: int


@dataclass
class Bench:
    """Gauge, archive, calibration, bands and store, joined to measure, keep, judge and store shafts.

    Parameters
    ----------
    gauge : Gauge
        Gauge on an open line.
    calibration : Calibration
        Calibration of this gauge; kept in the store when the bench is made.
    bands : Bands
        Limits and rule by which shafts are judged.
    archive : ArchiveWriter
        Open archive that gets the raw readings.
    store : Store
        Open store that gets results and decisions.
    batch : int
        Number of the batch, from `store.begin_batch`.
    now_ms : Callable[[], int]
        Clock for the time of an evaluation, ms since 1970.
    on_event : OnEvent
        Called with every event of the line.
    cycle : CycleSettings or None
        Settings of the cycle; None for those of the calibration.
    """

    gauge: Gauge
    calibration: Calibration
    bands: Bands
    archive: ArchiveWriter
    store: Store
    batch: int
    now_ms: Callable[[], int] = now_ms
    on_event: OnEvent = ignore
    cycle: CycleSettings | None = None

    def __post_init__(self) -> None:
        """Keep the calibration in the store, so that every result can name it."""
        self.store.keep_calibration(KeptCalibration.of(self.calibration))

    def measure(self, shaft: int, label: str) -> Verdict:
        """Measure, keep and judge the shaft in the gauge.

        Errors of line, disk and gauge pass through. Ctrl-C lifts the head; what was read so far goes through all steps
        before KeyboardInterrupt is raised again.

        Parameters
        ----------
        shaft : int
            Number of the shaft. A number measured before is taken as the same shaft, measured again: the new result
            supersedes the old one.
        label : str
            Name of the shaft for people; may be empty.

        Returns
        -------
        Verdict
            Readings, result and decision, all stored.

        Raises
        ------
        ConfigurationError
            The gauge does not allow the settings of the cycle.
        DeviceFault
            The gauge has stopped because of a fault.
        LinkError
            The line broke or the gauge stopped answering.
        ProtocolError
            The gauge refused, or still holds another shaft.
        ArchiveError
            The readings cannot be kept; the gauge goes on holding them.
        StoreError
            The verdict cannot be stored; the readings are in the archive.
        """
        found = self.gauge.identify(self.on_event)
        cycle = cycle_steps(self.calibration, found, self.cycle or self.calibration.usual_cycle)
        steps = self._pipeline(Origin.MEASURED)
        return steps.take(lambda: self.gauge.run(shaft, label, cycle, on_event=self.on_event))

    def fetch_held(self) -> Verdict | None:
        """Keep and judge the shaft that the gauge still holds from an earlier host, or return None if it holds none.

        Returns
        -------
        Verdict | None
            Readings, result and decision, all stored; None if the gauge holds no shaft.

        Raises
        ------
        LinkError
            The line broke or the gauge stopped answering.
        ArchiveError
            The readings cannot be kept; the gauge goes on holding them.
        StoreError
            The verdict cannot be stored; the readings are in the archive.
        """
        held = self.gauge.identify(self.on_event).held_shaft
        return None if held is None else self._pipeline(Origin.IMPORTED).fetch(held)

    def _pipeline(self, origin: Origin) -> Pipeline[Verdict]:
        # The verdict on readings that the gauge still held may be stored already.
        """Return the five steps for runs measured now or fetched from the gauge."""
        add = self.store.add if origin is Origin.MEASURED else self.store.add_again

        def store(kept: Kept, result: Result, decision: Decision) -> Verdict:
            """Store result and decision, and return the verdict that the store has afterwards."""
            known = None if origin is Origin.MEASURED else self.store.run_of(kept.where)
            where = kept.where if known is None else known[1]  # the archive may have been moved or renamed since
            evaluation = Evaluation(result, decision, self.now_ms(), basis_of_bands(self.bands))
            add(self.batch, where, evaluation, origin=origin)
            newest = self.store.history(where)[-1]
            return Verdict(kept.run, result, newest.decision, newest.id)

        judging = Judging(self.calibration, lambda _, result: judge(result, self.bands), store)
        return Pipeline(self.gauge, self.archive, judging.judge, self.on_event)


def measure_batch(bench: Bench, shafts: Iterable[tuple[int, str]]) -> Iterator[Verdict]:
    """Measure shafts in turn and yield each verdict as soon as it is stored.

    After a fault the press goes home and the batch goes on with the next shaft. What was measured stays stored
    whatever stops the batch.

    Parameters
    ----------
    bench : Bench
        Where the shafts are measured.
    shafts : Iterable[tuple[int, str]]
        Number and label of each shaft, in the order in which they are put in.

    Yields
    ------
    Verdict
        Verdict on each shaft.

    Raises
    ------
    DeviceFault
        The gauge does not recover, or three shafts in a row ended with an instrument fault.
    """
    in_a_row = 0
    for shaft, label in shafts:
        verdict = bench.measure(shaft, label)
        yield verdict
        in_a_row = in_a_row + 1 if verdict.decision.outcome is Outcome.INSTRUMENT_FAULT else 0
        if in_a_row == MOST_FAULTS:
            raise DeviceFault(
                f"stopped after shaft {shaft}: {in_a_row} instrument faults in a row. Check the gauge. "
                f"Last fault: {verdict.decision.reasons[0]}"
            )
        if verdict.run.cause is not None and bench.gauge.settled(bench.on_event).state is State.FAULTED:
            bench.gauge.clear_fault(bench.on_event)
