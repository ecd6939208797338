"""Lock of an open file against other programs, on each system in its own way."""

from __future__ import annotations

import os
import sys

BEYOND = 1 << 40  # Windows keeps others from reading what is locked, so that is a byte where no file has any


def is_locked_now(descriptor: int) -> bool:
    """Lock an open file until it is closed or the program ends, and return True; False if it is locked already.

    Parameters
    ----------
    descriptor : int
        File descriptor of the file, open for writing.

    Returns
    -------
    bool
        False if the file is locked through another descriptor, here or in another program.

    Examples
    --------
    >>> from tempfile import TemporaryFile
    >>> with TemporaryFile() as file:
    ...     is_locked_now(file.fileno())
    True
    """
    try:
        if sys.platform == "win32":
            _lock_byte(descriptor)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):  # what flock and what Windows says of a lock that another has
        return False
    return True


def _lock_byte(descriptor: int) -> None:
    """Lock a byte beyond the end of a file, as Windows does it; the place in the file stays what it was."""
    import msvcrt

    before = os.lseek(descriptor, 0, os.SEEK_CUR)
    os.lseek(descriptor, BEYOND, os.SEEK_SET)
    try:
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined, unused-ignore]
    finally:
        os.lseek(descriptor, before, os.SEEK_SET)
