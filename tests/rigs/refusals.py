"""What an error names, taken from its message as values."""

import re


def place_in(error):
    """Return the file and line that an error names."""
    file, line = re.match(r"([\w.]+), line (\d+): ", str(error)).groups()
    return file, int(line)
