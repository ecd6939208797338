"""Guide a calibration from the first question to the record: live or from CSV, on a real gauge or a simulated one."""

import logging
import math
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from midspan.archive.raw_run import BOARD
from midspan.archive.writer import ArchiveWriter
from midspan.base.config import Section, validated
from midspan.base.errors import ConfigurationError, MidspanError
from midspan.calibrate.axial_friction import FoundTurning
from midspan.calibrate.live import LiveBench
from midspan.calibrate.outcome import ProcedureResult
from midspan.calibrate.readings_table import CalibrationReadings, TableWriter
from midspan.calibrate.record import Circumstances, Record, newest, record_of, records_in, save_record
from midspan.calibrate.sinking import Sinking
from midspan.conversation.prompts import Conversation
from midspan.link.gauge import open_gauge
from midspan.measurement.calibration import (
    LONGEST_NAME,
    Force,
    FrameCompliance,
    Rotation,
    Span,
    Travel,
)
from midspan.measurement.thermometer import shown
from midspan.pipeline.steps import readings_alone
from midspan.rehearsal.process import REHEARSAL_PORT, Rehearsal
from midspan.wire.records import Identify

LOG = logging.getLogger(__name__)

DEEPEST_MM = 25.0  # greatest depth at which a bar or shaft on the supports is searched for
ROOM_C = 20.0  # of a procedure without a gauge, if nothing else is said
SECTION_MODELS: dict[str, type[Section]] = {
    "force": Force, "travel": Travel, "frame": FrameCompliance, "span": Span, "rotation": Rotation,
    "filter": FoundTurning, "sinking": Sinking,
}  # fmt: skip
CLOCKS_APART = timedelta(hours=1)  # clocks of two computers that share a folder may differ


@dataclass(frozen=True)
class GuidedCalibration:
    """Circumstances common to all procedures.

    Parameters
    ----------
    records : Path
        Folder of calibration records.
    gauge : str
        Name of the gauge, 1 to 32 printable characters; a live gauge's own name replaces it.
    who : str
        Person who calibrates.
    temperature_c : float | None
        Temperature of the room, deg C; None for what the gauge shows, or else 20.
    now : datetime
        Present time with its zone.
    valid_days : int
        Validity of the record, days.
    port : str | None
        Port of the gauge, None without a gauge.
    csv : Path | None
        Table of readings, None to take them live.
    talk : Conversation
        Who asks the person.
    shown : list[tuple[float, str]]
        What the gauge's thermometer showed before and after the readings, deg C, and which thermometer it is.
    details : bool
        True to say counts and steps while readings are taken.

    Raises
    ------
    ConfigurationError
        The name of the gauge is empty, too long or not printable.
    """

    records: Path
    gauge: str
    who: str
    temperature_c: float | None
    now: datetime
    valid_days: int
    port: str | None
    csv: Path | None
    talk: Conversation
    shown: list[tuple[float, str]] = field(default_factory=list)
    details: bool = False

    def __post_init__(self) -> None:
        if not 0 < len(self.gauge) <= LONGEST_NAME or not self.gauge.isprintable():
            raise ConfigurationError(
                f"a gauge's name has 1 to {LONGEST_NAME} printable characters; correct --gauge {self.gauge[:40]!r}",
                code="gauge_name",
            )

    def circumstances(self, gauge: str) -> Circumstances:
        """Return the circumstances to record.

        Parameters
        ----------
        gauge : str
            Name of the gauge.

        Returns
        -------
        Circumstances
            Circumstances.
        """
        until = (self.now + timedelta(days=self.valid_days)).date()
        shown_c, thermometer = self._mean_shown()
        room_c = self.temperature_c if self.temperature_c is not None else ROOM_C if shown_c is None else shown_c
        return Circumstances(gauge, self.who, self.now, room_c, until, shown_c, thermometer)

    def look_at_thermometer(self, gauge: Identify) -> None:
        """Note what the gauge's thermometer shows.

        Parameters
        ----------
        gauge : Identify
            Answer of the gauge.
        """
        shown_c, thermometer = shown(gauge)
        if shown_c is not None and thermometer is not None:
            self.shown.append((shown_c, thermometer))

    def _mean_shown(self) -> tuple[float | None, str | None]:
        """Return the mean of what the gauge's thermometer showed, and which one it is; two times None without."""
        if not self.shown:
            return None, None
        return round(math.fsum(celsius for celsius, _ in self.shown) / len(self.shown), 2), self.shown[-1][1]

    @property
    def is_simulated(self) -> bool:
        """True if the readings come from the simulated gauge."""
        return self.port == REHEARSAL_PORT

    def raw_file(self, kind: str) -> Path:
        """Return the file for the readings of a live procedure.

        Parameters
        ----------
        kind : str
            Kind of the procedure.

        Returns
        -------
        Path
            File in the folder of records, named by kind and time.
        """
        return self.records / f"{kind}-readings-{self.now:%Y%m%dT%H%M%SZ}.csv"

    def earlier(self, kind: str, key: str, gauge: str) -> float | None:
        """Return a value of the newest record of a kind, to compare with.

        Parameters
        ----------
        kind : str
            Kind of the procedure.
        key : str
            Key in the record's section.
        gauge : str
            Name of the gauge.

        Returns
        -------
        float | None
            The value, None without an earlier record.
        """
        record = newest(self.records, kind, gauge)
        return None if record is None else record.section[key]

    def force_and_travel(self, gauge: str) -> tuple[Force, Travel]:
        """Return force and travel of the newest records.

        Parameters
        ----------
        gauge : str
            Name of the gauge.

        Returns
        -------
        tuple[Force, Travel]
            Scale of the cell, and of the head's way.

        Raises
        ------
        ConfigurationError
            There is no record of force or of travel (code "missing_kind").
        """
        found = []
        for kind in ("force", "travel"):
            record = newest(self.records, kind, gauge)
            if record is None:
                raise ConfigurationError(
                    f"{self.records}: has no {kind} record of gauge {gauge}; run midspan calibrate {kind} first",
                    code="missing_kind",
                )
            found.append(record.section)
        return Force.model_validate(found[0]), Travel.model_validate(found[1])

    def check_clock(self) -> None:
        """Check that no record is dated in the future, as it would be if a clock is, or was, wrong.

        A new record would count as older than that one and never be used.

        Raises
        ------
        ConfigurationError
            A record is dated in the future, or a record cannot be read.
        """
        if not self.records.is_dir():
            return
        for record in records_in(self.records):
            if datetime.fromisoformat(record.made) > self.now + CLOCKS_APART:
                raise ConfigurationError(
                    f"{self.records}: {record.id} was made at {record.made}, but it is {self.now:%Y-%m-%dT%H:%M:%SZ} "
                    "now; set the clock, or move that record out of the folder",
                    code="record_in_future",
                )


