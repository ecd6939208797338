"""Run the tests of a folder against mutants, each in a copy of the project: the working tree is never touched."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from difflib import unified_diff
from pathlib import Path
from queue import SimpleQueue
from tempfile import TemporaryDirectory

from mutant_sample import Mutant

# Made by programs, and no part of the project.
LEFT_OUT = shutil.ignore_patterns(".*", "__pycache__", "typings", "build", "dist", "demo-output", "*.egg-info")
SURVIVED = (0, 5)  # all tests passed, or no test calls the changed function
SERVER = Path(__file__).with_name("mutant_server.py")


@dataclass(frozen=True)
class Limits:
    """Time that the tests of one folder get for one mutant.

    Parameters
    ----------
    processor_s : int
        Time of the processor, s; 0 for no limit. Other work on the computer does not count against a mutant.
    wall_s : float
        Time that passes, s, for tests that wait for what never comes; 0 for no limit.
    """

    processor_s: int
    wall_s: float


@dataclass(frozen=True)
class Verdict:
    """What the tests said of one mutant.

    Parameters
    ----------
    mutant : Mutant
        The fault.
    is_killed : bool
        True if a test failed, or did not end in time.
    difference : tuple of str
        The changed lines before and after.
    """

    mutant: Mutant
    is_killed: bool
    difference: tuple[str, ...]


class FailingTests(Exception):
    """The tests of a folder do not pass without any fault."""


class Copy:
    """A copy of the project in a directory of its own, in which one mutant at a time is tried.

    Parameters
    ----------
    root : pathlib.Path
        The project.
    place : pathlib.Path
        An empty directory.
    """

    def __init__(self, root: Path, place: Path) -> None:
        self._tree = place / "tree"
        self._place = place
        shutil.copytree(root, self._tree, ignore=LEFT_OUT)
        environment = os.environ | {
            "PYTHONPATH": str(self._tree / "host"), "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1",
        }  # fmt: skip
        self._server = subprocess.Popen(
            [sys.executable, str(SERVER)], env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def close(self) -> None:
        """End the process that runs the tests."""
        with self._server:
            pass  # it ends with its input

    def rehearse(self, folder: str, notes: Path) -> Limits:
        """Run the tests of a folder without a fault.

        Parameters
        ----------
        folder : str
            The folder.
        notes : pathlib.Path
            Where to note which test calls what.

        Returns
        -------
        Limits
            Time that each mutant gets.

        Raises
        ------
        FailingTests
            A test fails.
        """
        ended = self._pytest(folder, {"MUTANT_NOTES": str(notes)}, Limits(0, 0.0))
        if ended["code"] != 0:
            output = (self._place / "output").read_text(encoding="utf-8", errors="replace")
            raise FailingTests(f"{folder}: {output[-2000:]}")
        return Limits(30 + int(4 * ended["processor_s"]), 120 + 4 * ended["wall_s"])

    def judge(self, mutant: Mutant, notes: Path, limits: Limits, by_callers: bool) -> Verdict:
        """Return what the tests of its folder say of a mutant."""
        path = self._tree / "host" / "midspan" / mutant.module
        source = path.read_text(encoding="utf-8")
        times = path.stat()
        changed = mutant.code(source)
        path.write_text(changed, encoding="utf-8")
        # The interpreter knows stale bytecode by size and second of the file: a fault may keep both.
        os.utime(path, (times.st_atime, times.st_mtime + 10))
        try:
            place = {"MUTANT_NOTES": str(notes), "MUTANT_PLACE": f"{mutant.module}:{mutant.definition}"}
            if by_callers:
                place["MUTANT_CALLERS"] = "only"
            is_killed = self._pytest(mutant.folder, place, limits)["code"] not in SURVIVED
        finally:
            path.write_text(source, encoding="utf-8")
            os.utime(path, (times.st_atime, times.st_mtime))
        _, _, *lines = unified_diff(source.splitlines(), changed.splitlines(), n=0, lineterm="")
        return Verdict(mutant, is_killed, tuple(line for line in lines if line[1:].strip() and line[0] in "+-"))

    def _pytest(self, folder: str, environment: dict[str, str], limits: Limits) -> dict[str, float]:
        """Run the tests and doctests of a folder; return the exit code, not 0 when time is over, and the seconds."""
        order = {
            "directory": str(self._tree), "path": str(self._tree / "host"), "output": str(self._place / "output"),
            "environment": environment, "processor_s": limits.processor_s, "wall_s": limits.wall_s,
            "arguments": [
                "-x", "-q", "--tb=short", "-p", "no:cacheprovider", "-p", "mutant_order",
                "-W", "ignore:Module already imported",  # hypothesis, by the server
                f"--basetemp={self._place / 'basetemp'}", f"tests/{folder}", f"host/midspan/{folder}",
            ],
        }  # fmt: skip
        assert self._server.stdin is not None
        assert self._server.stdout is not None
        self._server.stdin.write(json.dumps(order) + "\n")
        self._server.stdin.flush()
        ended: dict[str, float] = json.loads(self._server.stdout.readline())
        return ended


@contextmanager
def _copies(root: Path, workers: int) -> Iterator[tuple[Path, "SimpleQueue[Copy]"]]:
    """Make a copy of the project for each worker; yield the directory they lie in and the copies that are free."""
    with TemporaryDirectory(prefix="mutants-") as directory, ExitStack() as stack:
        Path(directory).chmod(0o755)  # tests that act as another user have to find their way back
        free: SimpleQueue[Copy] = SimpleQueue()
        for number in range(workers):
            place = Path(directory, str(number))
            place.mkdir()
            copy = Copy(root, place)
            stack.callback(copy.close)
            free.put(copy)
        yield Path(directory), free


def run(root: Path, mutants: list[Mutant], workers: int, by_callers: bool = False) -> Iterator[Verdict]:
    """Try mutants and yield what the tests of their folders say, as it comes.

    Parameters
    ----------
    root : pathlib.Path
        The project; it is copied, never changed.
    mutants : list of Mutant
        The faults.
    workers : int
        Number of faults tried at a time.
    by_callers : bool, optional
        Run only the tests that call the changed function.

    Yields
    ------
    Verdict
        For each mutant, in any order.

    Raises
    ------
    FailingTests
        The tests of a folder do not pass without any fault.
    """
    with _copies(root, workers) as (directory, free), ThreadPoolExecutor(workers) as pool:

        def rehearse(folder: str) -> Limits:
            copy = free.get()
            try:
                return copy.rehearse(folder, directory / folder)
            finally:
                free.put(copy)

        def judge(mutant: Mutant) -> Verdict:
            copy = free.get()
            try:
                return copy.judge(mutant, directory / mutant.folder, limits[mutant.folder], by_callers)
            finally:
                free.put(copy)

        folders = sorted({mutant.folder for mutant in mutants})
        limits = dict(zip(folders, pool.map(rehearse, folders), strict=True))
        for judged in as_completed([pool.submit(judge, mutant) for mutant in mutants]):
            yield judged.result()
