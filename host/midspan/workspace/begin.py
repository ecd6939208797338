"""Begin the files of a workspace: each is checked before it is written, and none is ever overwritten."""

from collections.abc import Mapping
from pathlib import Path

from midspan.base.config import Section, validated
from midspan.base.errors import ConfigurationError, OutputError
from midspan.base.files import text_of, writing

LARGEST_BYTES = 1_000_000


def begin_file(path: Path, text: str, model: type[Section]) -> bool:
    """Write a new file.

    Parameters
    ----------
    path : Path
        File to write.
    text : str
        TOML.
    model : type[Section]
        What the text must say; checked first.

    Returns
    -------
    bool
        False if there is a file of that name; it stays as it is.

    Raises
    ------
    ConfigurationError
        The text is not what `model` takes.
    OutputError
        The file cannot be written.
    """
    validated(model, _tables(text, path), path)
    with writing(path, "name another folder with --folder"):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with path.open("x", encoding="utf-8") as file:
                file.write(text)
        except FileExistsError:
            return False
    return True


def check_new(path: Path) -> None:
    """Refuse a folder that has a workspace file already.

    Parameters
    ----------
    path : Path
        Workspace file to be written.

    Raises
    ------
    OutputError
        The file exists (code "workspace_exists").
    """
    if path.exists():
        raise OutputError(
            f"{path}: exists already and is not written over; change it with an editor, or see: midspan status",
            code="workspace_exists",
        )


def add_to_file(path: Path, text: str, model: type[Section]) -> None:
    """Add tables at the end of a file, once the whole is checked; what stands in it stays.

    Parameters
    ----------
    path : Path
        File to add to.
    text : str
        TOML of whole tables.
    model : type[Section]
        What the whole file must say.

    Raises
    ------
    ConfigurationError
        The whole would not be what `model` takes.
    OutputError
        The file cannot be written.
    """
    before = text_of(path, ConfigurationError, LARGEST_BYTES)
    text = text if before.endswith("\n") or not before else f"\n{text}"
    validated(model, _tables(before + text, path), path)
    with writing(path), path.open("a", encoding="utf-8") as file:
        file.write(text)


def _tables(text: str, path: Path) -> Mapping[str, object]:
    """Return the tables of a TOML text; a ConfigurationError says what is wrong in it."""
    import tomllib

    try:
        return tomllib.loads(text)
    except ValueError as error:
        raise ConfigurationError(f"{path}: would not be valid TOML ({error}); answer in other words") from error
