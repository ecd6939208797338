"""A batch through the whole path: cycle time, share of sampling, bytes a reading, latency of the verdict."""

import time

import numpy as np
from gauges import identify
from midspan.archive.writer import ArchiveWriter
from midspan.decision.bands import load_bands
from midspan.link.gauge import Gauge
from midspan.link.serial_port import SerialLink
from midspan.measurement.calibration import load_calibration
from midspan.pipeline.bench import Bench, measure_batch
from midspan.rehearsal import scenario
from midspan.rehearsal.process import Rehearsal
from midspan.sorting.gauge_health import WatchLimits, alarms, observe
from midspan.store.place import StorePlace
from midspan.wire.codec import unpack
from midspan.wire.framing import Deframer, Frame
from midspan.wire.records import Readings

from bench.figure import at_most, plainly

SHAFTS = 250
NOMINAL_US = 12_500


class WatchedLink:
    """A line that notes when bytes last came, and how many the blocks of readings took."""

    def __init__(self, link):
        self.name, self._link = link.name, link
        self.last_s = 0.0
        self.bytes = self.readings = 0
        self._deframer = Deframer()

    def read(self):
        """Return what has come, and note it."""
        data = self._link.read()
        if data:
            self.last_s = time.perf_counter()
            for frame in self._deframer.feed(data):
                self._note(frame)
        return data

    def write(self, data):
        """Pass bytes on."""
        self._link.write(data)

    def _note(self, frame):
        if isinstance(frame, Frame) and frame.body[:1] == b"\x02":  # zig-zag of branch 1, Readings
            block = unpack(frame.body)
            assert isinstance(block, Readings)
            self.readings += len(block.counts)
            # Before stuffing: sequence 2, body, CRC 4; stuffing adds a byte in 254 begun, the delimiter one.
            plain = len(frame.body) + 6
            self.bytes += plain + 1 + plain // 255 + 1


def timed_store(store, link, latencies_s):
    """Let the store note how long after the last byte of the line each verdict was durable."""
    add = store.add

    def timed(*arguments, **named):
        number = add(*arguments, **named)
        latencies_s.append(time.perf_counter() - link.last_s)
        return number

    store.add = timed


def measured(folder, number=SHAFTS):
    """Measure a batch on the rehearsal; return archive, verdicts, line and latencies."""
    stock = [shaft for shaft in scenario.shafts(number + 7, 1) if not shaft["label"].startswith("R")][:number]
    (folder / "cal.toml").write_text(scenario.example_calibration(1))
    (folder / "bands.toml").write_text(scenario.example_bands())
    archive = folder / "batch.avro"
    archive.unlink(missing_ok=True)
    with (
        Rehearsal(scenario.rehearsal(stock, 1), folder) as rehearsal,
        SerialLink(rehearsal.port) as serial,
        ArchiveWriter(archive) as writer,
        StorePlace(folder / "results.db").open() as store,
    ):
        link = WatchedLink(serial)
        calibration, bands = load_calibration(folder / "cal.toml"), load_bands(folder / "bands.toml")
        bench = Bench(Gauge(link), calibration, bands, writer, store, store.begin_batch("bench", 0))
        latencies_s = []
        timed_store(store, link, latencies_s)
        begun = time.perf_counter()
        verdicts = list(measure_batch(bench, [(shaft["number"], shaft["label"]) for shaft in stock]))
        passed_s = time.perf_counter() - begun
    return archive, calibration, verdicts, link, np.array(latencies_s), passed_s


def figures(folder):
    """Return figures of the cycle and of the line."""
    archive, calibration, verdicts, link, latency_s, passed_s = measured(folder)
    duration = sum(verdict.run.duration_ms for verdict in verdicts)
    sampling = sum(verdict.run.sampling_ms for verdict in verdicts)
    p50, p99 = np.quantile(latency_s[5:], [0.5, 0.99]) * 1e3  # the first ones pay for imports and tables
    return [
        plainly("share of the cycle spent sampling", 100 * sampling / duration, "%"),
        plainly("cycle time a shaft at 80 samples/s", duration / len(verdicts) / 1000, "s"),
        plainly("readings a shaft", sum(len(verdict.run) for verdict in verdicts) / len(verdicts), ""),
        at_most("bytes a reading on the wire, framing included", link.bytes / link.readings, "bytes", 6),
        plainly("archive bytes a shaft", archive.stat().st_size / len(verdicts), "bytes"),
        plainly("last byte to durable verdict, p50", p50, "ms"),
        at_most("last byte to durable verdict, p99", p99, "ms", 20),
        plainly("rehearsal runs faster than the gauge by", duration / 1000 / passed_s, "times"),
        at_most(f"false alarms of the watch in {len(verdicts)} shafts", _false_alarms(verdicts, calibration), "", 0),
    ]


def _false_alarms(verdicts, calibration):
    """Return how many shafts on a sound gauge raise an alarm."""
    gauge = identify(interval_us=NOMINAL_US)
    night = [observe(verdict.run, verdict.result, calibration, gauge) for verdict in verdicts]
    return sum(bool(alarms(seen, night[:i], WatchLimits())) for i, seen in enumerate(night))
