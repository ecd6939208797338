"""Say what the docstrings lack: `python tests/reference [FOLDER OR FILE ...]`; everything without arguments."""

import sys
from pathlib import Path

from docstrings import EVERYTHING, HOST, complaints, public, sources


def main() -> int:
    """Print what is to be mended and return 1, or print how many names are complete and return 0."""
    places = [Path(given).resolve() for given in sys.argv[1:]] or list(EVERYTHING)
    files = [path for place in places for path in sources(place)]
    found = [line for path in files for line in complaints(path)]
    names = [name for path in files if path.is_relative_to(HOST) for name, _ in public(path)]
    print("\n".join([*found, f"{len(names)} public names (all without underscore), {len(found)} things to mend"]))
    return bool(found)


if __name__ == "__main__":
    sys.exit(main())
