"""What the faults of the device and those the host finds mean to a person; the words stand in protocol/faults.json."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache

from midspan.wire.records import FaultCode, HostFault
from midspan.wire.schema import data_folder


@dataclass(frozen=True, slots=True)
class FaultText:
    """What happened, what the device did, what its detail number is, what to do, and the state it ends in."""

    text: str
    action: str
    detail: str
    way_back: str
    ends: str


@dataclass(frozen=True, slots=True)
class HostFaultText:
    """What happened, what the host does, what a person is to do, and how the run goes on."""

    text: str
    action: str
    way_back: str
    run: str


@cache
def fault_texts() -> dict[FaultCode, FaultText]:
    """The whole fault table of the device.

    >>> set(fault_texts()) == set(FaultCode)
    True
    """
    return {FaultCode[code]: FaultText(**entry) for code, entry in _tables()["device"].items()}


@cache
def host_fault_texts() -> dict[HostFault, HostFaultText]:
    """The whole table of what the host finds.

    >>> set(host_fault_texts()) == set(HostFault)
    True
    """
    return {HostFault(code): HostFaultText(**entry) for code, entry in _tables()["host"].items()}


@cache
def _tables() -> dict[str, dict[str, dict[str, str]]]:
    tables: dict[str, dict[str, dict[str, str]]] = json.loads(
        (data_folder("protocol") / "faults.json").read_text(encoding="utf-8")
    )
    return tables


def describe(code: FaultCode, detail: int | None = None) -> str:
    """One line for a person: what happened, with the detail if there is one, and what to do.

    >>> describe(FaultCode.STOPPED_BY_HOST, 120)
    'STOPPED_BY_HOST: The host ordered a stop (press position in microsteps: 120). None needed.'
    """
    fault = fault_texts()[code]
    number = "" if detail is None else f" ({fault.detail}: {detail})"
    return f"{code.name}: {fault.text.rstrip('.')}{number}. {fault.way_back}"
