"""Hosts by the hundred: a process that has imported everything forks one for each order, so that none pays for it.

    python tests/campaign/fork_server.py MODULE

Each line of standard input is the JSON that MODULE.run gets in a child of its own. Two lines come back for each: the
child's process id, then its status (as of waitpid) once it has ended, whatever ended it.
"""

from __future__ import annotations

import importlib
import json
import os
import select
import signal
import subprocess
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Self

HERE = Path(__file__).resolve()
KILLED = -signal.SIGKILL


class ForkServer:
    """The server seen from the one that orders; one child at a time."""

    def __init__(self, module: str, log: Path) -> None:
        self._module, self._log = module, log

    def __enter__(self) -> Self:
        with self._log.open("ab") as log:
            self._server = subprocess.Popen(
                [sys.executable, str(HERE), self._module], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                stderr=log, bufsize=0,
            )  # fmt: skip
        return self

    def start(self, order: dict[str, Any]) -> int:
        """Fork a child for this order; its process id."""
        assert self._server.stdin is not None
        self._server.stdin.write(json.dumps(order).encode() + b"\n")
        self._server.stdin.flush()
        return self._answer()

    def ended(self, within_s: float | None = None) -> int | None:
        """Wait for the child's end: its exit status, or minus the signal that ended it; None when it goes on."""
        assert self._server.stdout is not None
        ready, _, _ = select.select([self._server.stdout], [], [], within_s)
        return self._answer() if ready else None

    def _answer(self) -> int:
        assert self._server.stdout is not None
        line = self._server.stdout.readline()
        assert line, f"the fork server ended; see {self._log}"
        return int(line)

    def __exit__(self, kind: type[BaseException] | None, _: BaseException | None, __: TracebackType | None) -> None:
        assert self._server.stdin is not None
        self._server.stdin.close()
        if kind is not None:
            self._server.kill()
        self._server.wait()
        assert self._server.stdout is not None
        self._server.stdout.close()


def serve(run: Callable[[dict[str, Any]], None]) -> None:
    """Fork for every line of standard input until there is none."""
    for line in sys.stdin:
        child = os.fork()
        if not child:
            _be_the_child(run, json.loads(line))
        print(child, flush=True)
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)


def _be_the_child(run: Callable[[dict[str, Any]], None], order: dict[str, Any]) -> None:
    status = 1
    try:
        os.dup2(2, 1)  # the server's answers stand alone on standard output
        run(order)
        status = 0
    except BaseException:  # noqa: BLE001 - whatever it is, it must not run on into the server's own loop
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(status)


if __name__ == "__main__":
    for folder in (HERE.parents[1] / "rigs", HERE.parents[1], HERE.parents[2] / "host"):
        sys.path.insert(0, str(folder))
    serve(importlib.import_module(sys.argv[1]).run)
