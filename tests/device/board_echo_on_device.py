"""Echo what comes over the board's own line on standard input and output, until eight zero bytes in a row."""

import board

line = board._line({"line": "usb"})
buffer, zeros, start, end = bytearray(64), 0, 0, 0
while zeros < 8 or start < end:
    if start == end and zeros < 8:
        start, end = 0, line.read_into(buffer)
        for i in range(end):
            zeros = 0 if buffer[i] else zeros + 1
    start += line.write(buffer, start, end)
