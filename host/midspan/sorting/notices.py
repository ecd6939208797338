"""Notify people about a run: a plain log, webhooks, and any address that `apprise` reaches when it is installed.

A notice never delays the sorting: the log is a line in a local file, and each address has a thread of its own that ends
with the program. A notice that cannot be delivered never stops the run; `take_failures` gives it to the journal.

>>> import tempfile
>>> folder = Path(tempfile.mkdtemp())
>>> with Notices(NoticeSettings(), folder, "night 12 on gauge attic", now_ms=lambda: 1_700_000_000_000) as notices:
...     notices.tell(Kind.NEEDS_PERSON, "The hopper is empty.")
>>> (folder / "night.log").read_text().splitlines()
['2023-11-14T22:13:20Z night 12 on gauge attic, needs a person: The hopper is empty.']
"""

import logging
import os
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from queue import Empty, SimpleQueue
from types import TracebackType
from typing import Annotated, Self, TypeVar

from pydantic import Field, SecretStr

from midspan.base.clock import now_ms
from midspan.base.config import ARRAY, Section
from midspan.base.errors import ConfigurationError
from midspan.base.formatting import printable
from midspan.sorting.notices_transports import Notice, NoticeError, Transport, by_apprise, by_webhook

LOG = logging.getLogger(__name__)

Item = TypeVar("Item")
PAUSES_S = (0.0, 30.0, 300.0)  # before each try; a router that restarts is back within minutes
MOST_WAITING = 100  # notices for an address; more would tell nobody anything new
END_S = 15.0  # longest wait for the last notices at the end of a run


class Kind(StrEnum):
    """Kind of a notice, as people read it."""

    FINISHED = "finished"
    STOPPED = "stopped"
    NEEDS_PERSON = "needs a person"


class NoticeSettings(Section):
    """Addresses for notices; a plain log is always written.

    An address that begins with $ is the name of an environment variable that holds it.

    Parameters
    ----------
    log : str
        Name of the log, relative to the folder of the plan.
    webhook : tuple[SecretStr, ...]
        Web addresses.
    apprise : tuple[SecretStr, ...]
        Addresses that `apprise` knows.
    timeout_s : float
        Longest time for a web server to answer, s.
    """

    log: Annotated[str, Field(min_length=1)] = "night.log"
    webhook: Annotated[tuple[SecretStr, ...], ARRAY] = ()
    apprise: Annotated[tuple[SecretStr, ...], ARRAY] = ()
    timeout_s: Annotated[float, Field(gt=0, le=300)] = 10.0

    def ways(self) -> list[Transport]:
        """Return a transport for every address, before the night begins.

        Returns
        -------
        list[Transport]
            The transports.

        Raises
        ------
        ConfigurationError
            An address cannot be used.
        """
        web = [by_webhook(i, _address(address), self.timeout_s) for i, address in enumerate(self.webhook, 1)]
        return web + [by_apprise(i, _address(address)) for i, address in enumerate(self.apprise, 1)]

    def try_log(self, folder: Path) -> None:
        """Open the log once, before the night begins.

        Parameters
        ----------
        folder : Path
            Folder of the plan.

        Raises
        ------
        ConfigurationError
            The log cannot be written.
        """
        try:
            (folder / self.log).open("a", encoding="utf-8").close()
        except OSError as error:
            raise ConfigurationError(
                f"{folder / self.log}: the log of notices cannot be written ({error.strerror}); name another file, or "
                "make its folder"
            ) from error


def _address(given: SecretStr) -> str:
    """Return an address, from its environment variable where it names one."""
    text = given.get_secret_value()
    if not text.startswith("$"):
        return text
    if not text[1:].isidentifier():  # may be a password, so it is not repeated
        raise ConfigurationError(
            "notices: an address begins with $ but is not the name of an environment variable; correct it",
            code="not_a_variable",
        )
    if text[1:] not in os.environ:
        raise ConfigurationError(
            f"notices: the environment variable {text[1:]} is not set; set it, or remove {text}", code="not_set"
        )
    return os.environ[text[1:]]


@dataclass(frozen=True)
class Tries:
    """How long delivery of a notice is tried.

    Parameters
    ----------
    pauses_s : Sequence[float]
        Pause before each try, s.
    end_s : float
        Longest wait for the last notices at the end of a run, s.
    """

    pauses_s: Sequence[float] = PAUSES_S
    end_s: float = END_S


PATIENT = Tries()


