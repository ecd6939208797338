"""One bench: a simulated gauge at the end of a cable, the files of a night, and hosts one after another."""

from __future__ import annotations

import json
import os
import signal
import subprocess
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from midspan.rehearsal.process import interpreter_command
from midspan.wire.schema import data_folder

from campaign import night_files
from campaign.cable import Cable, Pass, untouched
from campaign.fork_server import KILLED, ForkServer
from campaign.night_files import Stock


class Device:
    """The device code in a process that is killed and started again; world and record stay."""

    def __init__(self, folder: Path, cable: Cable, shafts: int) -> None:
        run = data_folder("device") / "rehearsal" / "run.py"
        self._command = [*interpreter_command(shafts), str(run), str(folder / "scenario.json")]
        self._cable, self._log = cable, folder / "device-errors.txt"
        self.start()

    def start(self) -> None:
        """Switch it on."""
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, bufsize=0
            )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._cable.join(self._process.stdin.fileno(), self._process.stdout.fileno())

    def kill(self) -> None:
        """Take its supply away."""
        self._cable.join(-1, -1)
        self._process.kill()
        self.leave()

    def leave(self) -> None:
        """Close its line: it ends, and the world's file tells where its head then stood."""
        self._cable.join(-1, -1)
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()

    @property
    def pid(self) -> int:
        """Its process."""
        return self._process.pid

    def die(self) -> None:
        """The supply goes; `kill` clears up after it."""
        self._process.kill()

    @property
    def died(self) -> bool:
        """True if it ended by itself, which it never should."""
        return self._process.poll() is not None


class Bench:
    """A night's folder with all that belongs to it; leaving the block ends the device.

    `over` is what the last host that ended by itself said: whether the night is over, and why.
    """

    def __init__(
        self,
        folder: Path,
        server: ForkServer,
        stock: Stock,
        to_host: Pass = untouched,
        to_device: Pass = untouched,
        *,
        name: str = "rehearsal",
        store: str = "results.db",
        **plan: Any,
    ) -> None:
        self.folder, self.stock, self.name, self.store = folder, stock, name, (folder / store).resolve()
        self.over: tuple[bool, str] = (False, "")
        self._ending = folder.with_name(f"{folder.name}-ending.json")
        self._server, self._ports = server, 0
        night_files.write(folder, stock, str(folder / "port-0"), name=name, store=store, **plan)
        self.cable = Cable(to_host, to_device)
        self.cable.plug_in(folder / "port-0")
        self.device = Device(folder, self.cable, len(stock.shafts) + 1)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, _: BaseException | None, __: TracebackType | None) -> None:
        if kind is not None:
            self.kill_host()
        self.device.kill()
        self.cable.close()

    def start_host(self, **order: Any) -> None:
        """Let a host sort; see host.run for what can be ordered."""
        self._ending.write_text("")
        self._ending.chmod(0o666)  # a host may have to do without any rights in its folder
        self.pid = self._server.start({"folder": str(self.folder), "ending": str(self._ending), **order})

    def ended(self, within_s: float | None = None) -> int | None:
        """Wait for the host's end: None when it goes on, KILLED, or 0 when it ended by itself."""
        status = self._server.ended(within_s)
        assert status in (None, 0, KILLED), f"a host ended with status {status}; see {self.folder.parent}"
        if status == 0:
            is_over, words = json.loads(self._ending.read_text())
            self.over = is_over, words
        return status

    def kill_host(self) -> None:
        """SIGKILL."""
        with suppress(ProcessLookupError):  # it may just have ended
            os.kill(self.pid, signal.SIGKILL)

    def plug_again(self, further: int) -> None:
        """Plug the cable in again, under the name that was or one further on."""
        self._ports += further
        self.cable.plug_in(self.folder / f"port-{self._ports}")
