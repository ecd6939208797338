"""Bought parts of standard sizes, as solids with their axis along z; see each module for where their origin lies.

A size's part number stands in numbers.toml. A size that is not there yet is appended there with the next number.
"""

from model.standard.drive_parts import (
    bearing,
    collar,
    coupling,
    ground_rod,
    motor,
    pulley,
    pulley_radius,
    rail,
    rail_block,
    trapezoidal_nut,
    trapezoidal_screw,
)
from model.standard.electrics import light_barrier, light_sensor, light_source, microswitch, servo, servo_horn
from model.standard.fasteners import (
    countersunk_screw,
    dowel,
    foot,
    hex_nut,
    lock_nut,
    set_screw,
    shim,
    slot_nut,
    socket_screw,
    standoff,
    washer,
    wood_screw,
)
from model.standard.numbers import UnknownSizeError
from model.standard.profiles import profile

__all__ = [
    "UnknownSizeError",
    "bearing",
    "collar",
    "countersunk_screw",
    "coupling",
    "dowel",
    "foot",
    "ground_rod",
    "hex_nut",
    "light_barrier",
    "light_sensor",
    "light_source",
    "lock_nut",
    "microswitch",
    "motor",
    "profile",
    "pulley",
    "pulley_radius",
    "rail",
    "rail_block",
    "servo",
    "servo_horn",
    "set_screw",
    "shim",
    "slot_nut",
    "socket_screw",
    "standoff",
    "trapezoidal_nut",
    "trapezoidal_screw",
    "washer",
    "wood_screw",
]
