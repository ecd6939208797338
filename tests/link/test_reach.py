"""Finding a gauge again by its name, on ports that come and go."""

from types import SimpleNamespace

import pytest
from midspan.base.errors import LinkError
from midspan.link import reconnect
from midspan.link.serial_port import PortInfo


class Ports:
    """Ports of a pretended machine: which gauge is behind which."""

    def __init__(self, **gauges):
        self.gauges, self.opened, self.closed = gauges, [], []

    def link(self, port):
        if port not in self.gauges:
            raise LinkError(f"{port}: there is no such port")
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
    ports = Ports(one="attic", two="cellar")
    monkeypatch.setattr(reconnect, "open_line", ports.link)
    monkeypatch.setattr(reconnect, "Gauge", ports.gauge)
    return ports


def test_it_is_found_where_it_was_and_the_port_is_closed_afterwards(ports):
    way = reconnect.Reconnector("attic", "one", lambda port: ["two"])
    with way.opened() as gauge:
        assert gauge.port == "one"
        assert ports.closed == []
    assert (ports.opened, ports.closed) == (["one"], ["one"])


def test_it_is_found_under_another_name_and_looked_for_there_first_from_then_on(ports):
    way = reconnect.Reconnector("attic", "gone", lambda port: ["two", "one"])
    with way.opened() as gauge:
        assert gauge.port == "one"
    assert (way.port, ports.opened, ports.closed) == ("one", ["two", "one"], ["two", "one"])


def test_another_gauge_is_left_alone(ports):
    way = reconnect.Reconnector("attic", "two", lambda port: [])
    with pytest.raises(LinkError, match="two: the gauge there is 'cellar', not 'attic'"), way.opened():
        pass
    assert ports.closed == ["two"]


def test_one_that_is_nowhere_is_told_by_its_own_port(ports):
    way = reconnect.Reconnector("garage", "gone", lambda port: ["one", "two"])
    with pytest.raises(LinkError, match="gone: there is no such port"), way.opened():
        pass


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
