"""The wires of supplies, grounds, switches and cell: all that do not begin at a signal's pin of the board."""

from __future__ import annotations

from typing import NamedTuple

from frame.board_wires import OTHERS


class End(NamedTuple):
    """A terminal of a part."""

    part: str
    terminal: str


class Link(NamedTuple):
    """A wire from one terminal to another; `kind` says which mark it has in the pictures."""

    name: str
    start: End
    end: End
    kind: str


def board_pin(edge: int) -> End:
    """Return the end of a wire at a place on the board's edge.

    Parameters
    ----------
    edge : int
        Place on the edge, 1 to 40.

    Returns
    -------
    End
        The board and that place.
    """
    return End("board", str(edge))


THREE_VOLTS = next(edge for edge, name in OTHERS.items() if name == "3V3")
SIGNAL_GROUND = max(edge for edge, name in OTHERS.items() if name == "GND")
BESIDE_CELL_WIRES = 28  # the board's ground pin from which its wire goes to the ground point
GROUND = "ground point"

LINKS = (
    Link("24 V, socket to fuse", End("socket", "+"), End("fuse", "in"), "24 V"),
    Link("24 V, fuse to stop", End("fuse", "out"), End("emergency stop, contact 1", "11"), "24 V"),
    Link("24 V, stop to terminals", End("emergency stop, contact 1", "12"), End("24 V terminals", "1"), "24 V"),
    Link("24 V, press driver", End("24 V terminals", "3"), End("press driver", "VM"), "24 V"),
    Link("24 V, rotate driver", End("24 V terminals", "4"), End("rotate driver", "VM"), "24 V"),
    Link("ground, socket", End("socket", "-"), End(GROUND, "1"), "ground"),
    Link("ground, press driver", End("press driver", "GND"), End(GROUND, "2"), "ground"),
    Link("ground, rotate driver", End("rotate driver", "GND"), End(GROUND, "3"), "ground"),
    Link("ground, board", board_pin(BESIDE_CELL_WIRES), End(GROUND, "4"), "ground"),
    Link("ground, converter", End("converter", "GND"), End(GROUND, "5"), "ground"),
    Link("3.3 V, board", board_pin(THREE_VOLTS), End("3.3 V terminals", "6"), "3.3 V"),
    Link("3.3 V, press driver", End("3.3 V terminals", "2"), End("press driver", "VIO"), "3.3 V"),
    Link("3.3 V, rotate driver", End("3.3 V terminals", "3"), End("rotate driver", "VIO"), "3.3 V"),
    Link("3.3 V, converter", End("3.3 V terminals", "4"), End("converter", "VCC"), "3.3 V"),
    Link("3.3 V, index mark sensor", End("3.3 V terminals", "5"), End("index mark sensor", "VCC"), "3.3 V"),
    Link("signal ground, board", board_pin(SIGNAL_GROUND), End("signal ground", "6"), "ground"),
    Link("signal ground, home switch", End("signal ground", "2"), End("home switch", "C"), "ground"),
    Link("signal ground, lid switch", End("signal ground", "3"), End("lid switch", "12"), "ground"),
    Link("signal ground, stop", End("signal ground", "4"), End("emergency stop, contact 2", "22"), "ground"),
    Link("signal ground, index mark sensor", End("signal ground", "5"), End("index mark sensor", "GND"), "ground"),
    Link("cell, E+", End("cell", "E+"), End("converter", "E+"), "cell"),
    Link("cell, E-", End("cell", "E-"), End("converter", "E-"), "cell"),
    Link("cell, A-", End("cell", "A-"), End("converter", "A-"), "cell"),
    Link("cell, A+", End("cell", "A+"), End("converter", "A+"), "cell"),
)
