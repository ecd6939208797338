"""One stepper motor: pairs of period and steps, played and counted without the interpreter.

A state machine runs `pulses.steps`. One DMA channel feeds it, so that no pause of the interpreter makes a motor
stutter; another receives a word at each step, so that the count of that channel is the count of steps.
"""

from array import array

from pulses import STEP_CYCLES
from stepper import near

PAIRS_MAX = 64
PULL = 0x8080  # the instruction pull(noblock), the step pin low
QUEUE = 4  # words
RECEIVE = 4  # DMA requests of the four receive queues of a PIO block come after those of the transmit queues


class Motor:
    """Motor that plays the pairs given to `feed`; `position` is in steps since the start.

    `machine` is the state machine, its DMA request `request`; `towards` is the direction pin, which is `forward` for
    rising positions.
    """

    def __init__(self, machine, request: int, towards, forward: int, feeder, counter) -> None:
        self._machine = machine
        self._towards = towards
        self._forward = forward
        self._feeder = feeder
        self._counter = counter
        self._feed_ctrl = feeder.pack_ctrl(inc_write=False, treq_sel=request)
        self._count_ctrl = counter.pack_ctrl(inc_read=False, inc_write=False, treq_sel=request + RECEIVE)
        self._words = array("I", [0] * (2 * PAIRS_MAX))
        self._told = array("I", [0])
        # Where the move began, its direction, its steps: one object, so that an interrupt never sees half a change.
        self._move = (0, 0, 0)
        machine.active(1)

    def position(self) -> int:
        """Return the counted steps; may be called at any moment and in an interrupt."""
        begun, direction, steps = self._move
        return begun + direction * (steps - self._counter.count) if direction else begun

    def moving(self) -> bool:
        """Return True if steps of the move are left."""
        return self._move[1] != 0 and self._counter.count != 0

    def feed(self, direction: int, segments, pairs: int) -> None:
        """Begin to play the pairs of period in us and number of steps. From rest only: `halt` first."""
        total = 0
        for i in range(0, 2 * pairs, 2):
            steps = segments[i + 1]
            total += steps
            self._words[i] = steps - 1
            self._words[i + 1] = segments[i] - STEP_CYCLES
        begun = near(self.position())
        self._move = (begun, 0, 0)
        self._towards.value(self._forward if direction > 0 else 1 - self._forward)
        machine = self._machine
        self._counter.config(read=machine, write=self._told, count=total, ctrl=self._count_ctrl, trigger=True)
        self._move = (begun, direction, total)
        self._feeder.config(read=self._words, write=machine, count=2 * pairs, ctrl=self._feed_ctrl, trigger=True)

    def halt(self) -> None:
        """Stop at once; the position stays exact. A pulse is not cut short: what follows takes longer than 2 us."""
        machine = self._machine
        machine.active(0)
        self._move = (self.position(), 0, 0)
        self._feeder.active(0)
        self._counter.active(0)
        for _ in range(QUEUE):
            machine.exec(PULL)
        machine.restart()  # its jump to the start drives the pin low
        machine.active(1)
