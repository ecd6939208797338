"""Made by `make records` from protocol/: change the definitions there, never this file.

The symbols of each enum and their numbers, then the types of the fields of each record. A type is a plain name, a key
of ENUMS, FIXED or PARTS, ("null", type), or ("array", type). Names of fields would cost heap and are not needed.
"""

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 3
# CRC-64-AVRO of the message schema in Parsing Canonical Form, least significant byte first
FINGERPRINT = b"\xd3\x24\xc8\xec\x08\x59\xe3\x9d"

(
    STARTING, HOMING, IDLE, SEATING, ZERO_BEFORE, APPROACH, LIGHT, DEEPEN, FULL, RETURN, LIGHT_AGAIN, LIFT, ZERO_AFTER,
    RETRACTING, HOLDING, FAULTED, BENCH, STANDING, FEEDING, LOADED, SELECTING, RELEASING,
) = range(22)  # fmt: skip
STATES = (
    "STARTING", "HOMING", "IDLE", "SEATING", "ZERO_BEFORE", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN",
    "LIGHT_AGAIN", "LIFT", "ZERO_AFTER", "RETRACTING", "HOLDING", "FAULTED", "BENCH", "STANDING", "FEEDING", "LOADED",
    "SELECTING", "RELEASING",
)  # fmt: skip
(
    CELL_SILENT, CELL_STUCK, CELL_OUT_OF_STEP, CELL_SATURATED, NO_CONTACT, FORCE_LIMIT, TRAVEL_LIMIT, HOME_NOT_FOUND,
    HOST_SILENT, STOPPED_BY_HOST, BUFFER_FULL, INTERNAL, LOST_STEPS, HOPPER_EMPTY, SHAFT_SHORT, TWO_SHAFTS, JAM,
    BIN_FULL, LID_OPEN, EMERGENCY_STOP, CONFIGURATION, HOME_STUCK, FORCE_REVERSED,
) = range(23)  # fmt: skip
FAULT_CODES = (
    "CELL_SILENT", "CELL_STUCK", "CELL_OUT_OF_STEP", "CELL_SATURATED", "NO_CONTACT", "FORCE_LIMIT", "TRAVEL_LIMIT",
    "HOME_NOT_FOUND", "HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL", "INTERNAL", "LOST_STEPS", "HOPPER_EMPTY",
    "SHAFT_SHORT", "TWO_SHAFTS", "JAM", "BIN_FULL", "LID_OPEN", "EMERGENCY_STOP", "CONFIGURATION", "HOME_STUCK",
    "FORCE_REVERSED",
)  # fmt: skip
PHASES = (
    "ZERO_BEFORE", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN", "LIGHT_AGAIN", "LIFT", "ZERO_AFTER", "BENCH",
)  # fmt: skip
(
    WRONG_PROTOCOL, WRONG_STATE, OUT_OF_RANGE, NO_PLAN, UNKNOWN_SHAFT, BUFFER_TOO_SMALL, NOT_SAFE, NO_FEEDER,
) = range(8)  # fmt: skip
REFUSALS = (
    "WRONG_PROTOCOL", "WRONG_STATE", "OUT_OF_RANGE", "NO_PLAN", "UNKNOWN_SHAFT", "BUFFER_TOO_SMALL", "NOT_SAFE",
    "NO_FEEDER",
)  # fmt: skip
(KEEP_ALIVE, MEASURE, STOP, CLEAR_FAULT) = range(4)  # fmt: skip
ORDERS = ("KEEP_ALIVE", "MEASURE", "STOP", "CLEAR_FAULT")  # fmt: skip
(HOPPER, SLOT, SEATED) = range(3)  # fmt: skip
SOURCES = ("HOPPER", "SLOT", "SEATED")  # fmt: skip
ENUMS = {
    "State": STATES, "FaultCode": FAULT_CODES, "Phase": PHASES, "Refusal": REFUSALS, "Order": ORDERS, "Source": SOURCES,
}  # fmt: skip
FIXED = {"Fingerprint": 8}  # fmt: skip
PARTS = {
    "LastRelease": (
        "long",  # shaft
        "int",  # place
        "boolean",  # done
        "int",  # passed
    ),
    "Unusual": (
        "int",  # reading
        "int",  # status
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
        "int",  # silence_ms
        "int",  # buffer_bytes
        ("null", "long"),  # in_gauge
        "boolean",  # seated
        "boolean",  # hopper
        "boolean",  # slot
        "int",  # places
        "int",  # guards
        ("null", "FaultCode"),  # fault
        ("null", "LastRelease"),  # last_release
        ("null", "int"),  # temperature_centi
    ),
    (  # Readings
        "long",  # shaft
        "int",  # block
        "int",  # first
        "Phase",  # phase
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
        "long",  # shaft
        "int",  # blocks
        "int",  # readings
        "boolean",  # complete
        ("null", "FaultCode"),  # cause
        "int",  # duration_ms
        "int",  # sampling_ms
    ),
    (  # Event
        "int",  # tick_us
        "State",  # previous
        "State",  # state
        ("null", "long"),  # shaft
    ),
    (  # Fault
        "FaultCode",  # code
        "State",  # state
        "int",  # tick_us
        ("null", "long"),  # shaft
        "int",  # detail
    ),
    (  # Reply
        "int",  # to_sequence
        ("null", "Refusal"),  # refusal
        "string",  # field
    ),
    (  # Greet
        "int",  # protocol_major
        "int",  # protocol_minor
        "Fingerprint",  # fingerprint
    ),
    (  # CyclePlan
        "int",  # light_count
        "int",  # full_count
        "int",  # clearance_steps
        "int",  # travel_steps
        "int",  # takeup_steps
        "int",  # seat_steps
        "int",  # turn_steps
        "int",  # turn_again_steps
        "int",  # zero_readings
        "int",  # settle_readings
        "int",  # press_speed
        "int",  # approach_speed
        "int",  # rotate_speed
    ),
    (  # Command
        "Order",  # order
        ("null", "long"),  # shaft
    ),
    (  # Acknowledge
        "long",  # shaft
    ),
    (  # Resend
        "long",  # shaft
        ("array", "int"),  # blocks
    ),
    (  # BenchStep
        "long",  # shaft
        "int",  # press_steps
        "int",  # rotate_steps
        ("null", "int"),  # stop_count
        "int",  # readings
        "int",  # settle_readings
        "int",  # press_speed
        "int",  # rotate_speed
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
    IDENTIFY, READINGS, END_OF_SHAFT, EVENT, FAULT, REPLY, GREET, CYCLE_PLAN, COMMAND, ACKNOWLEDGE, RESEND, BENCH_STEP,
    FEED, RELEASE,
) = range(14)  # fmt: skip
