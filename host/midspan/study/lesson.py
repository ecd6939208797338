"""Says whether the answer to a task of a lesson is right (the notebooks in host/lessons)."""

import math


def check(answer: float | None, wanted: float, within: float) -> str:
    """What a learner is told: right, not yet and on which side, or that an answer is still missing.

    A yes or no is checked as True or False within 0.

    >>> check(3.02, wanted=3.0, within=0.1), check(2.0, wanted=3.0, within=0.1), check(True, False, within=0)
    ('right', 'not yet: it is more than that', 'not yet')
    >>> check(None, wanted=3.0, within=0.1), check(float("nan"), wanted=3.0, within=0.1)
    ('write your answer first', 'an answer is a number')
    """
    if answer is None:
        return "write your answer first"
    if not isinstance(answer, int | float) or not math.isfinite(answer):
        return "an answer is a number"
    if abs(answer - wanted) <= within:
        return "right"
    side = "" if isinstance(wanted, bool) else f": it is {'more' if answer < wanted else 'less'} than that"
    return f"not yet{side}"
