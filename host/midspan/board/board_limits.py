"""Limits of a board by its file, for plans that are made without a gauge."""

from midspan.base.config import validated
from midspan.board.board_file import BoardFile, down_mm_s, unsealed
from midspan.board.files import CONFIGURATION
from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR, Identify, State
from midspan.wire.schema import data_folder


def limits_of_new_board() -> Identify:
    """Return what a board with the file that comes with the device code would say of its limits.

    Returns
    -------
    Identify
        Limits of a plain gauge; what a plan does not need is 0 or empty.

    Raises
    ------
    ConfigurationError
        The device code is not installed with the host's.
    """
    path = data_folder("device") / CONFIGURATION
    return limits_of(validated(BoardFile, unsealed(path.read_bytes(), str(path)), path))


def limits_of(file: BoardFile) -> Identify:
    """Return what a board with this file would say of its limits.

    Parameters
    ----------
    file : BoardFile
        Settings of the board.

    Returns
    -------
    Identify
        Its limits; what a plan does not need is 0 or empty.
    """
    gear, limits = file.gear, file.limits
    return Identify(
        protocol_major=PROTOCOL_MAJOR, protocol_minor=PROTOCOL_MINOR, fingerprint=b"", gauge=file.name, firmware="",
        runtime="", boot=0, state=State.IDLE, held_shaft=None, held_blocks=0, tick_us=0,
        interval_us=1_000_000 // file.cell.rate, count_min=-(1 << 23), count_max=(1 << 23) - 1,
        count_limit=limits.count, press_limit_steps=limits.press_mm * gear.press_steps_per_mm,
        press_speed_most=limits.press_mm_s * gear.press_steps_per_mm,
        down_speed_most=down_mm_s(file) * gear.press_steps_per_mm,
        press_acceleration=limits.press_mm_s2 * gear.press_steps_per_mm,
        rotate_speed_most=limits.rotate_rpm * gear.rotate_steps_per_turn // 60,
        rotate_acceleration=limits.rotate_rpm_s * gear.rotate_steps_per_turn // 60, silence_ms=0,
        readings_most=limits.readings, guards=0, fault=None, temperature_centi=None, free_bytes=None,
        longest_turn_us=0, feeder=None, sensor=False, shaft_centi=None,
    )  # fmt: skip
