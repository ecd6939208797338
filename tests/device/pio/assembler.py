"""Assembler of PIO programs in MicroPython's notation, from the instruction formats of the RP2040 data sheet.

Written for the tests and checked there against published programs; runs under both Pythons.
"""

SOURCES = {"pins": 0, "x": 1, "y": 2, "null": 3, "status": 5, "isr": 6, "osr": 7}
DESTINATIONS = {"pins": 0, "x": 1, "y": 2, "null": 3, "pindirs": 4, "pc": 5, "isr": 6, "exec": 7}
CONDITIONS = {"": 0, "not_x": 1, "x_dec": 2, "not_y": 3, "y_dec": 4, "x_not_y": 5, "pin": 6, "not_osre": 7}
NAMES = sorted(set(SOURCES) | set(DESTINATIONS) | set(CONDITIONS) | {"block", "noblock", "gpio"})


class Instruction:
    """Instruction while it is written: `.side(n)` and `[delay]` follow it."""

    def __init__(self, program, word, label):
        self.program, self.word, self.label, self.delay, self.sides = program, word, label, 0, None

    def side(self, value):
        self.sides = value
        return self

    def __getitem__(self, delay):
        self.delay = delay
        return self


class Program:
    """Program as words, with what a state machine has to know of it."""

    def __init__(self, sideset_init=None, set_init=None, in_shiftdir=0):
        self.sideset = 0 if sideset_init is None else 1
        self.set_init, self.in_left = set_init, in_shiftdir == 0
        self.written, self.labels, self.target, self.top = [], {}, 0, None

    def assemble(self, function):
        names = function.__globals__
        kept = dict(names)
        names.update({name: name for name in NAMES if name})
        for name in ("jmp", "wait", "in_", "out", "push", "pull", "mov", "irq", "set", "nop", "label", "wrap", "rel",
                     "wrap_target"):  # fmt: skip
            names[name] = getattr(self, name)
        function()
        names.clear()
        names.update(kept)
        self.words = [self._finished(instruction) for instruction in self.written]
        if self.top is None:
            self.top = len(self.words) - 1
        return self

    def _finished(self, instruction):
        assert self.sideset or instruction.sides is None
        assert not self.sideset or instruction.sides is not None, "side-set is not optional in these programs"
        assert instruction.delay < 1 << 5 - self.sideset
        word = instruction.word | (self.labels[instruction.label] if instruction.label else 0)
        return word | instruction.delay << 8 | ((instruction.sides or 0) << 13 - self.sideset if self.sideset else 0)

    def _add(self, word, label=None):
        instruction = Instruction(self, word, label)
        self.written.append(instruction)
        return instruction

    def label(self, name):
        self.labels[name] = len(self.written)

    def wrap_target(self):
        self.target = len(self.written)

    def wrap(self):
        self.top = len(self.written) - 1

    def rel(self, number):
        return number | 0x10

    def jmp(self, condition, label=None):
        if label is None:
            condition, label = "", condition
        return self._add(CONDITIONS[condition] << 5, label)

    def wait(self, polarity, source, index):
        return self._add(0x2000 | polarity << 7 | {"gpio": 0, "pin": 1, "irq": 2}[source] << 5 | index)

    def in_(self, source, bits):
        return self._add(0x4000 | SOURCES[source] << 5 | bits & 31)

    def out(self, destination, bits):
        return self._add(0x6000 | DESTINATIONS[destination] << 5 | bits & 31)

    def push(self, blocking="block"):
        return self._add(0x8000 | (0x20 if blocking == "block" else 0))

    def pull(self, blocking="block"):
        return self._add(0x8080 | (0x20 if blocking == "block" else 0))

    def mov(self, destination, source):
        kind = {"exec": 4, "isr": 6, "osr": 7}.get(destination, DESTINATIONS.get(destination, 0))
        return self._add(0xA000 | kind << 5 | SOURCES[source])

    def irq(self, number):
        return self._add(0xC000 | number)

    def set(self, destination, value):
        return self._add(0xE000 | DESTINATIONS[destination] << 5 | value)

    def nop(self):
        return self._add(0xA042)
