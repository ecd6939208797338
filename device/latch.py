"""Queue of samples between the interrupt that sees them and the loop that takes them.

latch = Latch(time, rotate, press)
latch.put(word, 1)  # in the interrupt of the converter
sample = array("i", [0] * 5)
while latch.take(sample): print(sample)
"""

from array import array

from micropython import const

ROOM = const(16)  # samples: 200 ms at 80 a second
_FIELDS = const(5)  # tick, word, in step, rotate, press


class Latch:
    """Queue that notes the time and both positions with each word, so that a pause of the loop does not matter.

    `clock` gives `ticks_us`, the motors `position`.
    """

    def __init__(self, clock, rotate, press) -> None:
        self._clock, self._rotate, self._press = clock, rotate, press
        self._samples = array("i", [0] * (_FIELDS * ROOM))
        self._put = self._taken = 0  # modulo twice the room; each is written on one side of the interrupt only

    def put(self, word: int, in_step: int) -> None:
        """Note a word; called in the interrupt, it allocates nothing. Without room the word is lost: a gap shows it."""
        if self.waiting() == ROOM:
            return
        samples, at = self._samples, self._put % ROOM * _FIELDS
        samples[at] = self._clock.ticks_us()
        samples[at + 1] = word
        samples[at + 2] = in_step
        samples[at + 3] = self._rotate.position()
        samples[at + 4] = self._press.position()
        self._put = (self._put + 1) % (2 * ROOM)

    def waiting(self) -> int:
        """Return the number of samples not taken yet."""
        return (self._put - self._taken) % (2 * ROOM)

    def take(self, sample) -> bool:
        """Put the oldest sample into sample[0:5]; return False if there is none."""
        if self._put == self._taken:
            return False
        for i in range(_FIELDS):
            sample[i] = self._samples[self._taken % ROOM * _FIELDS + i]
        self._taken = (self._taken + 1) % (2 * ROOM)
        return True


def settle(take, clock, samples: int, wait_ms: int) -> bool:
    """Take and drop some samples; return False if they did not come in time."""
    spare = array("i", [0] * _FIELDS)
    while samples and wait_ms:
        samples -= take(spare)
        clock.sleep_ms(1)
        wait_ms -= 1
    return samples == 0
