"""QR codes (ISO/IEC 18004): as dark and light squares for paper, and as text for a screen."""

from io import StringIO

import segno

QUIET_MODULES = 4  # white border (ISO/IEC 18004, 5.3.8, from memory)


def squares(text: str) -> list[list[bool]]:
    """Return a code row by row from the top, True where it is dark, with the white around it.

    Parameters
    ----------
    text : str
        Text to encode.

    Returns
    -------
    list[list[bool]]
        Rows of squares.
    """
    code = segno.make_qr(text, error="m")
    return [[bool(dark) for dark in row] for row in code.matrix_iter(scale=1, border=QUIET_MODULES)]


def code_for_screen(text: str) -> str:
    """Return a code drawn with block characters, small enough for a terminal.

    Parameters
    ----------
    text : str
        Text to encode.

    Returns
    -------
    str
        Lines to print.
    """
    drawn = StringIO()
    segno.make_qr(text, error="l").terminal(drawn, border=2, compact=True)
    return drawn.getvalue()
