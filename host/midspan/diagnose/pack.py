"""Write the pack: every part as a member of a zip file, with a list of what is in it and what could not be read."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

from midspan.base.files import writing
from midspan.diagnose.collect import Collector, Part, Sources

LIST = "read-me-first.txt"
WORDS = """\
What Midspan knows of itself, packed by the command `midspan diagnose` for whoever helps.
Texts of people are replaced by placeholders (name-1, text-2), the same text by the same one in all files here; secrets
are left out. Nothing of it was sent anywhere by Midspan.
"""


def pack(sources: Sources, out: Path) -> list[Part]:
    """Collect the parts and write them to a new zip file.

    Parameters
    ----------
    sources : Sources
        Places to look.
    out : Path
        File to write.

    Returns
    -------
    list[Part]
        All parts; `text` is None for those that could not be read.

    Raises
    ------
    OutputError
        The file exists already or cannot be written.
    """
    parts = [*Collector(sources).parts()]
    content = _zipped(parts)
    with writing(out, "name another file, or another folder"):
        file = out.open("xb")
        try:
            with file:
                file.write(content)
        except OSError:
            out.unlink()  # half a pack is of no use, and its name would be taken
            raise
    return parts


def _zipped(parts: list[Part]) -> bytes:
    """Return the bytes of the zip file."""
    whole = BytesIO()
    with ZipFile(whole, "w", ZIP_DEFLATED) as packed:
        packed.writestr(LIST, _list(parts))
        for part in parts:
            if part.text is not None:
                packed.writestr(part.name, part.text + "\n")
    return whole.getvalue()


def _list(parts: list[Part]) -> str:
    """Return the contents of the pack in words, without names of files."""
    there = "".join(f"  {part.name}: {part.what}\n" for part in parts if part.text is not None)
    lacking = "".join(f"  {part.name}: {part.what}\n" for part in parts if part.text is None)
    return f"{WORDS}\nIn it:\n{there}" + (f"\nCould not be read:\n{lacking}" if lacking else "")
