"""Made by `make records` from protocol/: change the definitions there, never this file.

The numbers of each enum's symbols, then the kinds of the fields of each record. A kind is "number" (int and long),
"boolean", "string", the count of an enum's symbols, ("fixed", bytes), ("null", kind), ("array", kind), or a record's
kinds. Names of fields would cost heap and are not needed.
"""

PROTOCOL_MAJOR = 2
PROTOCOL_MINOR = 1
# CRC-64-AVRO of the message schema in Parsing Canonical Form, least significant byte first
FINGERPRINT = b"\x60\xf1\x0e\xe6\x8b\x6d\x84\x32"

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
(KEEP_ALIVE, STOP, CLEAR_FAULT) = range(3)  # fmt: skip
(HOPPER, SLOT, SEATED) = range(3)  # fmt: skip
LAST_RELEASE = (
    "number",  # shaft
    "number",  # place
    "boolean",  # done
    "number",  # passed
)
FEEDER_REPORT = (
    ("null", "number"),  # in_gauge
    "boolean",  # seated
    "boolean",  # hopper
    "boolean",  # slot
    "number",  # places
    ("null", LAST_RELEASE),  # last_release
)
UNUSUAL = (
    "number",  # reading
    "number",  # status
)
STEP = (
    "number",  # phase
    ("null", "number"),  # press_steps
    ("null", "number"),  # from_step
    ("null", "number"),  # until_count
    ("null", 24),  # unreached
    "number",  # rotate_steps
    "number",  # readings
    "number",  # settle_readings
    "boolean",  # zero
    "number",  # press_speed
    "number",  # rotate_speed
)
RECORDS = (
    (  # Identify
        "number",  # protocol_major
        "number",  # protocol_minor
        ("fixed", 8),  # fingerprint
        "string",  # gauge
        "string",  # firmware
        "string",  # runtime
        "number",  # boot
        12,  # state
        ("null", "number"),  # held_shaft
        "number",  # held_blocks
        "number",  # tick_us
        "number",  # interval_us
        "number",  # count_min
        "number",  # count_max
        "number",  # count_limit
        "number",  # press_limit_steps
        "number",  # press_speed_most
        "number",  # down_speed_most
        "number",  # press_acceleration
        "number",  # rotate_speed_most
        "number",  # rotate_acceleration
        "number",  # silence_ms
        "number",  # readings_most
        "number",  # guards
        ("null", 24),  # fault
        ("null", "number"),  # temperature_centi
        ("null", "number"),  # free_bytes
        "number",  # longest_turn_us
        ("null", FEEDER_REPORT),  # feeder
        "boolean",  # sensor
        ("null", "number"),  # shaft_centi
    ),
    (  # Readings
        "number",  # boot
        "number",  # shaft
        "number",  # block
        "number",  # first
        "number",  # phase
        "number",  # tick_us
        "number",  # interval_us
        ("array", "number"),  # lateness_us
        ("array", "number"),  # rotate_steps
        ("array", "number"),  # press_steps
        ("array", "number"),  # counts
        ("array", UNUSUAL),  # unusual
        ("array", "number"),  # marks
    ),
    (  # EndOfShaft
        "number",  # boot
        "number",  # shaft
        "number",  # blocks
        "number",  # readings
        "boolean",  # complete
        ("null", 24),  # cause
        "number",  # duration_ms
        "number",  # sampling_ms
        ("null", "number"),  # temperature_centi
        "boolean",  # by_shaft
    ),
    (  # Event
        "number",  # boot
        "number",  # tick_us
        12,  # previous
        12,  # state
        ("null", "number"),  # shaft
    ),
    (  # Fault
        "number",  # boot
        24,  # code
        12,  # state
        ("null", "number"),  # step
        "number",  # tick_us
        ("null", "number"),  # shaft
        "number",  # detail
    ),
    (  # Reply
        "number",  # boot
        "number",  # to_sequence
        ("null", 7),  # refusal
        "string",  # field
    ),
    (  # Greet
        "number",  # protocol_major
        "number",  # protocol_minor
        ("fixed", 8),  # fingerprint
    ),
    (  # Program
        "number",  # shaft
        "boolean",  # stand
        ("array", STEP),  # steps
    ),
    (  # Command
        3,  # order
    ),
    (  # Acknowledge
        "number",  # shaft
    ),
    (  # Resend
        "number",  # shaft
        ("array", "number"),  # blocks
    ),
    (  # Feed
        "number",  # shaft
        3,  # source
    ),
    (  # Release
        "number",  # shaft
        "number",  # place
    ),
)
(
    IDENTIFY, READINGS, END_OF_SHAFT, EVENT, FAULT, REPLY, GREET, PROGRAM, COMMAND, ACKNOWLEDGE, RESEND, FEED, RELEASE,
) = range(13)  # fmt: skip
