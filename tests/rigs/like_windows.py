"""Run commands as on Windows, as far as another system can pretend: `like_windows.py "demo --shafts 2" "show 2"`.

What Windows lacks is taken away (modules, functions, signals), and the host is told that it runs there. The libraries
under it are loaded first, because theirs is another way on Windows, which cannot be had here. Each command is run in
turn; before the first, every module of the host is imported.
"""

import ast
import importlib
import os
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from types import ModuleType

HOST = Path(__file__).parents[2] / "host" / "midspan"
MODULES = ("fcntl", "termios", "pty", "tty", "resource", "pwd", "grp", "curses", "readline", "syslog", "posix")
FUNCTIONS = (
    "fork forkpty openpty ttyname getuid geteuid getgid getpgid setsid killpg chown fchmod fchown mkfifo nice uname"
    " sync fdatasync statvfs pread pwrite sysconf getloadavg wait4"
)
SIGNALS = "SIGHUP SIGKILL SIGQUIT SIGUSR1 SIGUSR2 SIGALRM SIGCHLD SIGPIPE SIGSTOP SIGCONT SIGTSTP SIGWINCH"


def module_names() -> list[str]:
    """Return the names of all modules of the host."""
    return [
        ".".join(path.relative_to(HOST.parent).with_suffix("").parts).removesuffix(".__init__")
        for path in sorted(HOST.rglob("*.py"))
        if "migrations" not in path.parts
    ]


def load_libraries() -> None:
    """Import what the host imports from others, inside its functions too."""
    for path in HOST.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names += [str(node.module), *(f"{node.module}.{alias.name}" for alias in node.names)]
            for name in names:
                if name.split(".")[0] not in ("midspan", "__future__"):
                    with suppress(ModuleNotFoundError):  # the name of something in a module, or a module of Windows
                        importlib.import_module(name)


def byte_locks() -> ModuleType:
    """Return a `msvcrt` whose locks are those of this system; a byte that is locked is refused as Windows does it."""
    import fcntl

    found = ModuleType("msvcrt")
    found.LK_NBLCK = 2  # type: ignore[attr-defined]

    def locking(descriptor: int, mode: int, count: int) -> None:
        assert (mode, count) == (2, 1)
        assert os.lseek(descriptor, 0, os.SEEK_CUR) > os.fstat(descriptor).st_size  # or nobody else could read it
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise PermissionError(13, "Permission denied") from error

    found.locking = locking  # type: ignore[attr-defined]
    found.kbhit = lambda: False  # type: ignore[attr-defined]
    return found


def pretend() -> None:
    """Take away what Windows lacks, and say that this is Windows."""
    load_libraries()
    sys.modules["msvcrt"] = byte_locks()
    for name in MODULES:
        sys.modules[name] = None  # type: ignore[assignment]
    for module, names in ((os, FUNCTIONS), (signal, SIGNALS)):
        for name in names.split():
            if hasattr(module, name):
                delattr(module, name)
    subprocess.CREATE_NEW_PROCESS_GROUP = 0  # type: ignore[attr-defined]
    os.startfile = lambda *words: print("started:", *words)  # type: ignore[attr-defined]
    sys.platform = "win32"


def run(command: str) -> object:
    """Run a command of midspan and return its exit code."""
    from midspan.cli.main import main

    sys.argv = ["midspan", *command.split()]
    try:
        main()
    except SystemExit as end:
        return end.code
    return 0


if __name__ == "__main__":
    pretend()
    for module_name in module_names():
        importlib.import_module(module_name)
    from midspan.rehearsal import process

    process.interpreter_command = lambda shafts=0: [sys.executable]  # there is no MicroPython for Windows
    for line in sys.argv[1:]:
        if code := run(line):
            sys.exit(f"midspan {line}: exit code {code}")
