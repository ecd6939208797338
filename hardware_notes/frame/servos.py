"""Pulses of the feeder's servos: how far apart those of rest and work are for the swing that a part needs."""

from __future__ import annotations

from frame.dimensions import Frame

ROUND_US = 5  # the device's own steps are finer; a servo's dead band is about as wide


def swings(frame: Frame) -> dict[str, float]:
    """Return the swing of what each servo turns, in degrees, by its name in the board's file.

    >>> swings(Frame.load())["gate"]
    85.0
    """
    feeder = frame.feeder
    return {
        "hopper": float(feeder.fork_swing),
        "slot": float(feeder.lift_swing),
        "gate": float(feeder.gate_swing),
    }


def pulses_us(frame: Frame, swing_deg: float) -> tuple[int, int]:
    """Return the pulses of a servo at both ends of a swing that lies in the middle of its turn.

    Parameters
    ----------
    frame : Frame
        The dimensions: a servo's turn and the pulses at its ends.
    swing_deg : float
        Swing of what the servo turns, degrees.

    Returns
    -------
    tuple of int
        Shorter and longer pulse, microseconds.

    Examples
    --------
    >>> pulses_us(Frame.load(), 90.0)
    (1000, 2000)
    """
    low, high = frame.feeder.servo_us
    half = swing_deg * (high - low) / frame.feeder.servo_deg / 2
    return tuple(ROUND_US * round((side * half + (low + high) / 2) / ROUND_US) for side in (-1, 1))
