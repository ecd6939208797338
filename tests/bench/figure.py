"""One measured figure, with the aim it is held to."""

from dataclasses import asdict, dataclass


@dataclass
class Figure:
    """A value in a unit; `aim` in words, `met` None without an aim."""

    name: str
    value: float
    unit: str
    aim: str = ""
    met: bool | None = None

    @property
    def text(self):
        """Return value and unit for the table."""
        return f"{self.value:.4g} {self.unit}"

    def as_dict(self):
        """Return plain values for JSON."""
        return asdict(self)


def at_least(name, value, unit, aim):
    """Return a figure that should not fall below its aim."""
    return Figure(name, value, unit, f"at least {aim:g} {unit}", bool(value >= aim))


def at_most(name, value, unit, aim):
    """Return a figure that should not exceed its aim."""
    return Figure(name, value, unit, f"at most {aim:g} {unit}", bool(value <= aim))


def plainly(name, value, unit):
    """Return a figure without an aim."""
    return Figure(name, value, unit)
