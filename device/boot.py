"""Runs before main.py. An error here is what keeps MicroPython from starting main.py, and leaves its prompt instead:
the way in when main.py is bad, or when files are to be exchanged by hand.
"""

import micropython

# A host that finds the port again after a reset greets at once, and its frames hold 0x03: that is Ctrl-C while the code
# loads, and main.py would not be started. At the prompt it is Ctrl-C again.
micropython.kbd_intr(-1)
from board import service_wanted  # noqa: E402  all of the code is loaded here

if service_wanted():
    raise RuntimeError("the service pin is at ground, so main.py is not started; take the jumper off and reset")
