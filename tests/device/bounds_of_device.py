"""Run the device code at its extremes with every arithmetic step watched; print what left the chip's small integers.

    python tests/device/bounds_of_device.py

A small integer of the chip has 31 bits: -2^30 to 2^30 - 1. A larger one is made on the heap, slowly. Each binary and
unary operation of device/*.py is compiled with a check of its result, intermediate results included. Prints JSON:
how many places were reached, which were not, and for each that left the range its largest value.
"""

import ast
import gc
import importlib.util
import json
import operator
import random
import sys
import tempfile
import types
from pathlib import Path

HERE = Path(__file__).resolve().parent
DEVICE = HERE.parents[1] / "device"
SMALL = 1 << 30
OPERATIONS = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.FloorDiv: operator.floordiv,
    ast.Mod: operator.mod, ast.LShift: operator.lshift, ast.RShift: operator.rshift, ast.BitAnd: operator.and_,
    ast.BitOr: operator.or_, ast.BitXor: operator.xor,
}  # fmt: skip
places: set[str] = set()
reached: set[str] = set()
left: dict[str, int] = {}


def watched(value, place):
    """Pass a result on; note its place, and the value if it is not a small integer."""
    reached.add(place)
    if isinstance(value, int) and not -SMALL <= value < SMALL:
        left[place] = max(left.get(place, 0), abs(value))
    return value


class Watch(ast.NodeTransformer):
    """Transformer that puts `watched` around each arithmetic operation of a module."""

    def __init__(self, name):
        self.name = name

    def _around(self, node, result):
        place = f"{self.name}:{node.lineno}: {ast.unparse(node)}"
        places.add(place)
        call = ast.Call(ast.Name("_watched", ast.Load()), [result, ast.Constant(place)], [])
        return ast.copy_location(call, node)

    def visit_BinOp(self, node):
        made = ast.BinOp(self.visit(node.left), node.op, self.visit(node.right))
        return self._around(node, ast.copy_location(made, node)) if type(node.op) in OPERATIONS else made

    def visit_AnnAssign(self, node):
        if node.value is not None:
            node.value = self.visit(node.value)
        return node

    def visit_UnaryOp(self, node):
        made = ast.copy_location(ast.UnaryOp(node.op, self.visit(node.operand)), node)
        return self._around(node, made) if isinstance(node.op, ast.USub | ast.Invert) else made

    def visit_AugAssign(self, node):
        source = ast.parse(ast.unparse(node.target), mode="eval").body
        plain = ast.BinOp(source, node.op, node.value)
        ast.copy_location(plain, node)
        ast.fix_missing_locations(plain)
        return ast.copy_location(ast.Assign([self.visit(node.target)], self.visit_BinOp(plain)), node)


class Finder:
    """Importer of watched device modules; `board` is the rehearsal's until `pins` are wanted."""

    pins = False

    def find_spec(self, name, _path=None, _target=None):
        file = DEVICE / (name.replace(".", "/") + ".py")
        if name == "board" and not self.pins:
            return None
        return importlib.util.spec_from_loader(name, self, origin=str(file)) if file.exists() else None

    def create_module(self, _spec):
        return None

    def exec_module(self, module):
        tree = Watch(module.__name__).visit(ast.parse(Path(module.__spec__.origin).read_text(encoding="utf-8")))
        module.__dict__["_watched"] = watched
        code = compile(ast.fix_missing_locations(tree), module.__spec__.origin, "exec")
        exec(code, module.__dict__)


LAST = (1 << 30) - 1  # the largest number of a shaft