@contextmanager
def bench_at(session: GuidedCalibration, kind: str, scenario: dict[str, Any]) -> Iterator[tuple[LiveBench, str]]:
    """Open a gauge, real or simulated, for a procedure; the head goes home at the end.

    Whatever fails, the error says where the readings taken so far are.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances, with the port.
    kind : str
        Kind of the procedure.
    scenario : dict[str, Any]
        What the simulated gauge simulates.

    Yields
    ------
    tuple[LiveBench, str]
        The bench, with a table for readings, and the name of the gauge.

    Raises
    ------
    LinkError
        The gauge does not answer.
    DeviceFault
        The gauge reports a fault.
    """
    table = TableWriter(session.raw_file(kind), kind)
    with ExitStack() as stack:
        port = str(session.port)
        if session.is_simulated:
            folder = Path(stack.enter_context(TemporaryDirectory()))
            port = stack.enter_context(Rehearsal(scenario, folder)).port
        session.records.mkdir(parents=True, exist_ok=True)
        archive = stack.enter_context(ArchiveWriter(session.records / "bench-readings.avro"))
        gauge = stack.enter_context(open_gauge(port))
        bench = LiveBench(gauge, archive, f"{kind} calibration", session.talk, table, details=session.details)
        found = gauge.identify()
        session.look_at_thermometer(found)
        if found.held_shaft is not None:  # archive readings left by an interrupted program before taking new readings
            bench.pipeline(readings_alone).fetch(found.held_shaft)
        try:
            yield bench, found.gauge
            bench.end()
            session.look_at_thermometer(gauge.identify())
        except KeyboardInterrupt:
            gauge.stop()
            session.talk.say(f"stopped{table.kept()}")
            raise
        except MidspanError as error:
            with suppress(MidspanError):  # the connection itself may have failed
                bench.end()
            error.ending(table.kept())
            raise


@dataclass(frozen=True)
class Taken:
    """Readings of a procedure, and how to evaluate them.

    Parameters
    ----------
    kind : str
        Kind of the procedure.
    gauge : str
        Name of the gauge.
    readings : CalibrationReadings
        The readings.
    settings : dict[str, Any]
        Settings of the procedure, plain values for the record.
    work : Callable[[], ProcedureResult]
        Evaluates the readings.
    """

    kind: str
    gauge: str
    readings: CalibrationReadings
    settings: dict[str, Any]
    work: Callable[[], ProcedureResult]


@dataclass(frozen=True)
class FinishedProcedure:
    """Result of a procedure, and its record.

    Parameters
    ----------
    finding : ProcedureResult
        The result.
    record : Record
        Record made of it.
    path : Path
        File of the record.
    """

    finding: ProcedureResult
    record: Record
    path: Path


def finish(session: GuidedCalibration, taken: Taken) -> FinishedProcedure:
    """Evaluate the readings of a procedure and save the record.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    taken : Taken
        Readings.

    Returns
    -------
    FinishedProcedure
        Result and record.

    Raises
    ------
    ConfigurationError
        The result is outside the range that a calibration file may have.
    ReadingsError
        The readings are refused; the message says where they are.
    OutputError
        The record cannot be written.
    """
    try:
        finding = taken.work()
        if finding.section:
            validated(SECTION_MODELS[taken.kind], finding.section, Path(taken.readings.source))
    except MidspanError as error:
        LOG.warning("%s readings are refused: %s", taken.kind, error)
        error.ending(f" (no record was made; the readings are in {taken.readings.source})")
        raise
    here = session.circumstances(taken.gauge)
    if session.temperature_c is None and here.thermometer == BOARD and not session.is_simulated:
        session.talk.say(
            f"The board's chip shows {here.temperature_c:.1f} °C, which counts as the room's; a chip is some degrees "
            "warmer: give the room's with --temperature."
        )
    record = record_of(finding, taken.readings.as_dict(), taken.settings, here)
    LOG.info("%s readings are accepted as record %s", taken.kind, record.id)
    return FinishedProcedure(finding, record, save_record(record, session.records))


def settings_of(**parts: Any) -> dict[str, Any]:
    """Return settings of a procedure as plain values for the record.

    Parameters
    ----------
    **parts : Any
        Settings by name; dataclasses become dictionaries.

    Returns
    -------
    dict[str, Any]
        Plain values by name.

    Examples
    --------
    >>> settings_of(clearance_mm=6.5)
    {'clearance_mm': 6.5}
    """
    return {name: asdict(value) if hasattr(value, "__dataclass_fields__") else value for name, value in parts.items()}
