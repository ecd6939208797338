"""Compare a value with a limit under a decision rule.

>>> spread = Comparison("spread", 4.98, 0.04, "thou", DecisionRule())
>>> [(finding.effect.name, finding.sentence) for finding in spread.with_limit(5.0, 4.98 - 5.0)]
[('DOUBT', 'spread 4.98 thou is too close to the limit 5 thou: measure it again')]
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, auto

from midspan.base.formatting import places_for
from midspan.decision.bands import DecisionRule
from midspan.decision.repeat import repeat_helps


class LimitEffect(Enum):
    """Effect of a comparison on the verdict: AGAINST rejects, DOUBT makes doubtful, REMARK lets pass."""

    AGAINST = auto()
    DOUBT = auto()
    REMARK = auto()


AGAINST, DOUBT, REMARK = LimitEffect
NO_REPEAT = "measuring again would not help, a better calibration or another rule would"
MOST_PLACES = 2  # of a value in a sentence; a value that these places round to its limit gets one more


@dataclass(frozen=True, slots=True)
class LimitFinding:
    """A finding of a comparison with a limit.

    Parameters
    ----------
    sentence : str
        The finding with its numbers.
    effect : LimitEffect
        Its effect on the verdict.
    repeat_helps : bool
        False for a doubt that measuring again cannot settle.
    """

    sentence: str
    effect: LimitEffect
    repeat_helps: bool = True


@dataclass(frozen=True, slots=True)
class Comparison:
    """A value with its expanded uncertainty, to be compared with limits under a rule.

    Parameters
    ----------
    name : str
        Name of the quantity.
    value : float
        Its value.
    expanded : float
        Expanded uncertainty U = k u of the value.
    unit : str
        Unit of both.
    rule : DecisionRule
        Decision rule.
    renewed : float | None
        Standard uncertainty of the value that a repeat renews; None if unknown.
    """

    name: str
    value: float
    expanded: float
    unit: str
    rule: DecisionRule
    renewed: float | None = None

    def with_limit(self, limit: float, beyond: float, *, outside_bands: bool = False) -> Iterator[LimitFinding]:
        """Yield the finding on the value at a limit; nothing if the value is well inside.

        Parameters
        ----------
        limit : float
            The limit.
        beyond : float
            Distance of the value beyond the limit, below 0 inside.
        outside_bands : bool
            True if the value lies in no band: then it is beyond even exactly at the end of a band.

        Yields
        ------
        LimitFinding
            At most one.
        """
        inside_by, beyond_by = (margin * self.expanded for margin in self.rule.margins)
        accepted = beyond < -inside_by if outside_bands else beyond <= -inside_by
        if accepted and beyond <= -self.expanded:
            return
        side = "above" if self.value > limit else "below"
        what, at = f"{self.name} {self._shown(limit)}", f"the limit {limit:g} {self.unit}"
        if accepted:
            where = f"is {side}" if beyond > 0 else "is close to"
            yield LimitFinding(f"{what} {where} {at}; the rule lets it pass", REMARK)
        elif self.rule.leaves_doubt and beyond <= beyond_by:
            helps = self.renewed is None or repeat_helps(beyond, beyond_by, self.renewed)
            advice = "measure it again" if helps else NO_REPEAT
            yield LimitFinding(f"{what} is too close to {at}: {advice}", DOUBT, helps)
        elif outside_bands:
            yield LimitFinding(f"{what} is {side} {at}", AGAINST)
        elif beyond > 0:
            yield LimitFinding(f"{what}, limit {limit:g} {self.unit}", AGAINST)
        else:
            asked = f"the rule asks for {inside_by:.{MOST_PLACES}f} {self.unit} of distance"
            yield LimitFinding(f"{what} is too close to {at}: {asked}", AGAINST)

    def _shown(self, limit: float) -> str:
        """Return the value with its unit, in a few places but never rounded to the limit."""
        places = min(places_for(self.expanded), MOST_PLACES)
        if float(f"{self.value:.{places}f}") == limit != self.value:
            places += 1
        return f"{self.value:.{places}f} {self.unit}"
