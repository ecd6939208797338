"""The HX711 converter, clocked by a state machine that runs `pulses.words`.

The pulses after the 24 bits choose the gain of the next word (25: 128, 26: 32 on the other input, 27: 64) and must
read 1, otherwise clock and converter are out of step. Times are from the maker's data sheet.

    cell = Hx711(rp2.StateMachine(2, program, freq=1000000, in_base=data, set_base=clock), 25, latch, time)
    sample = array("i", [0] * 5)
    if cell.start():
        while not cell.take(sample): pass
"""

from latch import settle
from micropython import const

_BITS = const(24)
_SETTLING = const(4)  # words after power-up, or after a change of gain
_START_MS = const(800)  # the first word takes 400 ms at 10 samples a second; the shortest watchdog is 1000


class Hx711:
    """Converter that hands each word to the latch in the interrupt; `pulses` is 25, 26 or 27."""

    def __init__(self, machine, pulses: int, latch, clock) -> None:
        self._machine, self._pulses, self._latch, self._clock = machine, pulses, latch, clock
        self._ones = (1 << (pulses - _BITS)) - 1
        self.take = latch.take  # the oldest sample into sample[0:5]; False when there is none
        machine.irq(self._arrived, hard=True)

    def start(self) -> bool:
        """Switch it off and on, which gives a known state, and let it settle; return True if it gives words."""
        machine = self._machine
        machine.active(0)
        machine.exec("set(pins, 1)")
        self._clock.sleep_us(100)  # a clock that is high for more than 60 us switches the converter off
        machine.exec("set(pins, 0)")
        machine.restart()
        machine.put(self._pulses - 1)
        machine.active(1)
        return settle(self.take, self._clock, _SETTLING, _START_MS)

    def _arrived(self, machine) -> None:
        while machine.rx_fifo():
            word = machine.get()
            self._latch.put(word >> (self._pulses - _BITS) & 0xFFFFFF, word & self._ones == self._ones)
