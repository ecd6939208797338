"""Follow a store that another program writes: read what is new since the last look; write nothing but stop requests."""

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
MOST_NIGHTS = 3  # kept in memory: the newest, and those that people look at beside it


@dataclass(frozen=True)
class Clock:
    """Time of the day.

    Parameters
    ----------
    now_ms : Callable[[], int]
        Returns the time, ms since 1970.
    given : tzinfo | None
        Time zone to show; None for the computer's own.
    """

    now_ms: Callable[[], int]
    given: tzinfo | None = None

    @property
    def zone(self) -> tzinfo:
        """Time zone as it is now: a page may be served from winter to summer."""
        return self.given or datetime.fromtimestamp(self.now_ms() / 1000).astimezone().tzinfo or UTC

    def day(self, at_ms: int) -> str:
        """Return a time as day, hour and minute.

        Parameters
        ----------
        at_ms : int
            Time, ms since 1970.

        Returns
        -------
        str
            Like 2026-11-24 20:04.
        """
        return datetime.fromtimestamp(at_ms / 1000, self.given).strftime("%Y-%m-%d %H:%M")


class Follower:
    """A store that is being followed.

    `moment` rises whenever there is something new; all methods read what is there. They raise StoreError as those of a
    store do.

    Parameters
    ----------
    place : StorePlace
        Where the store is.
    """

    def __init__(self, place: StorePlace) -> None:
        self.place, self.moment = place, 0
        self.store = place.open_to_read(WAIT_S)
        self._mark: object = None
        self._nights: dict[int, tuple[object, NightRecord]] = {}
        self._calibrations: dict[str, Calibration] = {}

    def look(self) -> None:
        """Look for something new; cheap enough to be done many times a second."""
        mark = follow.newest_rows(self.store)
        if mark != self._mark:
            self._mark, self.moment = mark, self.moment + 1

    def nights(self) -> list[NightOnRecord]:
        """Return all nights, oldest first.

        Returns
        -------
        list[NightOnRecord]
            Empty if there are none.
        """
        return Journal(self.store).nights()

    def night(self, number: int | None) -> NightRecord:
        """Return a night as it is now.

        Parameters
        ----------
        number : int | None
            Number of the night; None for the newest.

        Returns
        -------
        NightRecord
            All that the store knows of it.
        """
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
        """Return what was read so far of the shaft that turns on a gauge.

        Parameters
        ----------
        gauge : str
            Name of the gauge.

        Returns
        -------
        Turned | None
            Readings by phase; None if there are none.
        """
        return turned_so_far(self.place.live_readings(gauge))

    def turning_mark(self, gauge: str) -> int:
        """Return a number that changes whenever there are more readings of the shaft that turns.

        Parameters
        ----------
        gauge : str
            Name of the gauge.

        Returns
        -------
        int
            0 if there are no readings.
        """
        path = self.place.live_readings(gauge)
        return path.stat().st_mtime_ns if path.is_file() else 0

    def calibration_of(self, gauge: str, name: str | None) -> Calibration | None:
        """Return a calibration by its name, or the newest of a gauge.

        Parameters
        ----------
        gauge : str
            Name of the gauge.
        name : str | None
            Name that results give the calibration; None for the newest of the gauge.

        Returns
        -------
        Calibration | None
            None if there is no such calibration.
        """
        key = gauge if name is None else name
        if key not in self._calibrations:
            kept = self.store.calibrations()
            # Descriptions of hand benches are kept beside the calibrations; they have no gauge.
            fits = [calibration for calibration in kept.values() if calibration.gauge == gauge]
            found = kept.get(name) if name is not None else next(reversed(fits), None)
            if found is None:
                return None
            self._calibrations[key] = found.calibration(self.place.file)
        return self._calibrations[key]

    def count(self, night: int) -> int:
        """Return the number of shafts of the stock that went through the gauge in a night.

        Parameters
        ----------
        night : int
            Number of the night.

        Returns
        -------
        int
            Both shafts count where two fell at once.
        """
        return follow.gone_through(self.store, night)

    def asked_ms(self, night: int) -> int | None:
        """Return when a person asked for the end of a night.

        Parameters
        ----------
        night : int
            Number of the night.

        Returns
        -------
        int | None
            Time, ms since 1970; None if nobody has asked.
        """
        return follow.stop_requested_ms(self.store, night)

    def ask_for_an_end(self, night: int, at_ms: int) -> None:
        """Ask the program that sorts to end after the shaft in hand: the only thing that is ever written here.

        Parameters
        ----------
        night : int
            Number of the night.
        at_ms : int
            Time of the request, ms since 1970.
        """
        with self.place.open(create=False, wait_s=WAIT_S) as store:
            follow.request_stop(store, night, at_ms)

    def close(self) -> None:
        """Close the store."""
        self.store.close()
