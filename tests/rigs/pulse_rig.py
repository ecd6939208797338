"""Runs the board's PIO programs in pioemu, cycle by cycle, against models of the parts."""

import sys
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from device_rig import DEVICE
from pioemu import State, emulate
from places import ON_DEVICE

SHADOWS = ON_DEVICE / "pio"
if str(SHADOWS) not in sys.path:
    sys.path.append(str(SHADOWS))  # last: nothing here shadows another module

import assembler  # noqa: E402
import machine  # noqa: E402, F401
import motor  # noqa: E402, F401
import pulses  # noqa: E402
import rp2 as shadow  # noqa: E402, F401

sys.modules["time"] = time  # the shadows put the chip's clock there
assert Path(pulses.__file__).parent == DEVICE

NOP, IRQ_KIND = 0xA042, 6
STEP_PIN, DATA_PIN, CLOCK_PIN = 0, 0, 1
steps = assembler.Program(sideset_init=2).assemble(pulses.steps)
words = assembler.Program(set_init=2, in_shiftdir=0).assemble(pulses.words)


class Run:
    """One state machine at one cycle a microsecond; `state` is that before the next cycle.

    pioemu knows no interrupt flags: the instruction that sets one runs as a pause of a cycle, and `told_us` has when.
    """

    def __init__(self, program: Any, outputs: int, side_pin: int = 0, set_pin: int = 0) -> None:
        self._words = [NOP if word >> 13 == IRQ_KIND else word for word in program.words]
        self._irqs = {at for at, word in enumerate(program.words) if word >> 13 == IRQ_KIND}
        self._given = {
            "wrap_target": program.target, "wrap_top": program.top, "side_set_base": side_pin,
            "side_set_count": program.sideset, "set_base": set_pin, "set_count": 1, "shift_isr_right": False,
        }  # fmt: skip
        self.state = State(pin_directions=outputs)
        self.told_us: list[int] = []
        self.stall_us = 0

    def put(self, *values: int) -> None:
        """Into the transmit queue, which must have room."""
        queue = deque([*self.state.transmit_fifo, *values])
        assert len(queue) <= 4
        self.state = replace(self.state, transmit_fifo=queue)

    def get(self) -> list[int]:
        """Everything from the receive queue."""
        queue = list(self.state.receive_fifo)
        self.state = replace(self.state, receive_fifo=deque())
        return queue

    def restart(self) -> None:
        """Reset a stopped state machine as the driver does: queue empty, program at its start, pin low."""
        self.state = State(pin_directions=self.state.pin_directions, clock=self.state.clock,
                           receive_fifo=self.state.receive_fifo)  # fmt: skip

    def to(self, until_us: int, inputs: Callable[[State], int] | None = None) -> Iterator[tuple[State, State]]:
        """Run to this moment; yields the states before and after each instruction."""
        generator = emulate(self._words, stop_when=lambda _, state: state.clock >= until_us,
                            initial_state=self.state, input_source=inputs, **self._given)  # fmt: skip
        for before, after in generator:
            if before.program_counter in self._irqs and after.program_counter != before.program_counter:
                self.told_us.append(before.clock)
            self.state = after
            yield before, after


def edges(run: Run, pin: int, until_us: int, inputs: Callable[[State], int] | None = None) -> list[tuple[int, int]]:
    """(time, level) of each change of an output. An instruction's level is there from its own cycle on."""
    found = []
    for before, after in run.to(until_us, inputs):
        if (before.pin_values ^ after.pin_values) >> pin & 1:
            found.append((before.clock, after.pin_values >> pin & 1))
    return found


HIGH_US, LOW_US, OFF_US, FIRST_US = (0.2, 50), 0.2, 60, 0.1


STEP_US, DIRECTION_US = 1.9, 0.65


def stepper() -> Run:
    return Run(steps, outputs=1 << STEP_PIN, side_pin=STEP_PIN)