def cycles():
    """Run programs on the rehearsal's gauge, over the clock's wrap and at both ends of the counts."""
    from device_rig import Rig, bench_step, load_cell, standard_steps, step

    late = load_cell.LoadCell(12500, 0)
    late.take(12500, 1, 1)
    late.take(50000, 2, 1)
    long_zero = {"zero_readings": 800, "turn_steps": 1, "settle_readings": 100}
    for zero, wrap, changes in (
        (-8_000_000, (1 << 30) - 5_000_000, {}), (6_400_000, 0, {"turn_steps": 4000}), (0, 0, {"zero_readings": 2}),
        (0, LAST, long_zero),
    ):  # fmt: skip
        truths = {"zero_count": zero, "spike_chance": 0.02, "drop_chance": 0.005, "index_mark": True}
        rig = Rig({"gauge": truths, "shafts": [{"number": LAST}]}, wrap)
        rig.ready()
        rig.measure(LAST, **changes)
        rig.acknowledge(LAST)
        rig.bench(2, readings=300, zero=True)
        rig.ask("Resend", shaft=2, blocks=[0])
        rig.send("Acknowledge", shaft=(1 << 62) - 1)
        rig.run(0.2)
        rig.acknowledge(2)
        rig.link.taken = 7
        rig.bench(3, press_steps=2000, rotate_steps=-(1 << 10))
        rig.link.taken = 1 << 20
        rig.link.to_device += bytes(range(1, 255)) * 5 + bytes(9)
        rig.acknowledge(3)
        rig.begin([bench_step(readings=1000)], 4, True)
        rig.keep_alive = False
        rig.run(8)
    rig = Rig({"shafts": [{"number": 1, "fault": "stiff_jam"}]})
    rig.ready()
    rig.measure(until="FAULTED")
    rig = Rig({"shafts": [{"number": 1}]})
    rig.ready()
    slow = rig.board.PRESS_LIMIT // 300 + 1
    rig.begin([bench_step(zero=True), step(255, press_steps=rig.board.PRESS_LIMIT, press_speed=slow)] + 30 * [step(0)])
    rig.run(2)
    rig.board.READINGS = 1 << 17
    rig.device.gauge.run._elapsed_us = LAST - 12_500  # as in a step that takes too long
    rig.run(5)
    rig.acknowledge()
    reads = step("BENCH", readings=23_900, settle_readings=100)
    turns = step("LIGHT", rotate_steps=-(1 << 20), rotate_speed=4000)
    assert rig.ask("Program", shaft=2, stand=False, steps=[reads, *standard_steps(), turns])["refusal"] is None


def homes():
    """Run with broken home switches, a hard thing under the head at power-on, and a cell with the wrong sign."""
    from device_rig import Rig, standard_steps

    for broken in ("open", "closed"):
        rig = Rig({"shafts": [{"number": 1}]})
        rig.ready()
        rig.begin(standard_steps())
        rig.run(5)
        rig.board.home_broken = broken
        rig.run_to("FAULTED")
        rig.order("CLEAR_FAULT")
        rig.run(8)
    on_a_bar = {"start_mm": 8.0, "home_switch_broken": "closed", "zero_count": -8_000_000}
    rig = Rig({"gauge": on_a_bar, "bench": [{"number": -1, "kind": "rigid"}]})
    rig.run_to("FAULTED")
    rig = Rig({"gauge": {"count_per_n": -100_000}, "shafts": [{"number": 1}]})
    rig.ready()
    rig.measure(until="FAULTED")
    rig = Rig({"gauge": {"start_mm": -0.5}})
    spikes, words = [900_000], rig.board.mechanics.sample

    def spiked_first():
        word, in_step = words()
        return word + (spikes.pop() if spikes else 0), in_step

    rig.board.mechanics.sample = spiked_first
    rig.run_to("IDLE")


