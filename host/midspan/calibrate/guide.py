"""Runs one calibration from the first question to the record: live or from CSV, on a real gauge or a simulated one."""

import logging
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from midspan.archive.writer import ArchiveWriter
from midspan.base.config import Section, validated
from midspan.base.csv_table import number_in
from midspan.base.errors import ConfigurationError, MidspanError, ReadingsError
from midspan.base.formatting import with_uncertainty
from midspan.calibrate.live import LiveBench
from midspan.calibrate.outcome import ProcedureResult
from midspan.calibrate.readings_table import CalibrationReadings, TableWriter
from midspan.calibrate.record import Circumstances, Record, newest, record_of, records_in, save_record
from midspan.link.gauge import Gauge
from midspan.link.open_line import open_line
from midspan.measurement.calibration import LONGEST_NAME, Force, FrameCompliance, Rotation, Span, Travel
from midspan.pipeline.steps import readings_alone
from midspan.rehearsal.process import REHEARSAL_PORT, Rehearsal

LOG = logging.getLogger(__name__)

K = 2.0
SECTION_MODELS: dict[str, type[Section]] = {
    "force": Force, "travel": Travel, "frame": FrameCompliance, "span": Span, "rotation": Rotation,
}  # fmt: skip
CLOCKS_APART = timedelta(hours=1)  # two computers that share a folder may differ a little
# What people read first: value, its u (relative where the value's name says so), unit.
HEADLINES = {
    "force": ("newton_per_count", "u_scale", True, "N per count"),
    "travel": ("mm_per_step", "u_scale", True, "mm per step"),
    "frame": ("give_mm_per_n", "u_give_mm_per_n", False, "mm/N"),
    "span": ("span_mm", "u_span_mm", False, "mm"),
    "rotation": ("steps_per_turn", "u_relative", True, "steps per turn"),
}


class GuideScreen:
    """The person at the terminal; `by_itself` nobody is waited for."""

    def __init__(self, ask: Callable[[str], str], say: Callable[[str], None], *, by_itself: bool) -> None:
        self._ask, self.say, self._by_itself = ask, say, by_itself

    def wait(self, text: str) -> None:
        """What to do; Enter goes on."""
        if self._by_itself:
            self.say(text)
        else:
            self._ask(f"{text} Enter when done")

    def number(self, text: str) -> float:
        """A number, asked for until it is one."""
        while True:
            try:
                return number_in(self._ask(text), "the answer")
            except ReadingsError as error:
                self.say(str(error))


@dataclass(frozen=True)
class GuidedCalibration:
    """What every calibration is told: where records go, whose, when, and where readings come from."""

    records: Path
    gauge: str
    who: str
    temperature_c: float
    now: datetime
    valid_days: int
    port: str | None
    csv: Path | None
    screen: GuideScreen

    def __post_init__(self) -> None:
        if not 0 < len(self.gauge) <= LONGEST_NAME or not self.gauge.isprintable():
            raise ConfigurationError(
                f"a gauge's name has 1 to {LONGEST_NAME} printable characters; correct --gauge {self.gauge[:40]!r}"
            )

    def circumstances(self, gauge: str) -> Circumstances:
        """Those of the record."""
        until = (self.now + timedelta(days=self.valid_days)).date()
        return Circumstances(gauge, self.who, self.now, self.temperature_c, until)

    def raw_file(self, kind: str) -> Path:
        """Where the readings of a live run are written as they come."""
        return self.records / f"{kind}-readings-{self.now:%Y%m%dT%H%M%SZ}.csv"

    def earlier(self, kind: str, key: str, gauge: str) -> float | None:
        """The value of the newest record of that kind, to compare with."""
        record = newest(self.records, kind, gauge)
        return None if record is None else record.section[key]

    def check_clock(self) -> None:
        """ConfigurationError when a record lies in the future: then a clock is, or was, set wrong.

        A new record would count as older than that one, and never be used.
        """
        if not self.records.is_dir():
            return
        for record in records_in(self.records):
            if datetime.fromisoformat(record.made) > self.now + CLOCKS_APART:
                raise ConfigurationError(
                    f"{self.records}: {record.id} was made at {record.made}, and it is {self.now:%Y-%m-%dT%H:%M:%SZ} "
                    "now: set the clock, or take that record out of the folder"
                )


