"""HTML of each view of the page: made once for all browsers, and again when there is something new."""

from __future__ import annotations

from typing import Any

from midspan.measurement.shown_quantities import meaning, spine_unit
from midspan.report.night_data import NightRecord
from midspan.report.night_text import because, clock, end_among
from midspan.store.journal import Journal
from midspan.store.transit import RunEventKind
from midspan.web.follow import Clock, Follower
from midspan.web.svg_live_curve import Turned, curve, turned_in
from midspan.web.template import filled
from midspan.web.view_night import doing, is_running, night_values, shaft_rows
from midspan.web.view_sets import set_values, sets_values
from midspan.web.view_shaft import numbers_of, readings, readings_csv, shaft_values

PAGE = 200  # shafts of a night in one list
MINUTE_MS = 60_000


class Views:
    """The views of a store.

    Parameters
    ----------
    follower : Follower
        Store to show.
    now : Clock
        Time and zone.
    """

    def __init__(self, follower: Follower, now: Clock) -> None:
        self.follower, self.now = follower, now
        self._made: dict[str, tuple[object, str]] = {}
        self._turned: tuple[int, Turned | None] = (0, None)

    # The live view

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
        self.follower.look()
        return self.follower.night(number)

    def live(self, record: NightRecord) -> tuple[str, str]:
        """Return the two parts of the view of a night; each is made again only if it has changed.

        Parameters
        ----------
        record : NightRecord
            The night.

        Returns
        -------
        tuple[str, str]
            What the gauge is doing, and everything else, as HTML.
        """
        number, minute = record.night.id, self.now.now_ms() // MINUTE_MS
        reading = self.follower.turning_mark(record.night.gauge)
        moment = self.follower.moment
        doing_now = self._once(f"now {number}", (moment, reading, minute), lambda: self._doing(record))
        return doing_now, self._once(f"night {number}", moment, lambda: self._night(record))

    def _once(self, name: str, mark: object, make: Any) -> str:
        """Return HTML made before for this mark, or make it."""
        known, html = self._made.pop(name, (None, ""))
        if known != mark:
            html = make()
        self._made[name] = mark, html
        while len(self._made) > 6:
            del self._made[next(iter(self._made))]
        return html

    def _night(self, record: NightRecord) -> str:
        """Return the HTML of a night, except what the gauge is doing."""
        return filled("night.html", number=record.night.id, **night_values(record, self.now))

    def _doing(self, record: NightRecord) -> str:
        """Return the HTML of what the gauge is doing."""
        follower, gauge = self.follower, record.night.gauge
        turned = self._newest_turned(record)
        what, quiet = doing(record, turned, self.now)
        asked = self._asked_ms(record)
        calibration = follower.calibration_of(gauge, next(iter(reversed(record.calibrations)), None))
        drawn = "" if turned is None or calibration is None else curve(turned, calibration)
        return filled(
            "now.html",
            title=f"Run {record.night.id} on gauge {gauge}",
            doing=what,
            quiet=quiet,
            asked="" if asked is None else clock(asked, self.now.zone),
            curve=drawn,
            curve_title="Around the shaft" if turned is None else f"Around shaft {turned.shaft}",
        )

    def _asked_ms(self, record: NightRecord) -> int | None:
        """Return when a person asked for the end of a running night, or None.

        A request made before the night went on is over.
        """
        asked = self.follower.asked_ms(record.night.id) if is_running(record) else None
        starts = [event.at_ms for event in record.events if event.kind is RunEventKind.RESUMED]
        return None if asked is None or any(at_ms > asked for at_ms in starts) else asked

    def _newest_turned(self, record: NightRecord) -> Turned | None:
        """Return the readings of the shaft in hand, or of the newest judged shaft; None if there are none."""
        known = {transit.shaft for transit in record.transits}
        turned = self.follower.turning(record.night.gauge)
        if turned is not None and turned.shaft in known:
            return turned
        judged = next((transit.shaft for transit in reversed(record.transits) if transit.result is not None), None)
        if judged is None:
            return None
        if self._turned[0] != judged:
            newest = self.follower.store.latest(judged)
            run = None if newest is None else readings(newest, self.follower.place)[0]
            self._turned = judged, None if run is None else turned_in(run)
        return self._turned[1]

    # Views that stand still

    def nights(self) -> str:
        """Return the list of all nights, the newest first.

        Returns
        -------
        str
            HTML.
        """
        rows = []
        for night in reversed(self.follower.nights()):
            end = end_among(Journal(self.follower.store).events(night.id))
            words = "not finished" if end is None else f"{end.kind.value}: {because(end.words)}"
            rows.append((night.id, self.now.day(night.begun_ms), night.gauge, self.follower.count(night.id), words))
        return filled("nights.html", nights=rows)

    def shafts(self, number: int, first: int) -> str:
        """Return a part of the list of all shafts of a night.

        Parameters
        ----------
        number : int
            Number of the night.
        first : int
            Index of the first shaft to list, from 0.

        Returns
        -------
        str
            HTML; PAGE shafts at most.
        """
        record = self.night(number)
        total = len(record.transits)
        first = min(max(0, first), max(0, total - 1))
        some = record.transits[first : first + PAGE]
        return filled(
            "list.html",
            number=record.night.id,
            rows=shaft_rows(record, some, self.now),
            unit=spine_unit(),
            meaning=meaning(),
            first=first + 1,
            last=first + len(some),
            total=total,
            earlier=max(0, first - PAGE) if first else None,
            later=first + PAGE if first + PAGE < total else None,
        )

    def shaft(self, shaft: int) -> str:
        """Return the view of a shaft.

        Parameters
        ----------
        shaft : int
            Number of the shaft.

        Returns
        -------
        str
            HTML.
        """
        return filled("shaft.html", **shaft_values(self.follower, shaft, self.now))

    def which(self, which: str) -> tuple[int | None, str]:
        """Return the shaft that is meant, with the list of those that may be.

        Parameters
        ----------
        which : str
            A number, a label or the text of a label's code.

        Returns
        -------
        tuple[int | None, str]
            Number of the shaft, None if there is not exactly one; and the list as HTML.
        """
        numbers = numbers_of(self.follower, which)
        return (numbers[0] if len(numbers) == 1 else None), filled("which.html", which=which, numbers=numbers)

    def csv(self, shaft: int) -> str | None:
        """Return the raw readings of the newest result of a shaft as CSV.

        Parameters
        ----------
        shaft : int
            Number of the shaft.

        Returns
        -------
        str | None
            CSV; None if there are no readings.
        """
        newest = self.follower.store.latest(shaft)
        run = None if newest is None else readings(newest, self.follower.place)[0]
        return None if run is None else readings_csv(run)

    def sets(self) -> str:
        """Return the list of all matched sets.

        Returns
        -------
        str
            HTML.
        """
        return filled("sets.html", **sets_values(self.follower, self.now))

    def set(self, number: int) -> str:
        """Return the view of a matched set.

        Parameters
        ----------
        number : int
            Number of the set.

        Returns
        -------
        str
            HTML.
        """
        values = set_values(self.follower, number, self.now)
        return f"<h1>There is no set {number}</h1>" if values is None else filled("set.html", **values)
