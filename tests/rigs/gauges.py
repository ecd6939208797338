"""What a gauge says of itself: a plain one with the limits of its board, and one with a feeder at rest."""

from dataclasses import fields, replace

from midspan.wire import schema
from midspan.wire.records import FeederReport, Identify, State

LIMITS = {
    "interval_us": 12_500,
    "count_min": -(2**23),
    "count_max": 2**23 - 1,
    "count_limit": 1_700_000,
    "press_limit_steps": 20_000,
    "press_speed_most": 20_000,
    "down_speed_most": 10_000,
    "press_acceleration": 200_000,
    "rotate_speed_most": 4_000,
    "rotate_acceleration": 24_000,
    "readings_most": 4_000,
    **dict.fromkeys(("held_shaft", "fault", "temperature_centi", "free_bytes", "feeder", "shaft_centi")),
}


def identify(**changes) -> Identify:
    """Return an answer of a gauge with some values changed; what a plan does not look at is 0."""
    return Identify(**dict.fromkeys(Identify.__slots__, 0) | LIMITS | changes)


FEEDER = FeederReport(in_gauge=None, seated=False, hopper=True, slot=True, places=6, last_release=None)
OF_FEEDER = frozenset(field.name for field in fields(FeederReport))
FED = Identify(
    2, 1, schema.fingerprint(), "paper", "1", "pretended", 1, State.IDLE, None, 0, 0, 12500, -(2**23), 2**23 - 1,
    1_500_000, 90_000, 12_000, 6_400, 40_000, 2_000, 8_000, 3000, 2_400, 3, None, 2100, 40_000, 900, FEEDER,
    False, None,
)  # fmt: skip


def changed(found: Identify, **changes) -> Identify:
    """Return an answer with some values changed, those of its feeder by their own names."""
    of_feeder = {name: changes.pop(name) for name in OF_FEEDER & set(changes)}
    if of_feeder:
        changes["feeder"] = replace(found.feeder, **of_feeder)
    return replace(found, **changes)
