"""A gauge as the bench of a session: keep, evaluate, judge, store, acknowledge, for the shaft that a person laid in.

The gauge holds the readings until they are stored, so a host that dies and a cable that is pulled lose nothing: the
next `recover` fetches them, and the archive keeps them once.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass

from midspan.archive.raw_run import RawRun
from midspan.archive.reader import Archive
from midspan.archive.writer import ArchiveWriter
from midspan.attended.bench import Hindrance, MeasuredShaft, Recorder, RunFacts, ShaftOrder
from midspan.base.errors import LinkError, ParkingError
from midspan.hand_bench.result import HandResult
from midspan.link.gauge import Gauge
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import CycleSettings
from midspan.measurement.result import ShaftResult
from midspan.pipeline.steps import Kept, Pipeline, evaluate_kept
from midspan.sorting.gauge_health import observe
from midspan.sorting.park import STEP_NUMBER, park, stiff_side
from midspan.store.transit import TransitStage
from midspan.uncertainty.budget import Coverage
from midspan.wire.fault_texts import describe
from midspan.wire.records import State

CAUTION = (
    "After Enter rollers and press head move: keep fingers, hair and sleeves away until the verdict is there. "
    "Never shoot a shaft that is cracked or in doubt."
)
LINE_LOST = "the line to the gauge is closed"


def nothing_to_lay_in(_: ShaftOrder) -> None:
    """Do nothing before a measurement: a person has laid the shaft in.

    Parameters
    ----------
    _ : ShaftOrder
        The shaft.
    """


@dataclass(frozen=True)
class GaugeWays:
    """How a gauge is reached and what measures with it.

    Parameters
    ----------
    opened : callable
        Returns a block in which the gauge is on an open line.
    calibration : Calibration
        Its calibration.
    archive : ArchiveWriter
        Open archive that gets the readings.
    cycle : CycleSettings
        Settings of the cycle.
    lay_in : callable
        Called with the shaft before the gauge is told to measure it; for the simulated gauge, which has no hands.
    """

    opened: Callable[[], AbstractContextManager[Gauge]]
    calibration: Calibration
    archive: ArchiveWriter
    cycle: CycleSettings
    lay_in: Callable[[ShaftOrder], None] = nothing_to_lay_in


class GaugeBench:
    """A gauge at which a person lays shafts in one by one; an `AttendedBench`.

    Parameters
    ----------
    name : str
        Name of the gauge.
    ways : GaugeWays
        How it is reached, and what measures with it.
    """

    caution = CAUTION
    goes_on = False  # what was cut short is measured anew

    def __init__(self, name: str, ways: GaugeWays) -> None:
        self.name, self._ways = name, ways
        self._open = ExitStack()
        self._gauge: Gauge | None = None
        self._run: RawRun | None = None  # of the shaft on the rollers, until something else turns it

    def connect(self) -> None:
        """Open the line to the gauge, anew after it was lost, and wait until it is at rest.

        Raises
        ------
        LinkError
            The gauge is not there, or another program has it.
        """
        self.close()
        with ExitStack() as trying:
            gauge = trying.enter_context(self._ways.opened())
            gauge.settled()
            self._open, self._gauge = trying.pop_all(), gauge

    def close(self) -> None:
        """Close the line; closing twice does no harm."""
        self._gauge = self._run = None
        self._open.close()

    @property
    def _there(self) -> Gauge:
        """The gauge on an open line; LinkError without one."""
        if self._gauge is None:
            raise LinkError(LINE_LOST, code="closed")
        return self._gauge

    def hindrance(self) -> Hindrance | None:
        """Return why no shaft can be measured now.

        Returns
        -------
        Hindrance | None
            A fault, or a shaft in its feeder; None if a shaft can be measured.
        """
        found = self._there.settled()
        if found.state is State.FAULTED:
            why = "a fault from before" if found.fault is None else describe(found.fault, None)
            return Hindrance(f"The gauge has stopped: {why}. Find the cause and remove it.", moves=True)
        if found.state is State.LOADED:
            held = None if found.feeder is None else found.feeder.in_gauge
            return Hindrance(
                f"The feeder still has shaft {held} in the gauge. Let the sorting run end: midspan sort PLAN --resume",
                moves=False,
            )
        return None

    def clear(self) -> None:
        """Bring the press home after a person has removed the cause of a fault."""
        self._run = None
        self._there.clear_fault()

    def is_seated(self) -> bool | None:
        """Return whether the seat sensor sees a shaft.

        Returns
        -------
        bool | None
            None for a gauge without that sensor.
        """
        feeder = self._there.identify().feeder
        return None if feeder is None else feeder.seated

    def recover(self, recorder: Recorder) -> MeasuredShaft | None:
        """Keep and store the readings that the gauge still holds; nothing moves.

        Parameters
        ----------
        recorder : Recorder
            Where they go.

        Returns
        -------
        MeasuredShaft | None
            The shaft, None if it holds none.
        """
        held = self._there.settled().held_shaft
        if held == STEP_NUMBER:  # it was turning a stiff side up, which says nothing about the shaft
            self._there.acknowledge(held)
            held = None
        if held is None:
            return self._from_archive(recorder)
        order = recorder.order_of_held(held)
        measured = self._pipeline(order, recorder).fetch(held, "" if order is None else order.label)
        self._run = None  # nobody knows if the shaft was lifted since
        return measured

    def _from_archive(self, recorder: Recorder) -> MeasuredShaft | None:
        """Judge readings that are kept and were not stored; None if there are none."""
        order = recorder.left_open()
        if order is None or order.transit is None or order.transit.stage is not TransitStage.MEASURING:
            return None
        step, archive = order.transit.steps[-1], self._ways.archive
        if step.archive_bytes is None or step.words != archive.marker or archive.end <= step.archive_bytes:
            return None
        run = Archive.open(archive.path).run_at(step.archive_bytes)
        if run.shaft != order.shaft:
            return None
        measured = self._judge(Kept.at(run, archive.path, step.archive_bytes), order, recorder)
        self._run = None
        return measured

    def measure(self, order: ShaftOrder, recorder: Recorder) -> MeasuredShaft:
        """Measure the shaft on the rollers and take its readings through all steps.

        Parameters
        ----------
        order : ShaftOrder
            The shaft.
        recorder : Recorder
            Where result and verdict go.

        Returns
        -------
        MeasuredShaft
            The shaft with its verdict.

        Raises
        ------
        DeviceFault
            The lid is open (code "LID_OPEN"), or the gauge has stopped because of a fault.
        LinkError
            The line broke; what the gauge holds is fetched by `recover`.
        """
        ways, self._run = self._ways, None
        found = self._there.settled()
        cycle = cycle_steps(ways.calibration, found, ways.cycle)
        ways.archive.check_place()
        recorder.measuring(order, ways.archive.end, ways.archive.marker)
        ways.lay_in(order)
        return self._pipeline(order, recorder).take(lambda: self._there.run(order.shaft, order.label, cycle))

    def _pipeline(self, order: ShaftOrder | None, recorder: Recorder) -> Pipeline[MeasuredShaft]:
        """Return the five steps of a run of this order, or of readings that were taken for another program."""
        return Pipeline(self._there, self._ways.archive, lambda kept: self._judge(kept, order, recorder))

    def _judge(self, kept: Kept, order: ShaftOrder | None, recorder: Recorder) -> MeasuredShaft:
        """Evaluate readings that are on the disk, and have the result judged and stored."""
        result = evaluate_kept(kept, self._ways.calibration)
        if order is None:
            return recorder.rescued(kept.where, result)
        signs = observe(kept.run, result, self._ways.calibration, None).as_dict()
        measured = recorder.judged(order, kept.where, result, RunFacts(kept.run.cause, signs))
        self._run = None if measured.was_empty else kept.run
        return measured

    def can_turn(self, measured: MeasuredShaft) -> bool:
        """Return whether the stiff side of the shaft that was measured last is known.

        Parameters
        ----------
        measured : MeasuredShaft
            The shaft.

        Returns
        -------
        bool
            False for an even shaft, one that slipped, or one without a result.
        """
        if isinstance(measured.result, HandResult):
            return False
        try:
            stiff_side(measured.result)
        except ParkingError:
            return False
        return True

    def turn_stiff_side_up(self, measured: MeasuredShaft) -> float:
        """Turn the shaft that was measured last, and not lifted since, until its stiff side is up.

        Parameters
        ----------
        measured : MeasuredShaft
            The shaft.

        Returns
        -------
        float
            Half width of the 95 % range of the position, degrees.

        Raises
        ------
        ParkingError
            It turned since, or the gauge was reset (code "reset"), or it has no known stiff side.
        """
        run, self._run = self._run, None
        if run is None or not isinstance(measured.result, ShaftResult):
            raise ParkingError(f"shaft {measured.order.shaft} was turned since it was measured", code="reset")
        turned = park(self._there, run, measured.result, self._ways.calibration)
        return Coverage().k(None) * turned.u_deg
