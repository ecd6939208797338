"""All errors that Midspan raises on purpose, under one root.

The message of each is one line: what is wrong, where, and what to do. `plain_text.brief` keeps it to one line whatever
it quotes.

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
        What is wrong, where, and what to do; more than one message for more than one damaged file.
    code : str
        Tells two refusals of one class apart, for programs and tests; empty where the class alone does.
    """

    def __init__(self, *messages: object, code: str = "") -> None:
        super().__init__(*messages)
        self.code = code

    def __str__(self) -> str:
        """Return the messages on one line.

        >>> str(MidspanError("a.avro: is empty", "b.avro: is torn"))
        'a.avro: is empty; b.avro: is torn'
        """
        return "; ".join(brief(str(message)) for message in self.args)

    def at(self, place: str) -> Self:
        """Return this error after putting a place in front of its message.

        Parameters
        ----------
        place : str
            Where it happened: a file, a line, a port.

        Returns
        -------
        Self
            The same object, so that `raise error.at(place)` works.

        Examples
        --------
        >>> str(LinkError("the gauge is gone").at("bench port"))
        'bench port: the gauge is gone'
        """
        self.args = (f"{place}: {self}",)
        return self

    def ending(self, words: str) -> Self:
        """Return this error after adding words to the end of its message.

        Parameters
        ----------
        words : str
            What to add, with its own space or punctuation in front.

        Returns
        -------
        Self
            The same object, so that `raise error.ending(words)` works.

        Examples
        --------
        >>> str(LinkError("the gauge is gone").ending(" (3 readings were kept)"))
        'the gauge is gone (3 readings were kept)'
        """
        self.args = (f"{self}{words}",)
        return self


class ConfigurationError(MidspanError):
    """A configuration file has a missing, misspelt or impossible value: the user corrects the file.

    Parameters
    ----------
    *messages : str
        What is wrong, where, and what to do; of many problems in a file the first, and how many more.
    code : str
        As in `MidspanError`.
    problems : tuple of str
        A sentence for each problem of the file, without the name of the file; the messages if none is given.
    """

    def __init__(self, *messages: object, code: str = "", problems: tuple[str, ...] = ()) -> None:
        super().__init__(*messages, code=code)
        self.problems = problems or tuple(map(str, messages))


class ReadingsError(MidspanError):
    """Readings typed by hand or given in a table are impossible: the user corrects them or reads again."""


class CellSignError(ReadingsError):
    """The count falls when a load on a shaft makes it rise: with this sign no force limit protects the cell.

    Parameters
    ----------
    words : str
        The message.
    cause : str or None
        "wires" (the signal pair is swapped) or "loading" (the mass pulls the head away from the cell); None if the
        readings cannot tell.
    """

    def __init__(self, words: str, cause: str | None = None) -> None:
        super().__init__(words)
        self.cause = cause


class ConversionError(MidspanError):
    """A number is outside the domain of a formula: the caller passes another."""


class FrameError(MidspanError):
    """Bytes do not form a valid frame because the line damaged them: the session counts it and asks again."""


class ProtocolError(MidspanError):
    """The other end does not speak this protocol: wrong version, wrong schema, or a record out of place."""


class LinkError(MidspanError):
    """The port is missing, busy, gone or silent: check the cable and the name of the port."""


class DeviceFault(MidspanError):
    """The gauge reported a fault: the instrument needs attention, the shaft is not to blame.

    Its code is that of the fault, for example "CELL_STUCK"; empty if the fault has none.
    """


class BoardError(MidspanError):
    """The board, or a tool that installs code on it, failed: the message says which and what to try."""


class ArchiveError(MidspanError):
    """A file of raw readings was made by another program or version, or is damaged; nothing in it was changed."""


class FileGone(MidspanError):
    """A file that a run writes was moved, replaced or changed: a person has to bring it back."""


class ArchiveGone(ArchiveError, FileGone):
    """The archive was moved, cut, replaced or deleted while it was open: a person has to find out how."""


class TraceError(MidspanError):
    """A file is not a trace of a line, or was edited: the user names another."""


class OutputError(MidspanError):
    """An output file cannot be written: the user names another or makes room for it."""


class StoreError(MidspanError):
    """The database of results cannot be opened, read or written."""


class StoreGone(StoreError, FileGone):
    """The database was moved, replaced or deleted while it was open: a person puts it back."""


class BackupError(MidspanError):
    """A backup is not a backup, is incomplete or is damaged: nothing was restored from it."""


class ParkingError(MidspanError):
    """A shaft cannot be turned to its mark: its stiff side is unknown, or it is not the shaft that was meant."""


class MatchingError(MidspanError):
    """No matched set meets the request: the message says which limit prevents it, and by how much."""


class NightStopped(MidspanError):
    """A sorting run waits for a person: the message says why, and how it goes on."""
