"""Runs the board's PIO programs in pioemu, cycle by cycle, against models of the parts."""

from __future__ import annotations

import sys
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from device_rig import DEVICE
from pioemu import State, emulate

SHADOWS = Path(__file__).parent / "pio"
if str(SHADOWS) not in sys.path:
    sys.path.append(str(SHADOWS))  # last: nothing here shadows another module

import assembler  # noqa: E402
import pulses  # noqa: E402
import rp2 as shadow  # noqa: E402, F401

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
        """What the driver does to a state machine that stands: empty the queue, to the start, the pin low."""
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
