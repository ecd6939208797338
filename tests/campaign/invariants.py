"""Proof of a night from outside: world file, archive and truth against journal and store."""

from __future__ import annotations

from collections.abc import Set
from hashlib import sha256
from pathlib import Path

from midspan.archive.reader import Archive
from midspan.base.errors import ArchiveError
from midspan.measurement.calibration import load_calibration
from midspan.measurement.result import ShaftResult, Unmeasured, evaluate
from midspan.store.evaluation import StoredResult
from midspan.store.journal import Journal
from midspan.store.place import StorePlace
from midspan.store.transit import NightOnRecord, Transit, TransitStage

from campaign import night_files
from campaign.bench import Bench
from campaign.ground_truth import Account, World, account
from campaign.line_tap import Release
from campaign.night_files import Stock
from campaign.tally import Tally

# A stored value may lie so many standard uncertainties, and so many thou, from the truth: it is one draw of the
# calibration's errors, and the simulated supports are those of the estimate's bound (measurement model, supports).
WITHIN_U, MARGIN_THOU = 3.0, 0.2


def in_between(tally: Tally, bench: Bench) -> None:
    """Check what was written so far, whatever was going on when it stopped."""
    if not bench.store.exists():
        return
    with StorePlace(bench.store).open() as store:
        night, transits = _newest(Journal(store), bench)
    if night is None:
        return
    last = transits[-1].stage if transits else "before the first"
    tally.instants[f"journal {last}"] += 1
    _add(tally, account(World.read(bench.folder / "world.txt"), transits, set(bench.stock.others)))


def _newest(journal: Journal, bench: Bench) -> tuple[NightOnRecord | None, list[Transit]]:
    nights = journal.nights(bench.name)
    return (nights[-1], journal.transits(nights[-1].id)) if nights else (None, [])


def whole_night(
    tally: Tally, bench: Bench, released: Set[Release] | None = None, missing: Set[int] | None = None
) -> None:
    """Check the gauge's newest night, which has ended: places, verdicts, readings, values.

    `released` are the releases that the device told as done: a shaft that the journal has in its place without one of
    them is a guess. `missing` are the shafts whose readings somebody took away with the archive, None when nobody did;
    a verdict that was given anew after that needs none.
    """
    folder, stock = bench.folder, bench.stock
    world = World.read(folder / "world.txt")
    with StorePlace(bench.store).open() as store:
        night, transits = _newest(Journal(store), bench)
        assert night is not None
        results = {result.id: result for result in store.batch(night.batch)}
    found = account(world, transits, set(stock.others))
    for transit in transits:
        found.check(not transit.is_open, f"the night is over and shaft {transit.shaft} is {transit.stage}")
    if not any(transit.stage is TransitStage.NO_SHAFT for transit in transits):
        found.check("hopper" not in world.where.values(), "the night is over and the hopper is not empty")
    left = set(stock.shafts) - set(world.where)
    found.check(not left, f"the night is over and the shafts {sorted(left)} never left the hopper")
    for way in transits if released is not None else ():
        if way.stage is TransitStage.IN_BIN and (way.shaft, way.place, way.passed) not in released:
            found.wrong.append(f"shaft {way.shaft} is said to lie in place {way.place}, and the gauge never said so")
    newest = {way.result for way in transits if way.shaft not in (missing or ())}
    kept = results if missing is None else {number: result for number, result in results.items() if number in newest}
    _readings(found, folder, kept)
    _values(found, world, transits, results, stock)
    _add(tally, found)
    tally.ambiguous += found.ambiguous
    tally.fed += found.fed
    tally.verdicts += len(results)


def readings_missing(bench: Bench) -> set[int]:
    """The shafts that were judged by readings which are not in the archive that stands there."""
    runs = Archive.open(bench.folder / "readings.avro").entries()
    there = {(offset, run.shaft, run.started_ms) for offset, run in runs}
    with StorePlace(bench.store).open() as store:
        night, transits = _newest(Journal(store), bench)
        assert night is not None
        results = {result.id: result.run for result in store.batch(night.batch)}
    judged = (results[transit.result] for transit in transits if transit.result is not None)
    return {run.shaft for run in judged if (run.byte_offset, run.shaft, run.started_ms) not in there}


def _add(tally: Tally, found: Account) -> None:
    tally.lost += found.lost
    tally.wrong += found.wrong


def _readings(found: Account, folder: Path, results: dict[int, StoredResult]) -> None:
    """Each verdict has its whole raw run, which says the same again; no run is stored twice."""
    archive, calibration = folder / "readings.avro", load_calibration(folder / "gauge.toml")
    opened = Archive.open(archive)
    # A device that was reset repeats its noise: the boot tells measurements apart.
    prints = [(run.boot, run.shaft, sha256(run.counts.tobytes()).digest()) for run in opened.runs() if len(run)]
    opened.check()
    if len(set(prints)) != len(prints):
        found.wrong.append("the same readings are in the archive twice")
    for result in results.values():
        try:
            run = opened.run_at(result.run.byte_offset)
        except ArchiveError as error:
            found.check(False, f"result {result.id} has no readings: {error}")
            continue
        (again,) = evaluate([run], calibration)
        value = again.spine_thou if isinstance(again, ShaftResult) else None
        stored = None if isinstance(result.result, Unmeasured) else result.result.spine_thou
        found.check(run.shaft == result.run.shaft, f"the readings of result {result.id} are of shaft {run.shaft}")
        found.check(value == stored, f"result {result.id} of shaft {run.shaft} is {stored}, its readings say {value}")


def _values(
    found: Account, world: World, transits: list[Transit], results: dict[int, StoredResult], stock: Stock
) -> None:
    """No value but that of the very shaft, and each shaft where its true value belongs, or in recheck."""
    for transit in transits:
        own = world.own(transit.shaft)
        stored = None if transit.result is None else results[transit.result].result
        if own is None or stored is None or isinstance(stored, Unmeasured):
            if transit.stage is TransitStage.IN_BIN and transit.standard is None and transit.place in night_files.BINS:
                found.wrong.append(f"shaft {transit.shaft} lies in place {transit.place} without any value")
            continue
        truth = stock.truth(own)
        off, u = abs(stored.spine_thou - truth["spine_thou"]), stored.u_spine_thou
        if off > WITHIN_U * u + MARGIN_THOU:
            found.wrong.append(f"shaft {transit.shaft}, {truth}, is stored as {stored.spine_thou:.2f} thou")
        right = transit.standard is not None or transit.place in (night_files.true_place(truth), night_files.RECHECK)
        if transit.stage is TransitStage.IN_BIN and not right:
            found.wrong.append(f"shaft {transit.shaft}, {truth}, lies in place {transit.place}")
