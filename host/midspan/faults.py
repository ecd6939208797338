"""What a fault code of the device means to a person; the words stand in protocol/faults.json alone."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache

from midspan.records import FaultCode
from midspan.schemas import data_folder


@dataclass(frozen=True, slots=True)
class FaultText:
    """What happened, what the device did, what its detail number is, and what to do."""

    text: str
    action: str
    detail: str
    way_back: str


@cache
def fault_texts() -> dict[FaultCode, FaultText]:
    """The whole fault table.

    >>> set(fault_texts()) == set(FaultCode)
    True
    """
    table = json.loads((data_folder("protocol") / "faults.json").read_text(encoding="utf-8"))
    return {FaultCode[code]: FaultText(**entry) for code, entry in table.items()}


def describe(code: FaultCode, detail: int | None = None) -> str:
    """One line for a person: what happened, with the detail if there is one, and what to do.

    >>> describe(FaultCode.STOPPED_BY_HOST, 120)
    'STOPPED_BY_HOST: The host ordered a stop (press position in microsteps: 120). None needed.'
    """
    fault = fault_texts()[code]
    number = "" if detail is None else f" ({fault.detail}: {detail})"
    return f"{code.name}: {fault.text.rstrip('.')}{number}. {fault.way_back}"
