"""What outlives the simulated device: the world's file, and the record of the last release.

A happening is one line, written at once; a record is written whole beside the old one and then takes its name. So the
end of the process at any instant leaves both sound.
"""

import json
import os


class Files:
    """The two files; one whose path is None lasts only as long as this object."""

    def __init__(self, world, record) -> None:
        self._world = world
        self._record = record
        self._last: "tuple | None" = None

    def happenings(self):
        """Time in milliseconds, shaft and what happened, of every line so far."""
        try:
            with open(self._world or "") as file:
                for line in file:
                    time_ms, shaft, what = line.strip().split(" ", 2)
                    yield int(time_ms), shaft, what
        except OSError:  # there is no file yet
            pass

    def tell(self, time_ms: int, shaft, what: str) -> None:
        """Write a line."""
        if self._world is not None:
            with open(self._world, "a") as file:
                file.write("{} {} {}\n".format(time_ms, shaft, what))

    def release_read(self):
        """The record of the last release, or None."""
        try:
            with open(self._record or "") as file:
                return tuple(json.load(file))
        except OSError:
            return self._last

    def release_write(self, *record) -> None:
        """Keep the record of a release."""
        self._last = record
        if self._record is not None:
            with open(self._record + ".new", "w") as file:
                json.dump(record, file)
            os.rename(self._record + ".new", self._record)
