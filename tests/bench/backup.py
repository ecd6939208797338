"""A backup of many results and the way back, every run and result read back, on this disk.

The runs have a tenth of the readings of real ones, so that the disk need not hold a gigabyte twice.
"""

import dataclasses
import sqlite3
import time
from contextlib import closing

import numpy as np
from midspan.archive import avro_container, raw_run_codec
from midspan.backup.copy import backup
from midspan.backup.restore import restore
from midspan.measurement.result import evaluate
from midspan.store.place import StorePlace
from midspan.store.stored_result import as_text
from midspan.wire.schema import raw_run_schema
from synthetic import Gauge, Shaft, paper_calibration, raw_run

from bench.figure import at_most, plainly

RESULTS = 100_000
MARKER = bytes(range(16))


def figures(folder):
    """Return the times of backup and restore, and the amount of data."""
    shop, copy = folder / "shop", folder / "copy"
    shop.mkdir()
    _fill(shop)
    backup_s = _time_s(lambda: backup(copy, StorePlace(shop / "results.db"), [], lambda: 0))
    restore_s = _time_s(lambda: restore(copy, folder / "again"))
    return [
        at_most(f"backup of {RESULTS} results, read back", backup_s, "s", 300),
        at_most("its restore, read back", restore_s, "s", 300),
        plainly("size of its database", (copy / "results.db").stat().st_size / 1e6, "MB"),
        plainly("size of its archive", (copy / "readings.avro").stat().st_size / 1e6, "MB"),
    ]


def _fill(shop):
    run = raw_run(Shaft(), Gauge(), np.random.default_rng(1), per_turn=8)
    (result,) = evaluate([raw_run(Shaft(), Gauge(), np.random.default_rng(1))], paper_calibration())
    full = as_text(result)
    rows = []
    with (shop / "readings.avro").open("wb") as archive:
        archive.write(avro_container.header_bytes(raw_run_schema(), MARKER))
        for shaft in range(1, RESULTS + 1):
            rows.append((shaft, 1, "readings.avro", archive.tell(), shaft, "", run.started_ms))
            archive.write(
                avro_container.block_bytes(raw_run_codec.encode(dataclasses.replace(run, shaft=shaft)), MARKER)
            )
    with StorePlace(shop / "results.db").open() as store:
        store.begin_batch("many", 0)
    with closing(sqlite3.connect(shop / "results.db")) as database:
        into = "INSERT INTO runs (id, batch_id, archive, byte_offset, shaft, label, started_ms) VALUES (?,?,?,?,?,?,?)"
        database.executemany(into, rows)
        numbers = [(number,) for number in range(1, RESULTS + 1)]
        values = f"(?1, ?1, 0, {result.spine_thou!r}, '{full}', 'gauge')"
        database.executemany(
            f"INSERT INTO results (id, run_id, made_ms, spine_thou, full, kind) VALUES {values}", numbers
        )
        database.executemany(
            "INSERT INTO decisions (result_id, outcome, reasons) VALUES (?, 'accepted', '[]')", numbers
        )
        database.commit()


def _time_s(what):
    begun = time.perf_counter()
    what()
    return time.perf_counter() - begun
