"""The two programs that the chip's programmable input and output runs by itself, one instruction a microsecond.

They are plain functions: `rp2.asm_pio` calls them with its own names defined, so nothing here is imported. A test in
tests/device/test_board_pulses.py compares what they do to the pins with the data sheets, cycle by cycle.
"""

STEP_CYCLES = 5  # of one step, beside the count in its low part


def steps():
    """Play pairs of words: steps less one, then the count of each step's low part.

    One instruction raises the pin and reports the step to the counter: a state machine that is stopped at any cycle
    has done both or neither. The pin is high for 2 us, enough for all common drivers.
    """
    wrap_target()
    pull().side(0)
    mov(y, osr).side(0)
    pull().side(0)
    label("step")
    mov(x, osr).side(0)
    label("low")
    jmp(x_dec, "low").side(0)
    push().side(1)[1]
    jmp(y_dec, "step").side(0)
    wrap()


def words():
    """Read a converter whose data pin falls when a word is ready and which is clocked for each bit.

    Its first word is the number of clock pulses of a reading, less one. The clock is high for 3 us and low for 2: a
    pause of the interpreter cannot stretch it to the 60 us that switch the converter off. The rest afterwards keeps a
    data pin that is stuck low from flooding the interpreter.
    """
    pull()
    wrap_target()
    mov(x, osr)
    wait(0, pin, 0)
    label("bit")
    set(pins, 1)[1]
    in_(pins, 1)
    set(pins, 0)
    jmp(x_dec, "bit")
    push(noblock)
    irq(rel(0))
    set(y, 31)
    label("rest")
    jmp(y_dec, "rest")[31]  # 32 times 32 us, a twelfth of the fastest converter's interval
    wrap()
