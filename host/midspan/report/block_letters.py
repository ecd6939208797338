"""Letters five rows high, for a verdict that is read from across the room.

>>> print(*block_rows("T", 80, "#"), sep="|")
 #####|   #|   #|   #|   #
"""

from __future__ import annotations

ROWS = 5
_SHAPES = """
A .###. #...# ##### #...# #...#
B ####. #...# ####. #...# ####.
C .#### #.... #.... #.... .####
D ####. #...# #...# #...# ####.
E ##### #.... ####. #.... #####
F ##### #.... ####. #.... #....
G .#### #.... #..## #...# .####
H #...# #...# ##### #...# #...#
I ### .#. .#. .#. ###
J ..### ...#. ...#. #..#. .##..
K #...# #..#. ###.. #..#. #...#
L #.... #.... #.... #.... #####
M #...# ##.## #.#.# #...# #...#
N #...# ##..# #.#.# #..## #...#
O .###. #...# #...# #...# .###.
P ####. #...# ####. #.... #....
Q .###. #...# #.#.# #..#. .##.#
R ####. #...# ####. #..#. #...#
S .#### #.... .###. ....# ####.
T ##### ..#.. ..#.. ..#.. ..#..
U #...# #...# #...# #...# .###.
V #...# #...# .#.#. .#.#. ..#..
W #...# #...# #.#.# ##.## #...#
X #...# .#.#. ..#.. .#.#. #...#
Y #...# .#.#. ..#.. ..#.. ..#..
Z ##### ...#. ..#.. .#... #####
0 .###. #..## #.#.# ##..# .###.
1 .#. ##. .#. .#. ###
2 .###. #...# ...#. ..#.. #####
3 ####. ....# .###. ....# ####.
4 #..#. #..#. ##### ...#. ...#.
5 ##### #.... ####. ....# ####.
6 .###. #.... ####. #...# .###.
7 ##### ....# ...#. ..#.. ..#..
8 .###. #...# .###. #...# .###.
9 .###. #...# .#### ....# .###.
. .. .. .. ## ##
, .. .. .. ## .#
- .... .... #### .... ....
+ ..... ..#.. ##### ..#.. .....
/ ....# ...#. ..#.. .#... #....
: .. ## .. ## ..
? .###. #...# ..##. ..... ..#..
"""
SHAPES = {line[0]: line[2:].split(" ") for line in _SHAPES.strip().splitlines()} | {" ": ["..."] * ROWS}
BETWEEN = 1  # empty columns


def block_rows(text: str, columns: int, ink: str = "█") -> list[str]:
    """Return a text in block letters, or as it is where it would be wider than the screen.

    Parameters
    ----------
    text : str
        One line; small letters become capitals, what has no shape becomes a question mark.
    columns : int
        Columns of the screen.
    ink : str
        Character that the letters are made of.

    Returns
    -------
    list of str
        Rows without spaces at their ends: five, or the text alone.

    Examples
    --------
    >>> block_rows("a long name of a bin", 20)
    ['a long name of a bin']
    """
    shapes = [SHAPES.get(letter, SHAPES["?"]) for letter in text.upper()]
    if sum(len(shape[0]) + BETWEEN for shape in shapes) > columns:
        return [text]
    gap = "." * BETWEEN
    rows = (gap.join(shape[row] for shape in shapes) for row in range(ROWS))
    return [f" {row.replace('.', ' ').replace('#', ink)}".rstrip() for row in rows]
