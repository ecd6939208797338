"""What a gauge says of itself, with the limits of a plain board."""

from midspan.wire.records import Identify

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
    "rotate_acceleration": 8_000,
    "readings_most": 4_000,
}


def identify(**changes) -> Identify:
    """Return an answer of a gauge with some values changed; what a plan does not look at is 0."""
    return Identify(**dict.fromkeys(Identify.__slots__, 0) | LIMITS | changes)
