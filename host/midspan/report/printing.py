"""Printing of a PDF by the operating system: the utility `lp` (POSIX), or on Windows the verb of its PDF program."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from midspan.base.errors import OutputError
from midspan.base.files import writing
from midspan.base.plain_text import brief
from midspan.report.label_sheet import Sheet
from midspan.report.labels import labels_of, write_labels
from midspan.store.database import Store

# Runs a command; returns an empty text, or why the command refused.
RunCommand = Callable[[Sequence[str]], str]
PATIENCE_S = 30.0


def run_command(command: Sequence[str]) -> str:
    """Run a command to its end and return what it complained of, empty if it succeeded.

    Parameters
    ----------
    command : Sequence[str]
        Program and arguments.

    Returns
    -------
    str
        One line.

    Raises
    ------
    OutputError
        There is no such program, or it does not end.
    """
    try:
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, text=True, errors="replace", timeout=PATIENCE_S
        )
    except FileNotFoundError as error:
        raise OutputError(
            f"no printing on this system: it lacks the command {command[0]}; print the PDF by hand", code="no_printing"
        ) from error
    except subprocess.TimeoutExpired as error:
        raise OutputError(
            f"{command[0]} did not end within {PATIENCE_S:g} s; look at the printer", code="printer_hangs"
        ) from error
    said = (done.stderr or done.stdout).strip().splitlines()
    return "" if done.returncode == 0 else (said[-1] if said else f"exit code {done.returncode}")


def print_file(path: Path, printer: str | None, title: str, run: RunCommand = run_command) -> None:
    """Hand a PDF to a printer of this system.

    Parameters
    ----------
    path : Path
        The file; `lp` copies it before this returns, Windows prints it later.
    printer : str or None
        Printer as the system names it, None for the system's own choice.
    title : str
        Name of the job.
    run : RunCommand
        Runs the command; not called on Windows.

    Raises
    ------
    OutputError
        The system has no way to print, or the printer refused.

    Examples
    --------
    >>> said = []
    >>> print_file(Path("labels.pdf"), "shop", "shaft 12", lambda command: said.append(command) or "")
    >>> said
    [['lp', '-c', '-t', 'shaft 12', '-d', 'shop', '--', 'labels.pdf']]
    """
    if sys.platform == "win32":
        _start_verb(path, printer)
        return
    chosen = [] if printer is None else ["-d", printer]
    if refused := run(["lp", "-c", "-t", title, *chosen, "--", str(path)]):
        where = "the printer of this system" if printer is None else f"printer {printer}"
        raise OutputError(
            f"{where} does not take {path}: {brief(refused)}; check its name and state", code="not_printed"
        )


def _start_verb(path: Path, printer: str | None) -> None:
    """Let the program that opens PDFs print one."""
    try:
        if printer is None:
            os.startfile(path, "print")  # type: ignore[attr-defined, unused-ignore]
        else:
            os.startfile(path, "printto", f'"{printer}"')  # type: ignore[attr-defined, unused-ignore]
    except OSError as error:
        raise OutputError(
            f"{path}: no program of this system prints it ({error.strerror}); print it by hand", code="no_printing"
        ) from error


class LabelPrinter:
    """Printer of one label at a time, as shafts are measured; nothing is printed until it is asked.

    On a sheet with several labels each goes to the next place, so that the same sheet is put in again until it is full.

    Parameters
    ----------
    sheet : Sheet
        The paper.
    printer : str or None
        Printer as the system names it, None for the system's own choice.
    folder : Path
        Where the PDF of each label is written; made if it is missing.
    run : RunCommand
        Runs the command that prints.
    shop : str
        Name of the shop, club or school; empty for none.
    """

    def __init__(
        self, sheet: Sheet, printer: str | None, folder: Path, run: RunCommand = run_command, shop: str = ""
    ) -> None:
        self._sheet, self._printer, self._folder, self._run = sheet, printer, folder, run
        self._shop = shop
        self._used = 0

    def print_label(self, store: Store, shaft: int) -> Path:
        """Print the label of a shaft and return its file.

        Parameters
        ----------
        store : Store
            Open database.
        shaft : int
            Number of the shaft.

        Returns
        -------
        Path
            The PDF.

        Raises
        ------
        StoreError
            The shaft has no result.
        OutputError
            The label cannot be written or printed.
        """
        path = self._folder / f"label-{shaft}.pdf"
        with writing(self._folder):
            self._folder.mkdir(parents=True, exist_ok=True)
        write_labels(labels_of(store, [shaft], shop=self._shop), self._sheet, path, self._used)
        print_file(path, self._printer, f"shaft {shaft}", self._run)
        self._used = (self._used + 1) % self._sheet.number
        return path
