"""Samples on their way from the interrupt that sees them to the loop that takes them."""

from array import array

ROOM = 16  # samples: 200 ms at 80 a second
FIELDS = 5  # tick, word, in step, rotate, press


class Latch:
    """Notes, with each word, the moment and where both axes are then: a pause of the loop does not blur it.

    `clock` gives `ticks_us`, the motors `position`.
    """

    def __init__(self, clock, rotate, press) -> None:
        self._clock = clock
        self._rotate = rotate
        self._press = press
        self._samples = array("i", [0] * (FIELDS * ROOM))
        self._put = self._taken = 0  # modulo twice the room; each is written on one side of the interrupt only

    def put(self, word: int, in_step: int) -> None:
        """Note a word; called in the interrupt, allocates nothing. One that finds no room is lost: a gap shows it."""
        if self.waiting() == ROOM:
            return
        samples, at = self._samples, self._put % ROOM * FIELDS
        samples[at] = self._clock.ticks_us()
        samples[at + 1] = word
        samples[at + 2] = in_step
        samples[at + 3] = self._rotate.position()
        samples[at + 4] = self._press.position()
        self._put = (self._put + 1) % (2 * ROOM)

    def waiting(self) -> int:
        """Samples not taken yet."""
        return (self._put - self._taken) % (2 * ROOM)

    def take(self, sample) -> bool:
        """Put the oldest sample into sample[0:5]; False when there is none."""
        if self._put == self._taken:
            return False
        at = self._taken % ROOM * FIELDS
        for i in range(FIELDS):
            sample[i] = self._samples[at + i]
        self._taken = (self._taken + 1) % (2 * ROOM)
        return True


def settle(take, clock, samples: int, wait_ms: int) -> bool:
    """Take and drop so many samples; whether they came, with waits of this sum between them."""
    spare = array("i", [0] * FIELDS)
    while samples and wait_ms:
        if take(spare):
            samples -= 1
        else:
            clock.sleep_ms(1)
            wait_ms -= 1
    return samples == 0
