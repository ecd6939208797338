"""Find the workspace file from the folder a command is called in, upwards.

>>> workspace_file(Path("/")) is None or Path("/midspan.toml").exists()
True
"""

from pathlib import Path

WORKSPACE_FILE = "midspan.toml"


def workspace_file(here: Path) -> Path | None:
    """Return the nearest workspace file in a folder or one above it.

    Parameters
    ----------
    here : Path
        Folder to begin with, absolute.

    Returns
    -------
    Path or None
        The file; None if no folder up to the root has one.
    """
    return next((path for path in (folder / WORKSPACE_FILE for folder in (here, *here.parents)) if path.exists()), None)
