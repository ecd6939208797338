"""The enums of the protocol: states, phases, faults, orders, refusals, sources.

Numbered as the symbols of the schemas' enums in protocol/*.avsc, where their meaning stands; tests hold both equal.
"""

from enum import IntEnum

Phase = IntEnum("Phase", "ZERO_BEFORE APPROACH LIGHT DEEPEN FULL RETURN LIGHT_AGAIN LIFT ZERO_AFTER BENCH", start=0)
State = IntEnum(
    "State",
    "STARTING HOMING IDLE SEATING ZERO_BEFORE APPROACH LIGHT DEEPEN FULL RETURN LIGHT_AGAIN LIFT ZERO_AFTER "
    "RETRACTING HOLDING FAULTED BENCH STANDING FEEDING LOADED SELECTING RELEASING",
    start=0,
)
FaultCode = IntEnum(
    "FaultCode",
    "CELL_SILENT CELL_STUCK CELL_OUT_OF_STEP CELL_SATURATED NO_CONTACT FORCE_LIMIT TRAVEL_LIMIT "
    "HOME_NOT_FOUND HOST_SILENT STOPPED_BY_HOST BUFFER_FULL INTERNAL LOST_STEPS HOPPER_EMPTY SHAFT_SHORT "
    "TWO_SHAFTS JAM BIN_FULL LID_OPEN EMERGENCY_STOP CONFIGURATION",
    start=0,
)
Order = IntEnum("Order", "KEEP_ALIVE MEASURE STOP CLEAR_FAULT", start=0)
Refusal = IntEnum(
    "Refusal",
    "WRONG_PROTOCOL WRONG_STATE OUT_OF_RANGE NO_PLAN UNKNOWN_SHAFT BUFFER_TOO_SMALL NOT_SAFE NO_FEEDER",
    start=0,
)
Source = IntEnum("Source", "HOPPER SLOT SEATED", start=0)
