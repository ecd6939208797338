"""`midspan ports`: the serial ports of this machine."""

import json
from dataclasses import asdict, astuple

from midspan.cli.options import AsJson


def ports(as_json: AsJson = False) -> None:
    """List the ports a gauge may be on."""
    from midspan.link import serial_port

    found = serial_port.ports()
    if as_json:
        print(json.dumps([asdict(port) for port in found]))
    elif not found:
        print("no serial ports found; plug the gauge in, or use --port rehearsal for a simulated one")
    else:
        from midspan.report import result_text

        result_text.console().print(result_text.ports_table([astuple(port) for port in found]))
