"""Runs before main.py. An error here is what keeps MicroPython from starting main.py, and leaves its prompt instead:
the way in when main.py is bad, or when files are to be exchanged by hand.
"""

from board import service_wanted

if service_wanted():
    raise RuntimeError("the service pin is at ground, so main.py is not started; take the jumper off and reset")