def nights():
    """Send shafts through feeder and chute, some of them faulty, and open the lid."""
    from device_rig import Rig, standard_steps

    stock = [{"number": number} for number in (1, 2, 3, 4, 5, 6)]
    keys = {"slot": 6, "return_place": 6, "two_at_once": [1], "short": [3], "jam_out": [[4, 9]], "lid": [[60, 61]]}
    rig = Rig({"shafts": stock, "feeder": keys})
    rig.ready()
    for number in range((1 << 30) - 6, 1 << 30):
        if rig.ask("Feed", shaft=number, source="HOPPER")["refusal"] is None:
            rig.run(4)
        rig.send("Program", shaft=number, stand=False, steps=standard_steps())
        rig.run(20)
        rig.ask("Acknowledge", shaft=number)
        rig.ask("Release", shaft=number, place=1)
        rig.run(12)
        rig.order("CLEAR_FAULT")
        rig.run(5)
    assert rig.device.gauge.parts[0].last is not None
    rig = Rig({"shafts": [{"number": 1}], "feeder": {"lid": [[9, 9]]}})
    rig.ready()
    rig.measure(until="FAULTED")


def refusals():
    """Send programs with every field at the ends of what Avro can carry."""
    from device_rig import Rig, step

    rig = Rig()
    rig.ready()
    plain = step("BENCH", press_steps=0)
    for value in (-(1 << 31), (1 << 31) - 1):
        for field in plain:
            if field not in ("unreached", "zero"):
                steps = [plain, plain | {field: value}]
                assert rig.ask("Program", shaft=1, stand=False, steps=steps)["refusal"] is not None, field
        assert rig.ask("Program", shaft=value, stand=False, steps=[plain])["refusal"] is not None


def moves():
    """Move and stop at the ends of speed, acceleration and distance, on the board's own motor driver."""
    import machine
    import rp2
    from chip import chip
    from motor import Motor
    from pulses import steps
    from stepper import SPEED_MAX, Stepper

    def axis():
        chip.reset()
        chip.slice_us = 10000
        machine_of_steps = rp2.StateMachine(0, rp2.asm_pio(sideset_init=2)(steps), 1000000, sideset_base=1)
        return Motor(machine_of_steps, 0, machine.Pin(1, machine.Pin.OUT), 1, rp2.DMA(), rp2.DMA(), rp2.DMA())

    draw = random.Random(1)
    for acceleration in (1, 4000, 200000, 8000000):
        for _ in range(40):
            motor = Stepper(axis(), acceleration)
            speed = draw.choice([1, 2, 400, 12000, SPEED_MAX])
            motor.move(draw.choice([-1, 1]) * draw.choice([1, 100, 20000, 1 << 20, 1 << 22]), speed)
            for _ in range(100):
                chip.pass_us(draw.choice([1000, 10000, 100000]))
                motor.poll()
            motor.stop()
            chip.pass_us(2_000_000)
            motor.halt()
            motor.position()


def boards(folder):
    """Run the checks of the board's own modules, as far as CPython can."""
    gc.mem_free = lambda: 100_000
    sys.modules["micropython"] = types.SimpleNamespace(const=lambda value: value, kbd_intr=lambda _: None)
    for script in ("board_motor", "board_cell", "board_inputs", "board"):
        checks = importlib.import_module(f"{script}_on_device")
        for name in sorted(vars(checks)):
            own = any(words in name for words in ("for_the_line", "heap", "free_memory"))  # MicroPython's own
            if name.startswith("check_") and not own:
                checks.chip.reset()
                for file in folder.iterdir():
                    file.unlink()
                getattr(checks, name)()


def main():
    """Run everything and print what was seen."""
    sys.path[:0] = [str(HERE), str(HERE / "pio"), str(HERE.parent / "rigs")]
    finder = Finder()
    sys.meta_path.insert(0, finder)
    cycles()
    homes()
    nights()
    refusals()
    moves()
    with tempfile.TemporaryDirectory() as folder:
        sys.argv[1:] = ["", str(DEVICE), folder]
        sys.modules.pop("board")
        finder.pins = True
        boards(Path(folder))
    print(json.dumps({"reached": len(reached), "missed": sorted(places - reached), "left": left}))


if __name__ == "__main__":
    main()
