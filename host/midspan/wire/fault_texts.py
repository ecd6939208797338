"""Texts of the faults that the device reports and of those that the host finds, from protocol/faults.json."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache

from midspan.wire.records import FaultCode, HostFault
from midspan.wire.schema import data_folder


@dataclass(frozen=True, slots=True)
class FaultText:
    """Text of a fault of the device.

    Parameters
    ----------
    text : str
        What happened, a sentence.
    action : str
        What the device did to be safe.
    detail : str
        Meaning of the number that comes with the fault.
    way_back : str
        What a person does.
    ends : str
        State of the device afterwards.
    """

    text: str
    action: str
    detail: str
    way_back: str
    ends: str


@dataclass(frozen=True, slots=True)
class HostFaultText:
    """Text of a fault that the host finds.

    Parameters
    ----------
    text : str
        What happened, a sentence.
    action : str
        What the host does.
    way_back : str
        What a person does.
    run : str
        How the run goes on.
    """

    text: str
    action: str
    way_back: str
    run: str


@cache
def fault_texts() -> dict[FaultCode, FaultText]:
    """Return the texts of all faults of the device.

    Returns
    -------
    dict[FaultCode, FaultText]
        A text for each code.

    Examples
    --------
    >>> set(fault_texts()) == set(FaultCode)
    True
    """
    return {FaultCode[code]: FaultText(**entry) for code, entry in _tables()["device"].items()}


@cache
def host_fault_texts() -> dict[HostFault, HostFaultText]:
    """Return the texts of all faults that the host finds.

    Returns
    -------
    dict[HostFault, HostFaultText]
        A text for each code.

    Examples
    --------
    >>> set(host_fault_texts()) == set(HostFault)
    True
    """
    return {HostFault(code): HostFaultText(**entry) for code, entry in _tables()["host"].items()}


@cache
def _tables() -> dict[str, dict[str, dict[str, str]]]:
    """Return both tables of protocol/faults.json, by the end of the line that finds the fault."""
    tables: dict[str, dict[str, dict[str, str]]] = json.loads(
        (data_folder("protocol") / "faults.json").read_text(encoding="utf-8")
    )
    return tables


def describe(code: FaultCode, detail: int | None = None) -> str:
    """Return a fault of the device as one line for a person: what happened and what to do.

    Parameters
    ----------
    code : FaultCode
        Code of the fault.
    detail : int or None
        Number that came with it, in the unit that the code's text names; None if there is none.

    Returns
    -------
    str
        Code, sentence, detail and advice.

    Examples
    --------
    >>> describe(FaultCode.STOPPED_BY_HOST, 120)
    'STOPPED_BY_HOST: The host ordered a stop (press position in microsteps: 120). Nothing to do.'
    """
    fault = fault_texts()[code]
    number = "" if detail is None else f" ({fault.detail}: {detail})"
    return f"{code.name}: {fault.text.rstrip('.')}{number}. {fault.way_back}"
