"""The five steps of a run, in the only order that loses nothing, and what happens when one of them fails.

The gauge holds the readings of its newest run until it is told that it may forget them.

1. keep: the readings go to the archive. On failure the gauge goes on holding them, and whoever comes next fetches them.
2. evaluate: a result comes of them, or the reasons why there is none. A shaft that fails is judged like any other.
3. decide: a verdict is made of the result.
4. store: result and verdict go to the database. On failure of this step or of the two before it the readings are safe:
   the gauge may forget them, the error says where they are, and `midspan recompute` gives the result.
5. acknowledge: the gauge may forget the readings. On failure it goes on holding them; they are fetched again, and
   kept once.

Ctrl-C while the gauge measures lifts the head; what was read so far goes through all five steps before the program
ends. Ctrl-C in a step counts as its failure.

A caller leaves out the steps that it has no use for: a calibration step ends with its readings, a reference bar with
its result. An overnight run has an action for keep, one for evaluate to store and one for acknowledge, and goes on with
the first that archive and journal do not show as done; there the gauge holds the readings until the verdict is stored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from midspan.archive.raw_run import RawRun
from midspan.archive.reader import Archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import StoreError
from midspan.link.gauge import Gauge, OnEvent, ignore
from midspan.measurement.calibration import Calibration
from midspan.measurement.result import ShaftResult, Unmeasured, evaluate
from midspan.store.evaluation import RunReference

DecidedT = TypeVar("DecidedT")
OutcomeT = TypeVar("OutcomeT")
Result = ShaftResult | Unmeasured


@dataclass(frozen=True, slots=True)
class Kept:
    """Readings that are on the disk, and where they stand there."""

    run: RawRun
    where: RunReference

    @classmethod
    def at(cls, run: RawRun, archive: Path, offset: int) -> Kept:
        """Return the readings that stand at an offset of an archive."""
        return cls(run, RunReference(str(archive), offset, run.shaft, run.label, run.started_ms))


def kept_in(archive: ArchiveWriter, run: RawRun) -> Kept:
    """Append readings to an archive and return them with their place, on the disk by then. Raises ArchiveError."""
    return Kept.at(run, archive.path, archive.append(run))


def kept_once(archive: ArchiveWriter, run: RawRun) -> Kept:
    """Return readings that a gauge still held, appended unless they are in the archive already.

    They are when the host before died between keeping and acknowledging; there they have their own label and time.
    """
    found = Archive.open(archive.path).find(run)
    return kept_in(archive, run) if found is None else Kept.at(found[1], archive.path, found[0])


def readings_alone(kept: Kept) -> RawRun:
    """Return the readings, of which nothing is made: for runs that say nothing of a shaft."""
    return kept.run


def evaluated(kept: Kept, calibration: Calibration) -> Result:
    """Return the result of readings, or the reasons why there is none; nothing is decided or stored."""
    (result,) = evaluate([kept.run], calibration)
    return result


@dataclass(frozen=True, slots=True)
class Judging(Generic[DecidedT, OutcomeT]):
    """Evaluate under a calibration, decide, store: all that happens to readings which are on the disk."""

    calibration: Calibration
    decide: Callable[[Kept, Result], DecidedT]
    store: Callable[[Kept, Result, DecidedT], OutcomeT]

    def one(self, kept: Kept) -> OutcomeT:
        """Return what came of a run, stored."""
        (outcome,) = self.each([kept])
        return outcome

    def each(self, batch: Sequence[Kept]) -> Iterator[OutcomeT]:
        """Return what came of each run, as soon as it is stored; they are evaluated together, which is faster."""
        for kept, result in zip(batch, evaluate([kept.run for kept in batch], self.calibration), strict=True):
            yield self.store(kept, result, self.decide(kept, result))


@dataclass(frozen=True, slots=True)
class Pipeline(Generic[OutcomeT]):
    """All five steps at one gauge, into one archive; `judge` makes of kept readings what the caller wants."""

    gauge: Gauge
    archive: ArchiveWriter
    judge: Callable[[Kept], OutcomeT]
    on_event: OnEvent = ignore

    def take(self, order: Callable[[], RawRun]) -> OutcomeT:
        """Return what came of the run for which `order` asks the gauge.

        Ctrl-C lifts the head, and what was read so far goes all the way before KeyboardInterrupt goes on.
        """
        try:
            run = order()
        except KeyboardInterrupt:
            so_far = self.gauge.stop()
            if so_far is not None:
                self._finish(kept_in(self.archive, so_far))
            raise
        return self._finish(kept_in(self.archive, run))

    def fetch(self, shaft: int) -> OutcomeT:
        """Return what came of the readings that the gauge still holds from an earlier host; they are kept once."""
        return self._finish(kept_once(self.archive, self.gauge.fetch(shaft, "", self.on_event)))

    def _finish(self, kept: Kept) -> OutcomeT:
        """Return what came of readings; however they are judged, the gauge may forget them, for they are kept."""
        try:
            return self.judge(kept)
        except StoreError as error:
            where = f"the readings of {kept.run.name} are safe in {kept.where.archive}"
            raise StoreError(f"{error} ({where}; recompute gives its result)") from error
        finally:
            # The readings are on the disk, whatever became of the verdict: holding them would store them twice.
            self.gauge.acknowledge(kept.run.shaft, self.on_event)
