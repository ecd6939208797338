"""The page as its users have it: a real server in a process of its own, looked at in a real headless browser."""

import os
import shutil
import signal
import socket
import subprocess
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from pathlib import Path

from commands_rig import COMMAND

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
NO_BROWSER = "no chromium was found; `make test` installs Debian's, elsewhere install it by hand"
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync"]  # fmt: skip
STARTED_S = 120  # long, for a machine that runs everything else at the same time


def free_port():
    """Return a TCP port of this computer that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Server:
    """`midspan page` on a store; `url` is its address."""

    def __init__(self, store, *options, port=None, environment=()):
        self.port = port or free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._command = [*COMMAND, "page", "--store", str(store), "--port", str(self.port), *options]
        # Under pytest NiceGUI behaves differently; the page must not notice it.
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST", "NICEGUI"))}
        self._environment = kept | dict(environment)
        self.process = None

    def start(self):
        """Start the server and return it once it answers."""
        self.process = subprocess.Popen(
            self._command, env=self._environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        deadline = time.monotonic() + STARTED_S
        while time.monotonic() < deadline:
            assert self.process.poll() is None, self.process.stdout.read()
            try:
                self.get("/")
                return self
            except urllib.error.HTTPError:
                return self
            except OSError:
                time.sleep(0.05)
        raise AssertionError("the page did not start")

    def get(self, path, **headers):
        """Return the body of an answer; raise HTTPError for a status that is an error."""
        request = urllib.request.Request(self.url + path, headers=headers)
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.read().decode()

    def status(self, path, data=None, **headers):
        """Return the status of an answer; redirects are not followed."""
        request = urllib.request.Request(self.url + path, data=data, headers=headers)
        try:
            with urllib.request.build_opener(_Straight).open(request, timeout=30) as answer:
                return answer.status
        except urllib.error.HTTPError as error:
            with error:
                return error.code

    def memory_mb(self):
        """Return the resident memory of the server, MB."""
        with Path(f"/proc/{self.process.pid}/status").open(encoding="utf-8") as file:
            return next(int(line.split()[1]) for line in file if line.startswith("VmRSS")) / 1024

    def kill(self):
        """End the server as a power cut would."""
        self._end(signal.SIGKILL)

    def stop(self):
        """End the server as Ctrl-C does and return what it printed."""
        return self._end(signal.SIGINT)

    def _end(self, number):
        if self.process.poll() is None:
            self.process.send_signal(number)
        try:
            return self.process.communicate(timeout=30)[0]
        except subprocess.TimeoutExpired:
            self.process.kill()
            return self.process.communicate()[0]


class _Straight(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_):
        return None


@contextmanager
def served(store, *options, **more):
    """Run a server on a store until the block ends."""
    server = Server(store, *options, **more).start()
    try:
        yield server
    finally:
        server.stop()


@contextmanager
def browser():
    """Open the system's headless browser until the block ends."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        try:
            yield opened
        finally:
            opened.close()
