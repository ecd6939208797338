"""Made by `make records` from protocol/: change the definitions there, never this file.

The symbols of each enum and their numbers, then the types of the fields of each record. A type is a plain name, a key
of ENUMS, FIXED or PARTS, ("null", type), or ("array", type). Names of fields would cost heap and are not needed.
"""

PROTOCOL_MAJOR = 2
PROTOCOL_MINOR = 0
# CRC-64-AVRO of the message schema in Parsing Canonical Form, least significant byte first
FINGERPRINT = b"\x3d\x29\x88\x66\xe0\xc7\x66\xdb"

(
    STARTING, HOMING, IDLE, RUNNING, RETRACTING, HOLDING, STANDING, FAULTED, FEEDING, LOADED, SELECTING, RELEASING,
) = range(12)  # fmt: skip
STATES = (
    "STARTING", "HOMING", "IDLE", "RUNNING", "RETRACTING", "HOLDING", "STANDING", "FAULTED", "FEEDING", "LOADED",
    "SELECTING", "RELEASING",
)  # fmt: skip
(
    CELL_SILENT, CELL_STUCK, CELL_OUT_OF_STEP, CELL_SATURATED, NO_CONTACT, FORCE_LIMIT, TRAVEL_LIMIT, HOME_NOT_FOUND,
    HOST_SILENT, STOPPED_BY_HOST, BUFFER_FULL, INTERNAL, LOST_STEPS, HOPPER_EMPTY, SHAFT_SHORT, TWO_SHAFTS, JAM,
    BIN_FULL, LID_OPEN, EMERGENCY_STOP, CONFIGURATION, HOME_STUCK, FORCE_REVERSED, STEP_OVERTIME,
) = range(24)  # fmt: skip
FAULT_CODES = (
    "CELL_SILENT", "CELL_STUCK", "CELL_OUT_OF_STEP", "CELL_SATURATED", "NO_CONTACT", "FORCE_LIMIT", "TRAVEL_LIMIT",
    "HOME_NOT_FOUND", "HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL", "INTERNAL", "LOST_STEPS", "HOPPER_EMPTY",
    "SHAFT_SHORT", "TWO_SHAFTS", "JAM", "BIN_FULL", "LID_OPEN", "EMERGENCY_STOP", "CONFIGURATION", "HOME_STUCK",
    "FORCE_REVERSED", "STEP_OVERTIME",
)  # fmt: skip
(
    WRONG_PROTOCOL, WRONG_STATE, OUT_OF_RANGE, UNKNOWN_SHAFT, BUFFER_TOO_SMALL, NOT_SAFE, NO_FEEDER,
) = range(7)  # fmt: skip
REFUSALS = (
    "WRONG_PROTOCOL", "WRONG_STATE", "OUT_OF_RANGE", "UNKNOWN_SHAFT", "BUFFER_TOO_SMALL", "NOT_SAFE", "NO_FEEDER",
)  # fmt: skip
(KEEP_ALIVE, STOP, CLEAR_FAULT) = range(3)  # fmt: skip
ORDERS = ("KEEP_ALIVE", "STOP", "CLEAR_FAULT")  # fmt: skip
(HOPPER, SLOT, SEATED) = range(3)  # fmt: skip
SOURCES = ("HOPPER", "SLOT", "SEATED")  # fmt: skip
ENUMS = {
    "State": STATES, "FaultCode": FAULT_CODES, "Refusal": REFUSALS, "Order": ORDERS, "Source": SOURCES,
}  # fmt: skip
FIXED = {"Fingerprint": 8}  # fmt: skip
PARTS = {
    "LastRelease": (
        "long",  # shaft
        "int",  # place
        "boolean",  # done
        "int",  # passed
    ),
    "FeederReport": (
        ("null", "long"),  # in_gauge
        "boolean",  # seated
        "boolean",  # hopper
        "boolean",  # slot
        "int",  # places
        ("null", "LastRelease"),  # last_release
    ),
    "Unusual": (
        "int",  # reading
        "int",  # status
    ),
    "Step": (
        "int",  # phase
        ("null", "int"),  # press_steps
        ("null", "int"),  # from_step
        ("null", "int"),  # until_count
        ("null", "FaultCode"),  # unreached
        "int",  # rotate_steps
        "int",  # readings
        "int",  # settle_readings
        "boolean",  # zero
        "int",  # press_speed
        "int",  # rotate_speed
    ),
}
RECORDS = (
    (  # Identify
        "int",  # protocol_major
        "int",  # protocol_minor
        "Fingerprint",  # fingerprint
        "string",  # gauge
        "string",  # firmware
        "string",  # runtime
        "int",  # boot
        "State",  # state
        ("null", "long"),  # held_shaft
        "int",  # held_blocks
        "int",  # tick_us
        "int",  # interval_us
        "int",  # count_min
        "int",  # count_max
        "int",  # count_limit
        "int",  # press_limit_steps
        "int",  # press_speed_most
        "int",  # down_speed_most
        "int",  # press_acceleration
        "int",  # rotate_speed_most
        "int",  # rotate_acceleration
        "int",  # silence_ms
        "int",  # readings_most
        "int",  # guards
        ("null", "FaultCode"),  # fault
        ("null", "int"),  # temperature_centi
        ("null", "int"),  # free_bytes
        "int",  # longest_turn_us
        ("null", "FeederReport"),  # feeder
    ),
    (  # Readings
        "int",  # boot
        "long",  # shaft
        "int",  # block
        "int",  # first
        "int",  # phase
        "int",  # tick_us
        "int",  # interval_us
        ("array", "int"),  # lateness_us
        ("array", "int"),  # rotate_steps
        ("array", "int"),  # press_steps
        ("array", "int"),  # counts
        ("array", "Unusual"),  # unusual
        ("array", "int"),  # marks
    ),
    (  # EndOfShaft
        "int",  # boot
        "long",  # shaft
        "int",  # blocks
        "int",  # readings
        "boolean",  # complete
        ("null", "FaultCode"),  # cause
        "int",  # duration_ms
        "int",  # sampling_ms
    ),
    (  # Event
        "int",  # boot
        "int",  # tick_us
        "State",  # previous
        "State",  # state
        ("null", "long"),  # shaft
    ),
    (  # Fault
        "int",  # boot
        "FaultCode",  # code
        "State",  # state
        ("null", "int"),  # step
        "int",  # tick_us
        ("null", "long"),  # shaft
        "int",  # detail
    ),
    (  # Reply
        "int",  # boot
        "int",  # to_sequence
        ("null", "Refusal"),  # refusal
        "string",  # field
    ),
    (  # Greet
        "int",  # protocol_major
        "int",  # protocol_minor
        "Fingerprint",  # fingerprint
    ),
    (  # Program
        "long",  # shaft
        "boolean",  # stand
        ("array", "Step"),  # steps
    ),
    (  # Command
        "Order",  # order
    ),
    (  # Acknowledge
        "long",  # shaft
    ),
    (  # Resend
        "long",  # shaft
        ("array", "int"),  # blocks
    ),
    (  # Feed
        "long",  # shaft
        "Source",  # source
    ),
    (  # Release
        "long",  # shaft
        "int",  # place
    ),
)
(
    IDENTIFY, READINGS, END_OF_SHAFT, EVENT, FAULT, REPLY, GREET, PROGRAM, COMMAND, ACKNOWLEDGE, RESEND, FEED, RELEASE,
) = range(13)  # fmt: skip
