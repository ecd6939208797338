"""One host: sorts by the plan in a folder until it ends or dies, as `midspan sort` does; run by the fork server.

It can be told to die by its own hand at a chosen instant: before or after the n-th time that something becomes durable
or is said to the gauge. It dies by SIGKILL, which no code hears.
"""

from __future__ import annotations

import encodings.utf_8_sig  # noqa: F401 - a host without rights could not import it
import errno
import json
import os
import resource
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from midspan.archive import writer as archive_writer
from midspan.base.clock import Clocks
from midspan.base.errors import MidspanError
from midspan.link import gauge, serial_port
from midspan.link.reconnect import Reconnector
from midspan.sorting.assess import Assessment  # noqa: F401 - imported by now, so that no forked host pays for it
from midspan.sorting.loop import Ending, SortingLoop, Watcher
from midspan.sorting.notices import Notices
from midspan.sorting.recorder import NightRecorder
from midspan.sorting.setup import load_setup
from midspan.store.database import Store
from midspan.store.journal import Journal
from midspan.store.transit import TransitStage, WayStep

JUMP_S = 3600.0
PERSON_S = 0.2
HASTE = 5.0  # the host's clocks run so much faster than the real one, so that nothing waits long for what was lost


def run(order: dict[str, Any]) -> None:
    """Sort in the folder of the order; how it ended is written to the file `ending`.

    `die` is [what, n-th time, whether after it], `file_bytes` how large a file may be, `archive_room` by how much
    the archive may grow, `user` whose rights it has, `person` says that someone answers, `wait_s` how long a locked
    database is waited for, `clock_s` how far its clock is off, `anew` that a new night begins.
    """
    folder = Path(order["folder"])
    if order.get("user") is not None:
        os.setresuid(order["user"], order["user"], order["user"])
    _die_as_told(order.get("die"))
    _fill_the_disk(order.get("file_bytes"), order.get("archive_room"))
    try:
        ending = sort(folder, order)
        ended = [ending.is_over, ending.words]
    except MidspanError as error:
        ended = [False, str(error)]
    Path(order["ending"]).write_text(json.dumps(ended))


def sort(folder: Path, order: dict[str, Any]) -> Ending:
    """One night, or the rest of it."""
    setup = load_setup(folder / "plan.toml")
    clocks, name = hasty(HASTE, order.get("clock_s", 0.0)), setup.plan.gauge.name
    reconnector = Reconnector(name, setup.plan.gauge.port, lambda port: others(folder, port), clocks.count_s)
    ask = _looked_after if order.get("person") else None
    with (
        setup.store.open(wait_s=order.get("wait_s", 5.0)) as store,
        Notices(setup.plan.notices, folder, "the campaign") as notices,
    ):
        journal = Journal(store)
        if order.get("anew") or not journal.nights(name):
            journal.begin_night(name, setup.as_json(), clocks.now_ms())
        recorder = NightRecorder(setup, store, journal.nights(name)[-1], clocks.now_ms)
        return SortingLoop(recorder, reconnector, Watcher(notices, ask), clocks).run()


def _looked_after(_: str) -> bool:
    """A person who comes at once; in the meantime the simulated one has come too."""
    time.sleep(PERSON_S)
    return True


def hasty(haste: float, clock_s: float) -> Clocks:
    """Clocks that run faster than the real one; that of the day is so far off, and an hour more with each SIGUSR1."""
    off_s = [clock_s]

    def jump(_: int, __: object) -> None:
        off_s[0] += JUMP_S

    signal.signal(signal.SIGUSR1, jump)
    return Clocks(
        now_ms=lambda: round(1000 * (time.time() + off_s[0])),
        count_s=lambda: haste * time.monotonic(),
        sleep=lambda seconds: time.sleep(seconds / haste),
    )


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
        serial_port.SerialLink.write = _watched(serial_port.SerialLink.write, die, after, _says_something)  # type: ignore[method-assign]
    elif what == "release":
        gauge.Gauge.release = _watched(gauge.Gauge.release, die, after)  # type: ignore[method-assign]
    elif what == "commit":
        Store.transaction = _watched_transaction(Store.transaction, die, after)  # type: ignore[method-assign]
    elif what == "in the gauge":  # a stage so short that only a death of its own is sure to fall into it
        Journal.note = _watched(Journal.note, die, after, _is_in_gauge)  # type: ignore[method-assign]
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


def _always(*_: Any) -> bool:
    return True


def _says_something(_: serial_port.SerialLink, data: bytes) -> bool:
    return data != b""


def _is_in_gauge(_: Journal, __: int, step: WayStep) -> bool:
    return step.stage is TransitStage.IN_GAUGE


def _watched(
    done: Callable[..., Any], fuse: _Fuse, after: bool, counts: Callable[..., bool] = _always
) -> Callable[..., Any]:
    def watched(*arguments: Any) -> Any:
        counted = counts(*arguments)
        if counted and not after:
            fuse.burn()
        answer = done(*arguments)
        if counted and after:
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


def _fill_the_disk(file_bytes: int | None, archive_room: int | None) -> None:
    """No file can grow beyond this: the operating system itself refuses, as it does on a full disk."""
    if file_bytes is not None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (file_bytes, resource.RLIM_INFINITY))
    if archive_room is not None:
        archive_writer.ArchiveWriter._write = _short(archive_room)  # type: ignore[method-assign]


def _short(room_bytes: int) -> Callable[..., None]:
    """Write what fits, then report a full disk as write(2) does."""

    def write(writer: archive_writer.ArchiveWriter, data: bytes) -> None:
        writer._file.write(data[:room_bytes])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    return write
