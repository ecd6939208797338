"""One host: sorts by the plan in a folder until it ends or dies, as `midspan sort` does; run by the fork server.

It can be told to die by its own hand at a chosen instant: before or after the n-th time that something becomes durable
or is said to the gauge. It dies by SIGKILL, which no code hears.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from midspan import archive_writer, link, plan
from midspan.appraisal import Appraisal  # noqa: F401 - imported by now, so that no forked host pays for it
from midspan.journal import Journal
from midspan.keeper import Keeper
from midspan.lookout import Clocks
from midspan.night import Night, Watcher
from midspan.night_setup import load_setup
from midspan.notices import Notices
from midspan.reach import Reach
from midspan.store import Store

# The shortest cycle that still gives a value, so that a shaft is measured in a moment.
SHORT = {"READINGS_PER_TURN": 44, "ZERO_READINGS": 12, "SEAT_TURNS": 0.1, "PRESS_MM_S": 30.0, "APPROACH_MM_S": 12.0}
HASTE = 5.0  # the host's clocks run so much faster than the real one, so that nothing waits long for what was lost


def run(order: dict[str, Any]) -> None:
    """Sort in the folder of the order; how it ended is written to ending.json there."""
    folder = Path(order["folder"])
    _die_as_told(order.get("die"))
    _fill_the_disk(order.get("file_bytes"))
    for name, value in SHORT.items():
        setattr(plan, name, value)
    setup = load_setup(folder / "plan.toml", attended=order.get("attended", False))
    clocks = hasty(order.get("haste", HASTE))
    reach = Reach(setup.plan.gauge.name, setup.plan.gauge.port, lambda port: others(folder, port), clocks.count_s)
    with Store.open(setup.store) as store, Notices(setup.plan.notices, folder, "the campaign") as notices:
        journal = Journal(store)
        if not journal.nights(setup.plan.gauge.name):
            journal.begin_night(setup.plan.gauge.name, setup.as_json(), clocks.now_ms())
        keeper = Keeper(setup, store, journal.nights(setup.plan.gauge.name)[-1], clocks.now_ms)
        ask = (lambda words: True) if order.get("person") else None
        ending = Night(keeper, reach, Watcher(notices, ask), clocks).run()
    (folder / "ending.json").write_text(json.dumps([ending.is_over, ending.words]))


def hasty(haste: float) -> Clocks:
    """Clocks that run faster than the real one."""
    return Clocks(count_s=lambda: haste * time.monotonic(), sleep=lambda seconds: time.sleep(seconds / haste))


def others(folder: Path, port: str) -> Iterator[str]:
    """Ports that the gauge may have gone to."""
    return (str(other) for other in sorted(folder.glob("port-*")) if str(other) != port)


# Dying


def _die_as_told(told: list[Any] | None) -> None:
    if told is None:
        return
    what, left, after = told
    die = _Fuse(left)
    if what == "fsync":
        os.fsync = _watched(os.fsync, die, after)
    elif what == "write":
        link.SerialLink.write = _watched(link.SerialLink.write, die, after)  # type: ignore[method-assign]
    elif what == "commit":
        Store.transaction = _watched_transaction(Store.transaction, die, after)  # type: ignore[method-assign]
    elif what == "torn":
        archive_writer.ArchiveWriter._write = _torn(archive_writer.ArchiveWriter._write, die)  # type: ignore[method-assign]
    else:
        raise ValueError(f"no way to die: {what}")


class _Fuse:
    """Ends the process when it is lit for the n-th time."""

    def __init__(self, left: int) -> None:
        self.left = left

    def light(self) -> bool:
        self.left -= 1
        return self.left == 0

    def burn(self) -> None:
        if self.light():
            os.kill(os.getpid(), signal.SIGKILL)


def _watched(done: Callable[..., Any], fuse: _Fuse, after: bool) -> Callable[..., Any]:
    def watched(*arguments: Any) -> Any:
        counts = not (len(arguments) == 2 and arguments[1] == b"")  # nothing was said
        if counts and not after:
            fuse.burn()
        answer = done(*arguments)
        if counts and after:
            fuse.burn()
        return answer

    return watched


def _watched_transaction(transaction: Callable[..., Any], fuse: _Fuse, after: bool) -> Callable[..., Any]:
    @contextmanager
    def watched(store: Store) -> Iterator[Any]:
        with transaction(store) as session:
            yield session
            if not after:
                fuse.burn()
        if after:
            fuse.burn()

    return watched


def _torn(write: Callable[..., Any], fuse: _Fuse) -> Callable[..., Any]:
    """Half of a block reaches the disk."""

    def torn(writer: archive_writer.ArchiveWriter, data: bytes) -> None:
        if fuse.light():
            writer._file.write(data[: len(data) // 2])
            os.kill(os.getpid(), signal.SIGKILL)
        write(writer, data)

    return torn


def _fill_the_disk(file_bytes: int | None) -> None:
    """No file can grow beyond this: the operating system itself refuses, as it does on a full disk."""
    if file_bytes is not None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (file_bytes, file_bytes))
