"""A measured shaft in words: one line, large letters, and the name of its sound."""

from __future__ import annotations

from midspan.attended.bench import MeasuredShaft, ShaftOrder
from midspan.base.formatting import printable
from midspan.decision.decision import Outcome
from midspan.measurement.result import Unmeasured
from midspan.measurement.shown_quantities import across_text, runout_text, sentence_text, spine_text, spread_text

SOUNDS = {
    Outcome.ACCEPTED: "accepted",
    Outcome.REJECTED: "rejected",
    Outcome.DOUBTFUL: "doubtful",
    Outcome.INSTRUMENT_FAULT: "fault",
}
LARGE = {
    Outcome.ACCEPTED: "ACCEPTED",
    Outcome.REJECTED: "REJECTED",
    Outcome.DOUBTFUL: "DOUBTFUL",
    Outcome.INSTRUMENT_FAULT: "GAUGE FAULT",
}


def order_name(order: ShaftOrder) -> str:
    """Return number and label of a shaft, or the name of a check standard.

    Parameters
    ----------
    order : ShaftOrder
        The shaft.

    Returns
    -------
    str
        Text for people.
    """
    if order.standard is not None:
        return printable(f"check standard {order.standard}")
    return printable(f"shaft {order.shaft} {order.label}").strip()


def line(measured: MeasuredShaft) -> str:
    """Return a measured shaft with its quantities and the reasons of its verdict.

    Parameters
    ----------
    measured : MeasuredShaft
        The shaft.

    Returns
    -------
    str
        One line.
    """
    result, decision = measured.result, measured.decision
    verdict = decision.outcome.value + (f", {decision.bin}" if decision.bin else "")
    reasons = "; ".join(map(sentence_text, decision.reasons))
    said = printable(f"{verdict}{': ' + reasons if reasons else ''}")
    if isinstance(result, Unmeasured):
        return f"{order_name(measured.order)}: {said}"
    parts = [f"spine {spine_text(result)}", f"spread {spread_text(result)}", f"runout {runout_text(result)}"]
    return f"{order_name(measured.order)}: {', '.join(parts)}. {said[:1].upper()}{said[1:]}"


def large(measured: MeasuredShaft) -> tuple[str, ...]:
    """Return what is shown large: verdict, bin, and number with spine.

    Parameters
    ----------
    measured : MeasuredShaft
        The shaft.

    Returns
    -------
    tuple of str
        Lines.
    """
    result, decision, order = measured.result, measured.decision, measured.order
    if order.standard is not None:
        return ("GAUGE GOOD" if decision.outcome is Outcome.ACCEPTED else "CHECK GAUGE",)
    spine = "" if isinstance(result, Unmeasured) else across_text(result.spine_thou).number
    bins = (decision.bin.upper(),) if decision.bin else ()
    return (LARGE[decision.outcome], *bins, f"{order.shaft}  {spine}".strip())
