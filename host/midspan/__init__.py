"""Static spine of arrow shafts: measured, converted, judged and kept.

These names are what a program of your own needs. Measure one shaft on the simulated gauge, which runs the code of a
real one; for yours, load your own calibration file and open its port instead, ``open_gauge("/dev/ttyACM0")``:

>>> from pathlib import Path
>>> from tempfile import mkdtemp
>>> from midspan import Rehearsal, evaluate, example_calibration, example_scenario
>>> from midspan import cycle_steps, load_calibration, open_gauge
>>> folder = Path(mkdtemp())
>>> _ = (folder / "gauge.toml").write_text(example_calibration())
>>> calibration = load_calibration(folder / "gauge.toml")
>>> with Rehearsal(example_scenario(), folder) as simulated, open_gauge(simulated.port) as gauge:
...     steps = cycle_steps(calibration, gauge.identify(), calibration.usual_cycle)
...     run = gauge.run(1, "B01", steps)
...     gauge.acknowledge(1)
>>> (result,) = evaluate([run], calibration)
>>> print(f"spine {result.spine_thou:.1f} +- {result.budget.expanded():.1f} thou")
spine 501.1 +- 0.4 thou

Keep readings before the gauge is told to forget them, so that no failure can lose them; they are evaluated again at any
time, under any calibration:

>>> from midspan import ArchiveWriter, read_archive
>>> with ArchiveWriter(folder / "readings.avro") as archive:
...     offset = archive.append(run)
>>> [kept.label for kept in read_archive(folder / "readings.avro")]
['B01']

Judge a result against a bands file, which says what is wanted (`Bands`). An `Unmeasured` can be judged too and is never
accepted:

>>> from midspan import example_bands, judge, load_bands
>>> _ = (folder / "bands.toml").write_text(example_bands())
>>> bands = load_bands(folder / "bands.toml")
>>> decision = judge(result, bands)
>>> decision.outcome.value, decision.bin, decision.reasons
('accepted', 'softer dozen', ())

`Bench` does all of this in the order that loses nothing: keep, evaluate, judge, store, acknowledge. The results can be
read from the database at any time:

>>> from midspan import Bench, StorePlace, measure_batch
>>> place = StorePlace.of("results.db", folder)
>>> with (Rehearsal(example_scenario(), folder / "again") as simulated, open_gauge(simulated.port) as gauge,
...         ArchiveWriter(folder / "readings.avro") as archive, place.open() as store):
...     bench = Bench(gauge, calibration, bands, archive, store, batch=store.begin_batch("an afternoon", 0))
...     verdicts = list(measure_batch(bench, [(1, "B01"), (2, "R1")]))
>>> with place.open_to_read() as store:
...     [(stored.result.shaft, stored.decision.outcome.value) for stored in store.batch(bench.batch)]
[(1, 'accepted'), (2, 'rejected')]

A deflection in thou is in thousandths of an inch (0.0254 mm), and a smaller one means a stiffer shaft. A `u_...` is a
standard uncertainty; U, the half width of the 95 % interval, is `result.budget.expanded()`. Whatever goes wrong is a
`MidspanError`, whose message is one line: what is wrong, where, and what to do.
"""

import logging

import lazy_loader

# Whoever imports the package decides where its log goes, `base/log_file.py` for the command line: else it goes nowhere.
logging.getLogger(__name__).addHandler(logging.NullHandler())

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