def played(pairs: list[tuple[int, int]], late_us: int = 0) -> tuple[Run, list[tuple[int, int]], int]:
    """The edges of these (steps, period) pairs, fed as the queue has room, or late; and how many steps were told."""
    run, found, told = stepper(), [], 0
    for count, period in pairs:
        if late_us:
            found += edges(run, STEP_PIN, run.state.clock + late_us)
        run.put(count - 1, period - 5)
        for _ in range(count):  # the teller is taken at once, as DMA does
            found += edges(run, STEP_PIN, run.state.clock + period)
            told += len(run.get())
    found += edges(run, STEP_PIN, run.state.clock + 100)
    return run, found, told + len(run.get())


def streamed(given: list[int], until_us: int) -> tuple[list[int], int]:
    """The times of the rising edges of words that DMA feeds as soon as there is room, and how many steps were told."""
    run, left, told = stepper(), deque(given), 0
    rises: list[int] = []
    while left and len(run.state.transmit_fifo) < 4:
        run.put(left.popleft())
    for before, after in run.to(until_us):
        if after.pin_values & ~before.pin_values >> STEP_PIN & 1:
            rises.append(before.clock)
        while left and len(after.transmit_fifo) < 4:
            after.transmit_fifo.append(left.popleft())
        told += len(after.receive_fifo)
        after.receive_fifo.clear()
    return rises, told


class Converter:
    """An HX711 that shifts out one word after the other: ready when `ready` says so, judging the clock it gets."""

    def __init__(self, given: list[int], ready: Callable[[int], bool] = lambda _: True, stuck: int | None = None):
        self.given, self.ready, self.stuck = list(given), ready, stuck
        self.clock = self.bits = self.number = 0
        self.highs: list[int] = []  # times in us
        self.lows: list[int] = []
        self.firsts: list[int] = []
        self.pulses: list[int] = []
        self._ready_us: int | None = None
        self._changed_us: int | None = None

    def __call__(self, state: State) -> int:
        clock = state.pin_values >> CLOCK_PIN & 1
        self.bits += 1 if clock > self.clock else 0
        self.clock = clock
        return self._data(state.clock) << DATA_PIN

    def watch(self, before: State, after: State) -> None:
        """Note how long the clock was as it was, from the cycle that set it on."""
        if (before.pin_values ^ after.pin_values) >> CLOCK_PIN & 1:
            if self.bits == 0 and self._ready_us is not None and self._changed_us is None:
                self.firsts.append(before.clock - self._ready_us)
            if self._changed_us is not None:
                (self.lows if after.pin_values >> CLOCK_PIN & 1 else self.highs).append(before.clock - self._changed_us)
            self._changed_us = before.clock

    def _data(self, now_us: int) -> int:
        if self.stuck is not None:
            return self.stuck
        if self.bits == 0:  # between words: low when the next one is ready
            ready = self.number < len(self.given) and self.ready(now_us)
            self._ready_us = (now_us if self._ready_us is None else self._ready_us) if ready else None
            return 0 if ready else 1
        if self.bits <= 24:
            return self.given[self.number] >> 24 - self.bits & 1
        return 1

    def finish_word(self) -> None:
        """The word was read; the pulses after its bits chose a gain."""
        self.pulses.append(self.bits)
        self.bits, self.number, self._changed_us, self._ready_us = 0, self.number + 1, None, None


def read(converter: Converter, pulses: int, until_us: int, take: bool = True) -> tuple[Run, list[int]]:
    """Words of the receive queue up to this moment, taken as they come or left there."""
    run, taken = Run(words, outputs=1 << CLOCK_PIN, set_pin=CLOCK_PIN), []
    run.put(pulses - 1)

    def inputs(state: State) -> int:
        return converter(state)

    told = 0
    for before, after in run.to(until_us, inputs):
        converter.watch(before, after)
        if len(run.told_us) > told:
            told += 1
            converter.finish_word()
            taken += list(run.state.receive_fifo) if take else []
            if take:
                # What the interrupt takes is gone from the queue; pioemu has it in a state that is replaced only here.
                run.state.receive_fifo.clear()
    return run, taken
