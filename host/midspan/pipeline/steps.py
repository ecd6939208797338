"""The five steps of a run, in the only order that loses nothing, and what happens when a step fails.

The gauge holds the readings of its newest run until it is allowed to forget them.

1. keep: append the readings to the archive. If this fails the gauge still holds them, and the next host fetches them.
2. evaluate: work out a result, or the reasons why there is none. A shaft that fails is judged like any other.
3. decide: judge the result.
4. store: write result and verdict to the database. If this step or one of the two before it fails, the readings are
   safe: the gauge may forget them, the error says where they are, and `midspan recompute` makes the result.
5. acknowledge: allow the gauge to forget. If this fails it holds the readings; they are fetched again and kept once.

Ctrl-C while the gauge measures lifts the head; what was read so far goes through all five steps before the program
ends. Ctrl-C in a step counts as its failure.

A caller leaves out the steps it has no use for: a calibration step ends with its readings, a reference bar with its
result. An overnight run has separate actions for keep, for evaluate to store, and for acknowledge; it resumes with the
first that archive and journal do not show as done, and the gauge holds the readings until the verdict is stored.
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
    """Readings that are on the disk, with their place there.

    Parameters
    ----------
    run : RawRun
        The readings.
    where : RunReference
        Archive and byte offset, with number, label and time of the shaft.
    """

    run: RawRun
    where: RunReference

    @classmethod
    def at(cls, run: RawRun, archive: Path, offset: int) -> Kept:
        """Return readings that are in an archive already, with their place.

        Parameters
        ----------
        run : RawRun
            The readings.
        archive : Path
            File they are in.
        offset : int
            Where they begin in it, bytes.

        Returns
        -------
        Kept
            Readings and place.
        """
        return cls(run, RunReference(str(archive), offset, run.shaft, run.label, run.started_ms))


def keep(archive: ArchiveWriter, run: RawRun) -> Kept:
    """Append readings to an archive and return them with their place; they are on the disk by then.

    Parameters
    ----------
    archive : ArchiveWriter
        Open archive.
    run : RawRun
        Readings of one run.

    Returns
    -------
    Kept
        Readings and place.

    Raises
    ------
    ArchiveError
        The file cannot be written, or is not the one that was opened.
    """
    return Kept.at(run, archive.path, archive.append(run))


def keep_once(archive: ArchiveWriter, run: RawRun) -> Kept:
    """Return readings that a gauge still held, with their place; append them only if the archive lacks them.

    The archive has them if an earlier host died between keeping and acknowledging. Then the label and time of that
    host count.

    Parameters
    ----------
    archive : ArchiveWriter
        Open archive.
    run : RawRun
        Readings fetched from the gauge.

    Returns
    -------
    Kept
        Readings and place.

    Raises
    ------
    ArchiveError
        The file cannot be read or written.
    """
    found = Archive.open(archive.path).find(run)
    return keep(archive, run) if found is None else Kept.at(found[1], archive.path, found[0])


def readings_alone(kept: Kept) -> RawRun:
    """Return the readings without evaluating them: the `judge` of runs that say nothing about a shaft.

    Parameters
    ----------
    kept : Kept
        Readings on the disk.

    Returns
    -------
    RawRun
        The readings.
    """
    return kept.run


def evaluate_kept(kept: Kept, calibration: Calibration) -> Result:
    """Return the result of readings; nothing is decided or stored.

    Parameters
    ----------
    kept : Kept
        Readings on the disk.
    calibration : Calibration
        Calibration of the gauge they come from.

    Returns
    -------
    ShaftResult | Unmeasured
        Quantities with their uncertainties, or the reasons why there are none.
    """
    (result,) = evaluate([kept.run], calibration)
    return result


@dataclass(frozen=True, slots=True)
class Judging(Generic[DecidedT, OutcomeT]):
    """Steps 2 to 4 for readings that are on the disk: evaluate under a calibration, decide, store.

    Parameters
    ----------
    calibration : Calibration
        Calibration of the gauge the readings come from.
    decide : Callable[[Kept, Result], DecidedT]
        Makes the decision of readings and result.
    store : Callable[[Kept, Result, DecidedT], OutcomeT]
        Stores readings, result and decision, and returns what the caller wants of them.
    """

    calibration: Calibration
    decide: Callable[[Kept, Result], DecidedT]
    store: Callable[[Kept, Result, DecidedT], OutcomeT]

    def judge(self, kept: Kept) -> OutcomeT:
        """Evaluate, decide and store one run.

        Parameters
        ----------
        kept : Kept
            Readings on the disk.

        Returns
        -------
        OutcomeT
            What `store` made of them.
        """
        (outcome,) = self.judge_each([kept])
        return outcome

    def judge_each(self, batch: Sequence[Kept]) -> Iterator[OutcomeT]:
        """Evaluate runs together, which is faster, then decide and store them in turn.

        Parameters
        ----------
        batch : Sequence[Kept]
            Readings on the disk.

        Yields
        ------
        OutcomeT
            What `store` made of each run, as soon as it is stored.
        """
        for kept, result in zip(batch, evaluate([kept.run for kept in batch], self.calibration), strict=True):
            yield self.store(kept, result, self.decide(kept, result))


@dataclass(frozen=True, slots=True)
class Pipeline(Generic[OutcomeT]):
    """All five steps for runs of one gauge into one archive.

    Parameters
    ----------
    gauge : Gauge
        Gauge on an open line.
    archive : ArchiveWriter
        Open archive that gets the readings.
    judge : Callable[[Kept], OutcomeT]
        Makes of readings on the disk what the caller wants: steps 2 to 4, or fewer.
    on_event : OnEvent
        Called with every event of the line.
    """

    gauge: Gauge
    archive: ArchiveWriter
    judge: Callable[[Kept], OutcomeT]
    on_event: OnEvent = ignore

    def take(self, order: Callable[[], RawRun]) -> OutcomeT:
        """Ask the gauge for a run and take it through all steps.

        Ctrl-C lifts the head; what was read so far goes through all steps before KeyboardInterrupt is raised again.

        Parameters
        ----------
        order : Callable[[], RawRun]
            Has the gauge measure and returns the readings.

        Returns
        -------
        OutcomeT
            What `judge` made of the readings.

        Raises
        ------
        ArchiveError
            The readings cannot be kept; the gauge goes on holding them.
        StoreError
            The verdict cannot be stored; the message says where the readings are.
        """
        try:
            run = order()
        except KeyboardInterrupt:
            so_far = self.gauge.stop()
            if so_far is not None:
                self._finish(keep(self.archive, so_far))
            raise
        return self._finish(keep(self.archive, run))

    def fetch(self, shaft: int, label: str = "") -> OutcomeT:
        """Fetch the readings that the gauge still holds from an earlier host and take them through all steps.

        They are kept once, however often they are fetched.

        Parameters
        ----------
        shaft : int
            Number of the shaft that the gauge holds (`held_shaft` of its Identify).
        label : str
            Name of the shaft for people, which the gauge does not know; may be empty.

        Returns
        -------
        OutcomeT
            What `judge` made of the readings.

        Raises
        ------
        ArchiveError
            The readings cannot be kept; the gauge goes on holding them.
        StoreError
            The verdict cannot be stored; the message says where the readings are.
        """
        return self._finish(keep_once(self.archive, self.gauge.fetch(shaft, label, self.on_event)))

    def _finish(self, kept: Kept) -> OutcomeT:
        """Judge kept readings and let the gauge forget them, also if judging fails."""
        try:
            return self.judge(kept)
        except StoreError as error:
            where = f"the readings of {kept.run.name} are safe in {kept.where.archive}"
            raise StoreError(f"{error} ({where}; `midspan recompute` makes the result)") from error
        finally:
            # The readings are on the disk, whatever became of the verdict: if the gauge held them they would be stored
            # again.
            self.gauge.acknowledge(kept.run.shaft, self.on_event)
