"""What each view of the page shows, as HTML: made once for all who look, and anew when there is something new."""

from __future__ import annotations

from typing import Any

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
    """The views of one store."""

    def __init__(self, follower: Follower, now: Clock) -> None:
        self.follower, self.now = follower, now
        self._made: dict[str, tuple[object, str]] = {}
        self._turned: tuple[int, Turned | None] = (0, None)

    # The live view

    def night(self, number: int | None) -> NightRecord:
        """A night as it stands now, the newest when there is no number."""
        self.follower.look()
        return self.follower.night(number)

    def live(self, record: NightRecord) -> tuple[str, str]:
        """What the gauge is doing, and everything else of a night; either is made anew only when it has changed."""
        number, minute = record.night.id, self.now.now_ms() // MINUTE_MS
        reading = self.follower.turning_mark(record.night.gauge)
        moment = self.follower.moment
        doing_now = self._once(f"now {number}", (moment, reading, minute), lambda: self._doing(record))
        return doing_now, self._once(f"night {number}", moment, lambda: self._night(record))

    def _once(self, name: str, mark: object, make: Any) -> str:
        known, html = self._made.pop(name, (None, ""))
        if known != mark:
            html = make()
        self._made[name] = mark, html
        while len(self._made) > 6:
            del self._made[next(iter(self._made))]
        return html

    def _night(self, record: NightRecord) -> str:
        return filled("night.html", number=record.night.id, **night_values(record, self.now))

    def _doing(self, record: NightRecord) -> str:
        follower, gauge = self.follower, record.night.gauge
        turned = self._newest_turned(record)
        what, quiet = doing(record, turned, self.now)
        asked = self._asked_ms(record)
        calibration = follower.calibration_of(gauge, next(iter(reversed(record.calibrations)), None))
        drawn = "" if turned is None or calibration is None else curve(turned, calibration)
        return filled(
            "now.html",
            title=f"Night {record.night.id} on gauge {gauge}",
            doing=what,
            quiet=quiet,
            asked="" if asked is None else clock(asked, self.now.zone),
            curve=drawn,
            curve_title="Around the shaft" if turned is None else f"Around shaft {turned.shaft}",
        )

    def _asked_ms(self, record: NightRecord) -> int | None:
        """When somebody asked for the end of a night that goes on: what was asked before it went on is done with."""
        asked = self.follower.asked_ms(record.night.id) if is_running(record) else None
        starts = [one.at_ms for one in record.events if one.kind is RunEventKind.RESUMED]
        return None if asked is None or any(at_ms > asked for at_ms in starts) else asked

    def _newest_turned(self, record: NightRecord) -> Turned | None:
        """What the gauge left of the shaft in hand, or the newest shaft of the night from the archive."""
        known = {one.shaft for one in record.transits}
        turned = self.follower.turning(record.night.gauge)
        if turned is not None and turned.shaft in known:
            return turned
        judged = next((one.shaft for one in reversed(record.transits) if one.result is not None), None)
        if judged is None:
            return None
        if self._turned[0] != judged:
            newest = self.follower.store.latest(judged)
            run = None if newest is None else readings(newest, self.follower.place)[0]
            self._turned = judged, None if run is None else turned_in(run)
        return self._turned[1]

    # Views that stand still

    def nights(self) -> str:
        """All nights, the newest first."""
        rows = []
        for night in reversed(self.follower.nights()):
            end = end_among(Journal(self.follower.store).events(night.id))
            words = "it has not come to its end" if end is None else f"{end.kind.value}: {because(end.words)}"
            rows.append((night.id, self.now.day(night.begun_ms), night.gauge, self.follower.count(night.id), words))
        return filled("nights.html", nights=rows)

    def shafts(self, number: int, first: int) -> str:
        """A part of all shafts of a night."""
        record = self.night(number)
        total = len(record.transits)
        first = min(max(0, first), max(0, total - 1))
        some = record.transits[first : first + PAGE]
        return filled(
            "list.html",
            number=record.night.id,
            rows=shaft_rows(record, some, self.now),
            first=first + 1,
            last=first + len(some),
            total=total,
            earlier=max(0, first - PAGE) if first else None,
            later=first + PAGE if first + PAGE < total else None,
        )

    def shaft(self, shaft: int) -> str:
        """One shaft's whole story."""
        return filled("shaft.html", **shaft_values(self.follower, shaft, self.now))

    def which(self, which: str) -> tuple[int | None, str]:
        """The one shaft that is meant, or the list of those that may be."""
        numbers = numbers_of(self.follower, which)
        return (numbers[0] if len(numbers) == 1 else None), filled("which.html", which=which, numbers=numbers)

    def csv(self, shaft: int) -> str | None:
        """The raw readings of the result of a shaft that counts, None when there are none."""
        newest = self.follower.store.latest(shaft)
        run = None if newest is None else readings(newest, self.follower.place)[0]
        return None if run is None else readings_csv(run)

    def sets(self) -> str:
        """All matched sets."""
        return filled("sets.html", **sets_values(self.follower, self.now))

    def set(self, number: int) -> str:
        """One matched set."""
        values = set_values(self.follower, number, self.now)
        return "<h1>There is no such set</h1>" if values is None else filled("set.html", **values)
