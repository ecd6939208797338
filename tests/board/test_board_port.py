"""A port named by USB id or serial number is found again under whatever name the system gives it."""

import os
from unittest import mock

import pytest
from commands_rig import complaint, midspan
from midspan.base.errors import LinkError
from midspan.link.serial_port import PortInfo, SerialLink, find_port
from rig import bare_line

BENCH = PortInfo("/dev/ttyACM0", "2e8a:0005", "e6614c775b3f2a21", "Board in FS mode")
OTHER = PortInfo("/dev/ttyACM1", "2e8a:0005", "e6614c775b990000", "Board in FS mode")
PLAIN = PortInfo("/dev/ttyS0", "", "", "")


def test_a_plain_name_is_taken_as_it_is_whether_it_is_there_or_not():
    assert find_port("COM7", lambda: []) == "COM7"
    assert find_port("/dev/ttyACM0", lambda: [OTHER]) == "/dev/ttyACM0"


@pytest.mark.parametrize("name", ["usb:e6614c775b3", "usb:E6614C775B3F2A21", "usb:2e8a:0005:e6614c775b3"])
def test_a_serial_number_finds_its_board_among_others(name):
    assert find_port(name, lambda: [PLAIN, OTHER, BENCH]) == "/dev/ttyACM0"


def test_a_usb_id_does_when_only_one_board_has_it():
    assert find_port("usb:2e8a:0005", lambda: [PLAIN, BENCH]) == "/dev/ttyACM0"


@pytest.mark.parametrize(
    ("name", "code", "fitting"),
    [
        ("usb:2e8a:0005", "ambiguous_port", {BENCH.port, OTHER.port}),
        ("usb:e6614c775b", "ambiguous_port", {BENCH.port, OTHER.port}),
        ("usb:ffff", "no_such_port", set()),
        ("usb:", "ambiguous_port", {PLAIN.port, BENCH.port, OTHER.port}),
    ],
)
def test_a_name_that_fits_several_ports_or_none_is_refused(name, code, fitting):
    with pytest.raises(LinkError, match=f"{name}: ") as caught:
        find_port(name, lambda: [PLAIN, BENCH, OTHER])
    assert caught.value.code == code
    assert {port.port for port in (PLAIN, BENCH, OTHER) if port.port in str(caught.value)} == fitting


class Listed:
    """A port as the operating system lists it."""

    def __init__(self, device):
        self.device, self.vid, self.pid = device, 0x2E8A, 0x0005
        self.serial_number, self.description = "e6614c775b3f2a21", "Board in FS mode"


def test_a_board_that_comes_back_under_another_name_is_opened_again():
    with bare_line() as (far_before, before), bare_line() as (far_after, after):
        for device, far in ((before, far_before), (after, far_after)):
            with (
                mock.patch("serial.tools.list_ports.comports", return_value=[Listed(device)]),
                SerialLink("usb:e6614c77") as link,
            ):
                os.write(far, b"here")
                assert link.read().startswith(b"h")
                assert link.name == "usb:e6614c77"  # messages call it as the person does


def test_every_command_that_takes_a_port_takes_such_a_name():
    with mock.patch("serial.tools.list_ports.comports", return_value=[]):
        for command in (("board", "install"), ("board", "config"), ("board", "check", "--yes")):
            assert "usb:e66" in complaint(midspan(*command, "--port", "usb:e66"))
