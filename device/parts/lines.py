"""Lines other than the USB port of the prompt: a UART, or a second USB port, whose package has to be on the board.

line = other_line({"line": "uart", "uart": {"tx": 0, "rx": 1, "baud": 115200}})
"""

from line import Line
from machine import UART, Pin


def other_line(given: dict) -> Line:
    """Return the line that the settings name."""
    if given["line"] == "uart":
        uart = given["uart"]
        number = (uart["tx"] + 4) // 8 % 2  # which of the chip's two serves this pin (data sheet, pin functions)
        stream = UART(number, uart["baud"], tx=Pin(uart["tx"]), rx=Pin(uart["rx"]), rxbuf=512, timeout=0)
    else:
        import usb.device
        from usb.device.cdc import CDCInterface

        stream = CDCInterface(timeout=0)
        usb.device.get().init(stream, builtin_driver=True)
    return Line(stream, stream)
