"""Finding a gauge again by its name on ports that come and go."""

from types import SimpleNamespace

import pytest
from midspan.base.errors import LinkError
from midspan.link import reconnect
from midspan.link.serial_port import PortInfo


class Ports:
    """Ports of a pretended machine, each with the name of the gauge behind it."""

    def __init__(self, **gauges):
        self.gauges, self.opened, self.closed = gauges, [], []

    def link(self, port):
        if port not in self.gauges:
            raise LinkError(f"{port}: there is no such port", code="no_such_port")
        ports = self

        class Link:
            name = port

            def __enter__(self):
                ports.opened.append(port)
                return self

            def __exit__(self, *_):
                ports.closed.append(port)

        return Link()

    def gauge(self, link, clock, session):
        return SimpleNamespace(port=link.name, identify=lambda: SimpleNamespace(gauge=self.gauges[link.name]))


@pytest.fixture
def ports(monkeypatch):
    ports = Ports(first="attic", second="cellar")
    monkeypatch.setattr(reconnect, "open_line", ports.link)
    monkeypatch.setattr(reconnect, "Gauge", ports.gauge)
    return ports


def test_it_is_found_where_it_was_and_the_port_is_closed_afterwards(ports):
    way = reconnect.Reconnector("attic", "first", lambda port: ["second"])
    with way.opened() as gauge:
        assert gauge.port == "first"
        assert ports.closed == []
    assert (ports.opened, ports.closed) == (["first"], ["first"])


def test_it_is_found_under_another_name_and_looked_for_there_first_from_then_on(ports):
    way = reconnect.Reconnector("attic", "gone", lambda port: ["second", "first"])
    with way.opened() as gauge:
        assert gauge.port == "first"
    assert (way.port, ports.opened, ports.closed) == ("first", ["second", "first"], ["second", "first"])


def test_another_gauge_is_left_alone(ports):
    way = reconnect.Reconnector("attic", "second", lambda port: [])
    with pytest.raises(LinkError, match=r"second: .*'cellar'.*'attic'") as caught, way.opened():
        pass
    assert caught.value.code == "other_gauge"
    assert ports.closed == ["second"]


def test_a_gauge_that_is_nowhere_is_reported_with_the_port_it_was_on(ports):
    way = reconnect.Reconnector("garage", "gone", lambda port: ["first", "second"])
    with pytest.raises(LinkError, match="gone: ") as caught, way.opened():
        pass
    assert caught.value.code == "no_such_port"


def test_only_the_same_usb_device_is_looked_at(monkeypatch):
    seen = [PortInfo("a", "2e8a:0005", "77", ""), PortInfo("b", "2341:0001", "5", "")]
    monkeypatch.setattr(reconnect, "ports", lambda: seen)
    others = reconnect.alike()
    # The gauge comes back as c; its old name is taken by another instrument meanwhile.
    seen[:] = [
        PortInfo("a", "1a86:7523", "", ""),
        PortInfo("b", "2341:0001", "5", ""),
        PortInfo("c", "2e8a:0005", "77", ""),
    ]
    assert others("a") == ["c"]
    assert others("/dev/pts/4") == []
