"""Every error Midspan raises on purpose, under one root.

The message of each is one line that says what is wrong, where, and what to do; however long or wild what it quotes is,
it stays one (`plain_text.brief`).

>>> issubclass(ConfigurationError, MidspanError)
True
"""

from typing import Self

from midspan.base.plain_text import brief

INTERRUPTED = 130  # the exit code that a shell expects after Ctrl-C


class MidspanError(Exception):
    """Root of all errors raised on purpose; the command line prints its message and nothing more.

    Parameters
    ----------
    *messages : str
        What is wrong, where, and what to do; a message for each thing.
    code : str
        Tells refusals of one class apart for programs and tests; empty where the class alone does.
    """

    def __init__(self, *messages: object, code: str = "") -> None:
        super().__init__(*messages)
        self.code = code

    def __str__(self) -> str:
        """Return the message.

        >>> str(MidspanError("a.avro: is empty", "b.avro: is torn"))
        'a.avro: is empty; b.avro: is torn'
        """
        return "; ".join(brief(str(message)) for message in self.args)

    def at(self, place: str) -> Self:
        """Return this error, whose message now begins with where it was.

        >>> str(LinkError("the gauge is gone").at("bench port"))
        'bench port: the gauge is gone'
        """
        self.args = (f"{place}: {self}",)
        return self

    def ending(self, words: str) -> Self:
        """Return this error, whose message now ends with these words.

        >>> str(LinkError("the gauge is gone").ending(" (3 readings were kept)"))
        'the gauge is gone (3 readings were kept)'
        """
        self.args = (f"{self}{words}",)
        return self


class ConfigurationError(MidspanError):
    """A calibration, bands or scenario file has a missing, misspelt or absurd value: the user mends the file."""


class ReadingsError(MidspanError):
    """Readings typed by hand or in a table cannot be what they say: the user mends the table or reads again."""


class CellSignError(ReadingsError):
    """The count falls where it would rise under a shaft: with this sign no limit of force can be trusted.

    `cause` is "wires" or "loading" (the mass pulls the head away from the cell), or None where readings cannot tell.
    """

    def __init__(self, words: str, cause: str | None = None) -> None:
        super().__init__(words)
        self.cause = cause


class ConversionError(MidspanError):
    """A number has no meaning for the formula it was given to: the caller passes another one."""


class FrameError(MidspanError):
    """Bytes that are no valid frame: the line damaged them; the session counts it and asks again."""


class ProtocolError(MidspanError):
    """The other end speaks, but not this protocol: wrong version, wrong fingerprint or a record out of place."""


class LinkError(MidspanError):
    """The port is missing, busy, gone or silent: check the cable and the port's name."""


class DeviceFault(MidspanError):
    """The gauge reported a fault: the instrument needs attention, the shaft is not to blame.

    `code` is the fault's code in protocol/faults.json, empty where it has none.
    """


class BoardError(MidspanError):
    """The board, or a tool that puts code on it, did not do its part: the message says which and what to try."""


class ArchiveError(MidspanError):
    """A file of raw runs is foreign, damaged or of another version: nothing in it was changed."""


class FileGone(MidspanError):
    """A file that a night writes is not where it was, or not as it was left: nobody but a person brings it back."""


class ArchiveGone(ArchiveError, FileGone):
    """The archive was moved, cut, replaced or deleted while it was written: a person looks who did that."""


class TraceError(MidspanError):
    """A file is no trace of a line, or was edited: the user names another."""


class OutputError(MidspanError):
    """A file that was asked for cannot be written: the user names another, or makes room for it."""


class StoreError(MidspanError):
    """The database of results cannot be opened, read or written."""


class StoreGone(StoreError, FileGone):
    """The database was moved, replaced or deleted while it was open: a person puts it back."""


class BackupError(MidspanError):
    """A backup is none, was broken off or is damaged: nothing was restored from it."""


class ParkingError(MidspanError):
    """A shaft has no stiff side that is known, or is not the one that was meant: it is not turned to be marked."""


class MatchingError(MidspanError):
    """No matched set can be made as it was asked for: the message says which limit blocks, and by how much."""


class NightStopped(MidspanError):
    """A night of sorting waits for a person: the message says for what, and how it goes on."""
