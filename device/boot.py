"""Decide before main.py if it starts. An error here keeps MicroPython from starting it and leaves the prompt instead:
the way in if main.py is bad, or to exchange files by hand.
"""

import micropython

# A host that finds the port again after a reset greets at once, and its frames hold 0x03: that is Ctrl-C while the code
# loads, and main.py would not be started. At the prompt it is Ctrl-C again.
micropython.kbd_intr(-1)
from board import service_wanted  # noqa: E402  all of the code is loaded here

if service_wanted():
    raise RuntimeError("the service pin is at ground, so main.py is not started; take the jumper off and reset")
