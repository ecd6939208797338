"""Words, table and JSON for the answer to which known shaft a measurement is of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rich.table import Table

from midspan.base.formatting import printable
from midspan.measurement.shown_quantities import meaning, spine_convention, spine_text, spine_unit
from midspan.sets.fingerprint import BOW, EVENNESS, USED
from midspan.sets.recognise import Naming, Recognition
from midspan.sets.stock import StockShaft
from midspan.sets.which import Which

UNKNOWN = "-"
LONG_DAYS = 180.0  # from which use between two measurements is worth a word
Shafts = Mapping[int, StockShaft | None]


def percent(probability: float) -> str:
    """Return a probability in percent, never rounded up to certainty.

    Parameters
    ----------
    probability : float
        Probability, 0 to 1.

    Returns
    -------
    str
        Percent.

    Examples
    --------
    >>> percent(0.99998), percent(0.42), percent(0.0001)
    ('more than 99.9 %', '42 %', 'less than 0.1 %')
    """
    if probability > 0.999:
        return "more than 99.9 %"
    if probability < 0.001:
        return "less than 0.1 %"
    return f"{100 * probability:.1f} %" if probability > 0.98 or probability < 0.02 else f"{100 * probability:.0f} %"


def answer_words(which: Which, shafts: Shafts) -> str:
    """Return the answer in a sentence.

    Parameters
    ----------
    which : Which
        The answer.
    shafts : Shafts
        Known shafts by number.

    Returns
    -------
    str
        Sentence.
    """
    found, asked = which.found, f"The shaft measured as {which.asked.shaft}"
    if not which.by_number:
        return f"{asked}: no other shaft is known yet."
    if found.naming is Naming.SURE:
        best = found.candidates[0]
        return f"{asked} is shaft {_name(best.shaft, shafts)}: {percent(best.probability)}."
    if found.naming is Naming.NONE:
        return f"{asked} is none of the {len(which.by_number)} known shafts: {percent(found.none)}."
    return f"{asked}: not sure which of the {len(which.by_number)} known shafts it is, or whether it is one of them."


def candidates_table(found: Recognition, which: Which, shafts: Shafts) -> Table:
    """Return one row per shaft that it may be, and one for none of these.

    Parameters
    ----------
    found : Recognition
        Probabilities.
    which : Which
        The answer that they belong to.
    shafts : Shafts
        Known shafts by number; None if the newest measurement has no result.

    Returns
    -------
    Table
        Rows, the likeliest shaft first.
    """
    table = Table(box=None, pad_edge=False, header_style="bold", caption_justify="left")
    for heading in ("shaft", "probability", f"spine, {spine_unit()}", "measured by"):
        table.add_column(heading, justify="left" if heading in ("shaft", "measured by") else "right")
    for candidate in found.candidates:
        shaft, result = shafts.get(candidate.shaft), which.by_number[candidate.shaft]
        by = "the same calibration" if which.is_same_calibration(candidate.shaft) else result.gauge or UNKNOWN
        spine = UNKNOWN if shaft is None else spine_text(shaft).cell
        table.add_row(_name(candidate.shaft, shafts), percent(candidate.probability), spine, printable(by))
    table.add_row("none of these", percent(found.none), "", "")
    table.caption = f"spine: {spine_convention()}; {meaning()}"
    return table


def _name(number: int, shafts: Shafts) -> str:
    """Return the number of a shaft, with its label where it has one."""
    shaft = shafts.get(number)
    label = "" if shaft is None else shaft.label
    return f"{number} ({printable(label)})" if label and label != str(number) else str(number)


def notes(which: Which, shafts: Shafts, used: bool) -> Iterator[str]:
    """Yield what else to know: use, numbers of one shaft, what was not compared, what to do next.

    Parameters
    ----------
    which : Which
        The answer.
    shafts : Shafts
        Known shafts by number.
    used : bool
        True if an allowance for use was asked for.

    Yields
    ------
    str
        Sentence.
    """
    found = which.found
    if which.joined:
        numbers = ", ".join(map(str, which.joined))
        yield f"By its label or by what people said it is shaft {numbers}."
    elif found.naming is Naming.SURE:
        number = found.candidates[0].shaft
        days = which.days_since(number)
        if days is not None and abs(days) > LONG_DAYS:
            yield f"{_ago(days)} lie between both measurements: if the shaft was shot since, look it over for cracks."
        yield f"If you see that it is the same shaft, keep that: midspan shafts join {number} {which.asked.shaft}"
    elif len(found.candidates) > 1 and found.naming is Naming.NOT_SURE:
        first, second = (candidate.shaft for candidate in found.candidates[:2])
        yield f"Look at these shafts. If {first} and {second} are one: midspan shafts join {first} {second}"
    if which.if_used is not None:
        best = which.if_used.candidates[0]
        yield (
            f"If it was shot or bent since, it may be shaft {_name(best.shaft, shafts)} "
            f"({percent(best.probability)}): ask with --used."
        )
    if used:
        spine, evenness, bow = USED[0], USED[EVENNESS] * 500, USED[BOW] * 500
        yield (
            f"With an allowance for use, assumed: {spine:.1%} of spine, and at spine 500 {evenness:.1f} thou of "
            f"evenness and {bow:.2f} mm of bow."
        )
    for reason, number in which.left_out.items():
        yield f"{number} known shafts were not compared: {reason}"


def _ago(days: float) -> str:
    """Return a time in months, or in years from two on."""
    months = round(abs(days) / 30.44)
    return f"{months} months" if months < 24 else f"{months / 12:.0f} years"


def as_plain(which: Which, shafts: Shafts, unknown: float) -> dict[str, object]:
    """Return the answer as values that JSON can hold.

    Parameters
    ----------
    which : Which
        The answer.
    shafts : Shafts
        Known shafts by number.
    unknown : float
        Probability beforehand of none of these.

    Returns
    -------
    dict[str, object]
        Values by name; probabilities from 0 to 1.
    """

    def rows(found: Recognition) -> list[dict[str, object]]:
        return [
            {
                "shaft": candidate.shaft,
                "label": "" if (shaft := shafts.get(candidate.shaft)) is None else shaft.label,
                "probability": candidate.probability,
                "same_calibration": which.is_same_calibration(candidate.shaft),
                "days_since": which.days_since(candidate.shaft),
            }
            for candidate in found.candidates
        ]

    return {
        "shaft": which.asked.shaft,
        "known": len(which.by_number),
        "naming": which.found.naming.value,
        "candidates": rows(which.found),
        "none": which.found.none,
        "unknown_beforehand": unknown,
        "if_used": None if which.if_used is None else rows(which.if_used),
        "joined": list(which.joined),
        "left_out": dict(which.left_out),
    }
