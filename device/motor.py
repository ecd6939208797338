"""One stepper motor: pairs of period and steps, played and counted without the interpreter.

A state machine runs `pulses.steps`. A DMA channel feeds it with the pairs of a piece. When the piece is read, a second
channel takes the next entry of a short list in memory, which is the ramp that brakes from the piece, and starts the
first channel on it. A third channel receives a word at each step, so that its count is the count of steps.

To go on, the interpreter writes the next piece, its ramp and its list to the other half of the memory, then lets the
second channel read that list: a single word is written, so that no channel ever meets half a change. If the
interpreter does not come, the ramp is played and the motor stands.

    motor = Motor(rp2.StateMachine(0, ...), 0, Pin(3, Pin.OUT), 1, rp2.DMA(), rp2.DMA(), rp2.DMA())
    motor.play(1, array("i", [1000, 25]), 1, array("i", [2000, 5]), 1)
    while motor.moving():
        print(motor.position())
"""

from array import array

from micropython import const

from pulses import STEP_CYCLES
from stepper import LEVELS, PAIRS, near

PULL = const(0x8080)  # the instruction pull(noblock), the step pin low
QUEUE = const(4)  # words
RECEIVE = const(4)  # DMA requests of the four receive queues of a PIO block come after those of the transmit queues
COUNT_MAX = const(1 << 27)  # steps counted from a start, at most; on the RP2350 the bits from 28 on are a mode
RELOAD = const(14)  # registers of a channel: its transfer count, then the read address whose writing starts it
RING = const(3)  # 2^3 bytes: those two registers, again and again
LIST = const(6)  # words: size and address of the piece, of the ramp, and zeros, which start nothing
ENTRY = const(8)  # bytes of the list
GUARD_US = const(1000)  # longer than the interrupts that may delay the interpreter between a look and the writing


class Motor:
    """Motor that plays the pairs given to `play`; `position` is in steps since the start.

    `machine` is the state machine, its DMA request `request`; `towards` is the direction pin, which is `forward` for
    rising positions. `channels` are the DMA channels that read pairs, read the list and count.
    """

    def __init__(self, machine, request: int, towards, forward: int, *channels) -> None:
        self._machine = machine
        self._towards = towards
        self._forward = forward
        self._data, self._lister, self._counter = data, lister, counter = channels
        self._start = data.registers[RELOAD : RELOAD + 2]
        self._data_ctrl = data.pack_ctrl(inc_write=False, treq_sel=request, chain_to=lister.channel)
        self._list_ctrl = lister.pack_ctrl(ring_size=RING, ring_sel=True)
        self._count_ctrl = counter.pack_ctrl(inc_read=False, inc_write=False, treq_sel=request + RECEIVE)
        self._off = data.pack_ctrl(enable=False)
        self._told = array("I", [0])
        self._used, self._spare = [self._half() for _ in range(2)]  # of the memory
        self._last = 0  # words of the piece that must be unread for it to be in time
        self._end = self._braking = 0  # steps from the start to the end of all that is queued; those of its ramp
        # Where counting began, and the direction: switched as one object, for an interrupt must not see half a change.
        self._still = self._base = array("i", [0, 0])
        self._going = array("i", [0, 0])
        machine.active(1)

    def position(self) -> int:
        """Return the counted steps; may be called at any moment and in an interrupt."""
        base = self._base
        return base[0] + base[1] * self._done() if base[1] else base[0]

    def moving(self) -> bool:
        """Return True if steps of what is queued are left."""
        return self._base[1] != 0 and self._done() != self._end

    def due(self) -> bool:
        """Return True if the next piece can be played now: the last one is being read, or the motor stands."""
        return not self.moving() or self._in_time()

    def play(self, direction: int, piece, pieces: int, ramp, ramps: int) -> bool:
        """Play pairs of period in us and steps in place of the ramp that waits, or from rest, then a new ramp.

        Return False and change nothing if it is too late for that or if the last piece waits itself.
        """
        moving = self.moving()
        if moving and (direction != self._base[1] or not self._in_time()):
            return False
        address = self._spare[1]
        steps = self._write(0, LIST, piece, pieces)
        braking = self._write(2, LIST + 2 * pieces, ramp, ramps)
        if not moving:
            self._begin(direction, address if pieces else address + ENTRY)
        elif self._in_time():
            self._lister.read = address
        else:
            return False
        self._end += steps + braking - self._braking
        self._braking = braking
        self._used, self._spare = self._spare, self._used
        self._last = self._last_moment(piece, pieces)
        return True

    def halt(self) -> None:
        """Stop at once; the position stays exact. A pulse is not cut short: what follows takes longer than 2 us."""
        machine = self._machine
        machine.active(0)
        self._stand()
        self._unchain()
        self._counter.active(0)
        for _ in range(QUEUE):
            machine.exec(PULL)
        machine.restart()  # its jump to the start drives the pin low
        machine.active(1)

    def _half(self) -> tuple:
        """Return room for a list and its pairs, with its address."""
        words = array("I", [0] * (LIST + 2 * (PAIRS + LEVELS)))
        self._data.read = words
        return words, self._data.read

    def _done(self) -> int:
        return COUNT_MAX - self._counter.count

    def _stand(self) -> None:
        self._still[0] = near(self.position())
        self._base = self._still

    def _begin(self, direction: int, address: int) -> None:
        """Start to count from 0, and to read a list."""
        self._stand()
        self._unchain()
        machine, counter, going = self._machine, self._counter, self._going
        self._towards.value(self._forward if direction > 0 else 1 - self._forward)
        counter.active(0)
        counter.config(read=machine, write=self._told, count=COUNT_MAX, ctrl=self._count_ctrl, trigger=True)
        going[0] = self._still[0]
        going[1] = direction
        self._base = going
        self._end = self._braking = 0
        self._data.config(write=self._machine, ctrl=self._data_ctrl)
        self._lister.config(read=address, write=self._start, count=2, ctrl=self._list_ctrl, trigger=True)

    def _unchain(self) -> None:
        # A channel that is stopped while it may be started by another must be disabled first (RP2350, erratum E5).
        self._data.ctrl = self._lister.ctrl = self._off
        self._data.active(0)
        self._lister.active(0)

    def _write(self, entry: int, at: int, pairs, number: int) -> int:
        """Write pairs as the state machine takes them, and their entry in the list; return their steps."""
        words, address = self._spare
        words[entry] = 2 * number
        words[entry + 1] = address + 4 * at if number else 0
        total = 0
        for i in range(0, 2 * number, 2):
            steps = pairs[i + 1]
            total += steps
            words[at + i] = steps - 1
            words[at + i + 1] = pairs[i] - STEP_CYCLES
        return total

    def _last_moment(self, piece, pieces: int) -> int:
        """Return how many words of a piece must be unread for the next one to come in time.

        The queue holds two pairs, so all is read when the third from the end begins; the pairs before it, down to
        `pair`, must last long enough.
        """
        pair, us = pieces - 3, 0
        while us < GUARD_US:
            pair -= 1
            if pair < 0:
                return 2 * pieces + 1  # never: too short a piece
            us += piece[2 * pair] * piece[2 * pair + 1]
        return 2 * (pieces - 2 - pair)

    def _in_time(self) -> bool:
        """Return True while the last piece is read and its ramp can still be replaced."""
        return self._lister.read == self._used[1] + ENTRY and self._data.count >= self._last
