"""Run the tests of a folder against mutants, each in a copy of the project: the working tree is never touched."""

import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from difflib import unified_diff
from pathlib import Path
from queue import SimpleQueue
from tempfile import TemporaryDirectory

from mutant_sample import Mutant

# Made by programs, and no part of the project.
LEFT_OUT = shutil.ignore_patterns(".*", "__pycache__", "typings", "build", "dist", "demo-output", "*.egg-info")
# A loop that a fault makes endless may fill the memory before its time is over.
LARGEST_BYTES = 6 << 30


@dataclass(frozen=True)
class Limits:
    """Time that the tests of one folder get for one mutant.

    Parameters
    ----------
    processor_s : int
        Time of the processor, s: other work on the computer does not count against a mutant.
    wall_s : float
        Time that passes, s, for tests that wait for what never comes.
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
        began_s, used_before = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
        output = self._place / "output"
        if self._pytest(folder, {"MUTANT_NOTES": str(notes)}, None, output) != 0:
            raise FailingTests(f"{folder}: {output.read_text(encoding='utf-8', errors='replace')[-2000:]}")
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        processor_s = used.ru_utime + used.ru_stime - used_before.ru_utime - used_before.ru_stime
        return Limits(30 + int(4 * processor_s), 120 + 4 * (time.monotonic() - began_s))

    def judge(self, mutant: Mutant, notes: Path, limits: Limits) -> Verdict:
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
            is_killed = self._pytest(mutant.folder, place, limits, self._place / "output") != 0
        finally:
            path.write_text(source, encoding="utf-8")
            os.utime(path, (times.st_atime, times.st_mtime))
        _, _, *lines = unified_diff(source.splitlines(), changed.splitlines(), n=0, lineterm="")
        return Verdict(mutant, is_killed, tuple(line for line in lines if line[0] in "+-"))

    def _pytest(self, folder: str, told: dict[str, str], limits: Limits | None, output: Path) -> int:
        """Run the tests and doctests of a folder; return the code with which pytest ends, not 0 when time is over."""
        command = [sys.executable, "-m", "pytest", "-x", "-q", "--tb=short", "-p", "no:cacheprovider"]
        command += ["-p", "mutant_order", f"--basetemp={self._place / 'basetemp'}"]
        command += [f"tests/{folder}", f"host/midspan/{folder}"]
        searched = [str(self._tree / "host"), str(Path(__file__).parent)]
        environment = os.environ | told | {
            "PYTHONPATH": os.pathsep.join(searched), "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1",
        }  # fmt: skip
        if limits is not None:
            environment["PYTHONDONTWRITEBYTECODE"] = "1"

        def bound() -> None:
            resource.setrlimit(resource.RLIMIT_AS, (LARGEST_BYTES, LARGEST_BYTES))
            if limits is not None:
                resource.setrlimit(resource.RLIMIT_CPU, (limits.processor_s, limits.processor_s))

        with output.open("wb") as written:
            process = subprocess.Popen(
                command, cwd=self._tree, env=environment, stdin=subprocess.DEVNULL, stdout=written, stderr=written,
                start_new_session=True, preexec_fn=bound,
            )  # fmt: skip
            try:
                return process.wait(limits and limits.wall_s)
            except subprocess.TimeoutExpired:
                return -signal.SIGKILL
            finally:
                _end(process)


def _end(process: "subprocess.Popen[bytes]") -> None:
    """End a run and all that its tests started."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


@contextmanager
def _copies(root: Path, workers: int) -> Iterator[tuple[Path, "SimpleQueue[Copy]"]]:
    """Make a copy of the project for each worker; yield the directory they lie in and the copies that are free."""
    with TemporaryDirectory(prefix="mutants-") as directory:
        Path(directory).chmod(0o755)  # tests that act as another user have to find their way back
        free: SimpleQueue[Copy] = SimpleQueue()
        for number in range(workers):
            place = Path(directory, str(number))
            place.mkdir()
            free.put(Copy(root, place))
        yield Path(directory), free


def run(root: Path, mutants: list[Mutant], workers: int) -> Iterator[Verdict]:
    """Try mutants and yield what the tests of their folders say, as it comes.

    Parameters
    ----------
    root : pathlib.Path
        The project; it is copied, never changed.
    mutants : list of Mutant
        The faults.
    workers : int
        Number of faults tried at a time.

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
                return copy.judge(mutant, directory / mutant.folder, limits[mutant.folder])
            finally:
                free.put(copy)

        folders = sorted({mutant.folder for mutant in mutants})
        limits = dict(zip(folders, pool.map(rehearse, folders), strict=True))
        yield from pool.map(judge, mutants)