@contextmanager
def bench_at(session: GuidedCalibration, kind: str, scenario: dict[str, Any]) -> Iterator[tuple[LiveBench, str]]:
    """The gauge at the port (or a simulated one) with a table to write to, and the gauge's name; head home at the end.

    Whatever goes wrong, the message says where the readings taken so far are.
    """
    table = TableWriter(session.raw_file(kind), kind)
    with ExitStack() as stack:
        port = str(session.port)
        if port == REHEARSAL_PORT:
            folder = Path(stack.enter_context(TemporaryDirectory()))
            port = stack.enter_context(Rehearsal(scenario, folder)).port
        session.records.mkdir(parents=True, exist_ok=True)
        archive = stack.enter_context(ArchiveWriter(session.records / "bench-readings.avro"))
        gauge = Gauge(stack.enter_context(open_line(port)))
        bench = LiveBench(gauge, archive, f"{kind} calibration", session.screen, table)
        found = gauge.identify()
        if found.held_shaft is not None:  # what an earlier host left there is kept before anything new is taken
            bench.pipeline(readings_alone).fetch(found.held_shaft)
        try:
            yield bench, found.gauge
            bench.end()
        except KeyboardInterrupt:
            gauge.stop()
            session.screen.say(f"stopped{table.kept()}")
            raise
        except MidspanError as error:
            with suppress(MidspanError):  # the line may be what failed
                bench.end()
            error.ending(table.kept())
            raise


@dataclass(frozen=True)
class Taken:
    """Readings of one procedure on a gauge, what it was told, and how they are worked out."""

    kind: str
    gauge: str
    readings: CalibrationReadings
    settings: dict[str, Any]
    work: Callable[[], ProcedureResult]


@dataclass(frozen=True)
class FinishedProcedure:
    """What came of a procedure, and the record that was made of it."""

    finding: ProcedureResult
    record: Record
    path: Path


def finish(session: GuidedCalibration, taken: Taken) -> FinishedProcedure:
    """Work out the readings and save the record; a refusal says where the readings are.

    What came of them must be what a calibration file can hold, or it would be refused when the gauge is to be used.
    Raises ConfigurationError for that, and what the work raises.
    """
    try:
        finding = taken.work()
        if finding.section:
            validated(SECTION_MODELS[taken.kind], finding.section, Path(taken.readings.source))
    except MidspanError as error:
        LOG.warning("%s readings are refused: %s", taken.kind, error)
        error.ending(f" (no record was made; the readings are in {taken.readings.source})")
        raise
    record = record_of(finding, taken.readings.as_dict(), taken.settings, session.circumstances(taken.gauge))
    LOG.info("%s readings are accepted as record %s", taken.kind, record.id)
    return FinishedProcedure(finding, record, save_record(record, session.records))


def story(kind: str, finding: ProcedureResult) -> str:
    """The finding for people: the value with U, figures, each cause's share, remarks."""
    lines = []
    if kind in HEADLINES:
        key, u_key, relative, unit = HEADLINES[kind]
        value = finding.section[key]
        expanded = K * finding.section[u_key] * (value if relative else 1.0)
        lines.append(f"{kind}: {_short(value, expanded)} {unit} (U with k = 2)")
    lines += [f"  {name:24} {value:.6g}" for name, value in finding.figures.items()]
    if finding.budget:
        lines.append("  standard uncertainties:")
    lines += [
        f"    {name:22} {u:.2g}" + (f"  ({dof:.0f} degrees of freedom)" if np.isfinite(dof) else "")
        for name, (u, dof) in finding.budget.items()
    ]
    return "\n".join([*lines, *(f"  * {remark}" for remark in finding.remarks)])


def _short(value: float, expanded: float) -> str:
    """Value and U, in powers of ten where plain digits would be zeros.

    >>> _short(9.1652e-6, 4.5e-9), _short(711.21, 0.07)
    ('(9.1652 ± 0.0045)e-06', '711.210 ± 0.070')
    """
    power = int(np.floor(np.log10(abs(value)))) if value else 0
    if -4 <= power < 6:
        return with_uncertainty(value, expanded, most_places=9)
    return f"({with_uncertainty(value / 10.0**power, expanded / 10.0**power)})e{power:+03d}"


def settings_of(**parts: Any) -> dict[str, Any]:
    """What the procedure was told, as plain values for the record.

    >>> settings_of(clearance_mm=6.5)
    {'clearance_mm': 6.5}
    """
    return {name: asdict(value) if hasattr(value, "__dataclass_fields__") else value for name, value in parts.items()}
