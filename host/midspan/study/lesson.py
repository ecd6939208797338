"""Check answers to the tasks of the lessons, the notebooks in host/lessons."""

import math


def check(answer: float | None, wanted: float, within: float) -> str:
    """Return words for the learner: right, not yet and in which direction, or that an answer is missing.

    A yes or no is checked as True or False, within 0.

    Parameters
    ----------
    answer : float | None
        The learner's answer, None while it is missing.
    wanted : float
        The right answer.
    within : float
        Largest difference that still counts as right.

    Returns
    -------
    str
        One short line.

    Examples
    --------
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
