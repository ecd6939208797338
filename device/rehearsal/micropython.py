"""The interpreter's own module of this name, for the device code on CPython.

MicroPython never loads this file: there the name is that of a built-in module, which comes before any folder.
"""


def const(value):
    """Return the value; MicroPython's compiler puts it in place of the name.

    >>> const(64)
    64
    """
    return value
