"""A night of sorting in this process and in virtual time: the real device code, the real loop, and no waiting.

The clock of the night is the simulated board's. It stands still while the host works, so what that takes is passed on
as a whole for each shaft.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from campaign import night_files
from in_memory import InMemory
from midspan.archive.reader import Archive
from midspan.base.clock import Clocks
from midspan.link.gauge import Gauge
from midspan.link.session_events import StateChanged
from midspan.measurement.cycle_settings import CycleSettings
from midspan.sorting.loop import SortingLoop, Watcher
from midspan.sorting.recorder import NightRecorder
from midspan.sorting.setup import load_setup
from midspan.store.journal import Journal
from midspan.wire.records import State
from night_rig import Recorder

BEGUN_S = 1.8e9


@dataclass(frozen=True)
class Night:
    """A night that is over: its shafts, check standards not counted, its seconds, those in each state, its runs."""

    shafts: int
    seconds: float
    in_state: dict[str, float]
    runs: list

    def shafts_an_hour(self, host_s: float) -> float:
        """Return the shafts an hour if the host needs some time for each."""
        return 3600 * self.shafts / (self.seconds + self.shafts * host_s)


class _Opener:
    """Opens the gauge in memory, as a port is opened."""

    def __init__(self, line: InMemory) -> None:
        self._line = line

    @contextmanager
    def opened(self) -> Iterator[Gauge]:
        yield Gauge(self._line, clock=lambda: now_s(self._line), wall_clock=lambda: BEGUN_S + now_s(self._line))


def now_s(line: InMemory) -> float:
    """Return the seconds of the board's clock."""
    return line.board.now_us / 1e6


def sorted_night(folder: Path, shafts: int, cycle: CycleSettings, seed: int = 1) -> Night:
    """Sort a hopper of shafts from 400 to 600 thou, with check standards, by a cycle; return the night."""
    night_files.write(folder, night_files.stock(shafts, seed), "in memory", cycle=cycle)
    line = InMemory(json.loads((folder / "scenario.json").read_text()))
    setup = load_setup(folder / "plan.toml")
    clocks = Clocks(lambda: round(1000 * (BEGUN_S + now_s(line))), lambda: now_s(line), lambda _: None)
    in_state: dict[str, float] = {}
    since = [0.0]

    def hear(event: object) -> None:
        if not isinstance(event, StateChanged):
            return
        name = State(event.event.previous).name
        in_state[name] = in_state.get(name, 0.0) + now_s(line) - since[0]
        since[0] = now_s(line)

    with setup.store.open() as store:
        journal = Journal(store)
        journal.begin_night(setup.plan.gauge.name, setup.as_json(), clocks.now_ms())
        recorder = NightRecorder(setup, store, journal.nights(setup.plan.gauge.name)[-1], clocks.now_ms)
        since[0] = begun = now_s(line)
        ending = SortingLoop(recorder, _Opener(line), Watcher(Recorder(), hear=hear), clocks).run()
        assert ending.is_over, ending.words
    return Night(shafts, now_s(line) - begun, in_state, list(Archive.open(setup.archive).runs()))
