"""Follows a store that another program writes: what is new since it was looked at last, read and never written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from midspan.measurement.calibration import Calibration
from midspan.report.night_data import NightRecord, read_night, read_on
from midspan.store import follow
from midspan.store.journal import Journal
from midspan.store.place import StorePlace
from midspan.store.transit import NightOnRecord
from midspan.web.svg_live_curve import Turned, turned_so_far

WAIT_S = 1.0
MOST_NIGHTS = 3  # kept in memory: tonight's, and what somebody looks at beside it


@dataclass(frozen=True)
class Clock:
    """Time of the day in milliseconds since 1970; `given` is the zone to say it in, None for the computer's own."""

    now_ms: Callable[[], int]
    given: tzinfo | None = None

    @property
    def zone(self) -> tzinfo:
        """The zone as it is now: a page may be served from winter to summer."""
        return self.given or datetime.fromtimestamp(self.now_ms() / 1000).astimezone().tzinfo or UTC

    def day(self, at_ms: int) -> str:
        """The day of a time, and its hour and minute."""
        return datetime.fromtimestamp(at_ms / 1000, self.given).strftime("%Y-%m-%d %H:%M")


class Follower:
    """One store being followed. `moment` rises whenever there is something new; everything else reads what there is.

    Methods raise StoreError as those of a store do.
    """

    def __init__(self, place: StorePlace) -> None:
        self.place, self.moment = place, 0
        self.store = place.open_to_read(WAIT_S)
        self._mark: object = None
        self._nights: dict[int, tuple[object, NightRecord]] = {}
        self._calibrations: dict[str, Calibration] = {}

    def look(self) -> None:
        """See whether something is new; cheap enough to be done many times a second."""
        mark = follow.newest_rows(self.store)
        if mark != self._mark:
            self._mark, self.moment = mark, self.moment + 1

    def nights(self) -> list[NightOnRecord]:
        """All nights, oldest first."""
        return Journal(self.store).nights()

    def night(self, number: int | None) -> NightRecord:
        """A night as it is now, the newest when there is no number."""
        if number is None:
            number = follow.newest_night(self.store)
        mark, known = self._nights.pop(number or 0, (None, None))
        if known is None:
            known = read_night(self.store, number)
        elif mark != self._mark:
            known = read_on(self.store, known)
        self._nights[known.night.id] = self._mark, known
        while len(self._nights) > MOST_NIGHTS:
            del self._nights[next(iter(self._nights))]
        return known

    def turning(self, gauge: str) -> Turned | None:
        """What was read so far of the shaft that turns on a gauge."""
        return turned_so_far(self.place.live_readings(gauge))

    def turning_mark(self, gauge: str) -> int:
        """Another number whenever there are more readings."""
        path = self.place.live_readings(gauge)
        return path.stat().st_mtime_ns if path.is_file() else 0

    def calibration_of(self, gauge: str, name: str | None) -> Calibration | None:
        """A calibration by the name that results give it, or one of this gauge; None when there is none."""
        key = gauge if name is None else name
        if key not in self._calibrations:
            kept = self.store.calibrations()
            # What a hand bench is lies beside the calibrations, and is of no gauge.
            fits = [one for one in kept.values() if one.gauge == gauge]
            found = kept.get(name) if name is not None else next(reversed(fits), None)
            if found is None:
                return None
            self._calibrations[key] = found.calibration(self.place.file)
        return self._calibrations[key]

    def count(self, night: int) -> int:
        """How many shafts of the stock went through the gauge in a night; where two fell at once, both."""
        return follow.gone_through(self.store, night)

    def asked_ms(self, night: int) -> int | None:
        """When somebody asked for a night's end."""
        return follow.stop_requested_ms(self.store, night)

    def ask_for_an_end(self, night: int, at_ms: int) -> None:
        """Ask the program that sorts to end after the shaft in hand: the only thing that is ever written here."""
        with self.place.open(create=False, wait_s=WAIT_S) as store:
            follow.request_stop(store, night, at_ms)

    def close(self) -> None:
        """Let go of the file."""
        self.store.close()