class Notices:
    """Send notices about one run; leaving the block waits for those on their way.

    Parameters
    ----------
    settings : NoticeSettings
        Addresses and log.
    folder : Path
        Folder of the plan.
    about : str
        Name of the run in every notice.
    now_ms : Callable[[], int]
        Returns the time, ms since 1970 UTC.
    ways : Sequence[Transport] | None
        Transports; None to take those of the settings.
    tries : Tries
        How long delivery is tried.

    Raises
    ------
    ConfigurationError
        An address cannot be used.
    """

    def __init__(
        self,
        settings: NoticeSettings,
        folder: Path,
        about: str,
        *,
        now_ms: Callable[[], int] = now_ms,
        ways: Sequence[Transport] | None = None,
        tries: Tries = PATIENT,
    ) -> None:
        self._log, self._about, self._now_ms, self._end_s = folder / settings.log, about, now_ms, tries.end_s
        self._failures: SimpleQueue[str] = SimpleQueue()
        ways = settings.ways() if ways is None else ways
        self._posts = [_Post(way, tries.pauses_s, self._failures) for way in ways]

    def tell(self, kind: Kind, words: str) -> None:
        """Write a notice to the log and send it on its way; returns at once.

        Parameters
        ----------
        kind : Kind
            Kind of the notice.
        words : str
            What happened, for people.
        """
        told = datetime.fromtimestamp(self._now_ms() / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        words = printable(" ".join(words.split()))
        try:
            with self._log.open("a", encoding="utf-8") as log:
                log.write(f"{told} {self._about}, {kind.value}: {words}\n")
        except OSError as error:
            self._failures.put(f"{self._log}: a notice was not written ({error.strerror}): {words}")
        for post in self._posts:
            post.add(Notice(kind.value, self._about, words, told))

    def take_failures(self) -> list[str]:
        """Return the notices that could not be delivered since the last call.

        Returns
        -------
        list[str]
            A sentence for each.
        """
        return _taken(self._failures)

    def close(self) -> None:
        """Wait up to `end_s` for all addresses together; a notice not delivered by then is a failure.

        Later notices go to the log only. Closing twice does no harm.
        """
        for post in self._posts:
            post.end()
        until_s = time.monotonic() + self._end_s
        while self._posts:
            self._posts.pop().wait(max(0.0, until_s - time.monotonic()))

    def __enter__(self) -> Self:
        """Return these notices; they close when the block exits."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close them."""
        self.close()


class _Post:
    """An address with its thread: notices go out in order, each tried a few times."""

    def __init__(self, way: Transport, pauses_s: Sequence[float], failures: SimpleQueue[str]) -> None:
        self._way, self._pauses_s, self._failures = way, pauses_s, failures
        self._waiting: SimpleQueue[Notice | None] = SimpleQueue()
        self._on_its_way: Notice | None = None
        self._ending = threading.Event()
        # A daemon, because a server that never answers must not keep the program from ending.
        self._thread = threading.Thread(target=self._work, name=way.name, daemon=True)
        self._thread.start()

    def add(self, notice: Notice) -> None:
        """Queue a notice, or record a failure if the queue is full."""
        if self._waiting.qsize() < MOST_WAITING:
            self._waiting.put(notice)
        else:
            self._fail(notice, f"{MOST_WAITING} others wait before it")

    def end(self) -> None:
        """Deliver the waiting notices without pauses, then end the thread."""
        self._waiting.put(None)
        self._ending.set()

    def wait(self, most_s: float) -> None:
        """Wait for the thread, and record failures for what it has not delivered in time."""
        self._thread.join(most_s)
        if self._thread.is_alive():
            for notice in (self._on_its_way, *_taken(self._waiting)):
                if notice is not None:
                    self._fail(notice, "no answer when the run ended")

    def _work(self) -> None:
        """Deliver notices until the queue is ended."""
        while (notice := self._waiting.get()) is not None:
            self._on_its_way = notice
            self._deliver(notice)
            self._on_its_way = None

    def _deliver(self, notice: Notice) -> None:
        """Try to deliver a notice, and record a failure after the last try."""
        why = ""
        for pause_s in self._pauses_s:
            self._ending.wait(pause_s)
            try:
                return self._way.send(notice)
            except NoticeError as error:
                why = str(error)
                LOG.warning("%s: a notice was not delivered at this try: %s", self._way.name, error)
        return self._fail(notice, why)

    def _fail(self, notice: Notice, why: str) -> None:
        """Record that a notice was not delivered."""
        self._failures.put(f"{self._way.name}: a notice was not delivered ({why}): {notice.text}")


def _taken(waiting: SimpleQueue[Item]) -> list[Item]:
    """Return everything in a queue, and empty it."""
    taken = []
    while True:
        try:
            taken.append(waiting.get_nowait())
        except Empty:
            return taken
