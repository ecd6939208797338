"""Run all checks on the builds and print what they find: python -m model.checks [BUILD ...]."""

from __future__ import annotations

import sys

from model.checks.whole import BUILDS, findings


def main(names: list[str]) -> int:
    """Print the findings of each named build, all of them without names, and return 1 if there are any."""
    count = 0
    for name in names or list(BUILDS):
        found = findings(BUILDS[name]())
        count += len(found)
        sys.stdout.write("".join(f"{name}: {finding}\n" for finding in found))
    sys.stdout.write(f"{count} findings\n")
    return 1 if count else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
