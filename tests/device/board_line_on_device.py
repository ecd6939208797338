"""The serial line's driver on MicroPython, one check at a time; run by test_board.py."""

import wired
from line import BURST, Line
from wired import Port


def check_the_line_never_waits_and_loses_nothing():
    port = Port()
    line = Line(port, port)
    data = bytes(range(256)) * 4
    at = 0
    for turn in range(200):
        at += line.write(data, at, len(data))
        if turn % 40 == 39:
            port.host_reads()
    port.host_reads()
    assert (at, bytes(port.sent), port.waited_ms) == (len(data), data, 0)


def check_an_unread_port_takes_what_it_has_room_for():
    port = Port()
    line = Line(port, port)
    data = bytes(1024)
    total = sum([line.write(data, 0, len(data)) for _ in range(100)])
    assert (total, port.waited_ms) == (Port.ROOM, 0)
    assert line.write(data, 0, 10) == 0


def check_one_turn_of_the_loop_writes_little():
    port = Port()
    assert Line(port, port).write(bytes(1024), 0, 1024) == BURST


def check_a_closed_or_suspended_port_swallows_and_goes_on():
    port = Port()
    line = Line(port, port)
    port.connected = False
    assert line.write(bytes(20), 0, 20) == 20
    port.connected = True
    assert line.write(b"hello", 0, 5) == 5
    port.host_reads()
    assert (bytes(port.sent), port.waited_ms) == (b"hello", 0)


def check_reading_takes_what_is_there_with_every_byte_value():
    port = Port()
    line = Line(port, port)
    buffer = bytearray(100)
    assert line.read_into(buffer) == 0
    port.incoming += bytes(range(256))
    found = bytearray()
    for _ in range(4):
        size = line.read_into(buffer)
        found += buffer[:size]
    assert (bytes(found), port.waited_ms) == (bytes(range(256)), 0)


if __name__ == "__main__":
    wired.run(globals())
