"""Progress of a run: a line that is updated on a terminal, plain lines elsewhere."""

import os
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Self

from rich.progress import BarColumn, Progress, TextColumn

from midspan.base.formatting import printable
from midspan.measurement.result import ShaftResult
from midspan.measurement.shown_quantities import spine_text
from midspan.report.night_statistics import rate_text
from midspan.report.result_text import console
from midspan.sorting.actions import Action, NoteInBin, NoteTakenOut, NoteUncertain
from midspan.sorting.recorder import NightRecorder

FINISHING = "finishing the shaft in hand; Ctrl-C again stops at once"


class SortScreen:
    """Progress of a run on standard error; `ask` and `show` serve night.Watcher, `finishing` a signal."""

    def __init__(self, recorder: NightRecorder, clock: Callable[[], float] = time.monotonic) -> None:
        self._recorder, self._clock = recorder, clock
        self._begun_s, self._begun_with = clock(), recorder.tally.shafts
        self._console = console(stderr=True)
        columns = (TextColumn("{task.description}"), BarColumn(bar_width=20), TextColumn("{task.fields[rest]}"))
        self._progress = Progress(*columns, console=self._console, transient=True)
        self._loaded = recorder.setup.plan.sort.loaded
        self._task = self._progress.add_task("", total=self._loaded, rest="")
        self.asking = False
        self._finishing = False

    def __enter__(self) -> Self:
        """Show the line and return the screen."""
        if self._console.is_terminal:
            self._progress.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Take the line away."""
        if self._console.is_terminal:
            with suppress(OSError):
                self._progress.stop()

    def finishing(self) -> None:
        """Show that Ctrl-C was received; safe in a signal handler, which must not touch what it may interrupt."""
        self._finishing = True
        self._progress.update(self._task, description=FINISHING)
        if not self._console.is_terminal:
            with suppress(OSError):
                os.write(sys.stderr.fileno(), f"{FINISHING}\n".encode())

    def show(self, action: Action) -> None:
        """Show a finished action; a terminal or pipe that is gone does not end the run."""
        if isinstance(action, NoteInBin | NoteUncertain | NoteTakenOut):
            with suppress(OSError):
                self._tell(self._words(action))
        self._progress.update(
            self._task, description=self._counts(), completed=self._recorder.tally.shafts, rest=self._rate()
        )

    def ask(self, words: str) -> bool:
        """Ask a person at the keyboard; return False if nobody is there or the person wants to end."""
        self.__exit__(None, None, None)
        self.asking = True
        try:
            return input(f"{printable(words.rstrip('.'))}. Enter when done, or type stop: ").strip().lower() != "stop"
        except (EOFError, OSError, KeyboardInterrupt):
            return False
        finally:
            self.asking = False
            self.__enter__()

    def _tell(self, words: str) -> None:
        """Print a line above the progress."""
        if self._console.is_terminal:
            self._progress.console.print(words)
        else:
            print(words, file=sys.stderr, flush=True)

    def _words(self, action: NoteInBin | NoteUncertain | NoteTakenOut) -> str:
        """Return an action in words."""
        match action:
            case NoteInBin(shaft, place, passed):
                more = f", and {passed - 1} more that came with it" if passed > 1 else ""
                return f"{self._measured_words(shaft)}, into {self._place_called(place)}{more}"
            case NoteUncertain(shaft, where, words):
                return f"shaft {shaft}: bin not certain, perhaps {self._place_called(where)}: {words}"
            case NoteTakenOut(shaft, words):
                return f"shaft {shaft}: {words}"

    def _measured_words(self, shaft: int) -> str:
        """Return spine and verdict of a shaft in words."""
        latest = self._recorder.latest
        result = latest.result if latest is not None and latest.result.shaft == shaft else None
        what = "not measured"
        if isinstance(result, ShaftResult):
            what = str(spine_text(result))
        name = printable(f"shaft {shaft} {'' if result is None else result.label}").strip()
        return f"{name}: {what}"

    def _place_called(self, place: int | None) -> str:
        """Return the name of a place."""
        return "" if place is None else self._recorder.setup.plan.place_called(place)

    def _counts(self) -> str:
        """Return how many shafts are in each place."""
        if self._finishing:
            return FINISHING
        plan, places = self._recorder.setup.plan, self._recorder.tally.places
        return ", ".join(
            f"{place.bin or place.use} {places[place.number]}" for place in plan.place if places[place.number]
        )

    def _rate(self) -> str:
        """Return pace and time left."""
        tally = self._recorder.tally
        left = None if self._loaded is None else max(0, self._loaded - tally.shafts)
        return rate_text(tally.shafts - self._begun_with, self._clock() - self._begun_s, left)
