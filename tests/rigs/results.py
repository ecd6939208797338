"""Invented results with the few fields that a test needs."""

import json

from midspan.measurement.definition import DEFINITION
from midspan.measurement.result import Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.store.stored_result import MeasuredResult, read_measured

NOTHING = Unmeasured(1, "", ("no contact",))


def told(kind: ResultKind = ResultKind.GAUGE, definition: str | None = DEFINITION, **values: object) -> MeasuredResult:
    """Return a result with these fields only; without a definition if that is None, as earlier versions stored it.

    With fewer fields than today's it has the form of an older version.
    """
    named = {} if definition is None else {"definition": definition}
    return read_measured(kind, json.dumps(named | values))
