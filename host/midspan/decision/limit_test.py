"""One value held against one limit under a decision rule: what there is to say, and what it does to the shaft.

>>> spread = Comparison("spread", 4.98, 0.04, "thou", DecisionRule())
>>> [(finding.standing.name, finding.sentence) for finding in spread.with_limit(5.0, 4.98 - 5.0)]
[('DOUBT', 'spread 4.980 thou lies within U 0.040 of the limit 5: measure it again')]
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, auto

from midspan.base.formatting import places_for
from midspan.decision.bands import DecisionRule


class LimitEffect(Enum):
    """What a comparison with a limit does to the shaft: reject it, leave it in doubt, or let it pass."""

    AGAINST = auto()
    DOUBT = auto()
    REMARK = auto()


AGAINST, DOUBT, REMARK = LimitEffect


@dataclass(frozen=True, slots=True)
class LimitFinding:
    """One comparison with a limit that has something to say."""

    sentence: str
    standing: LimitEffect


@dataclass(frozen=True, slots=True)
class Comparison:
    """A value with its expanded uncertainty, to be held against limits under a rule."""

    name: str
    value: float
    expanded: float
    unit: str
    rule: DecisionRule

    def with_limit(self, limit: float, beyond: float, *, in_none: bool = False) -> Iterator[LimitFinding]:
        """What there is to say of a value so far beyond a limit (inside when negative); nothing when well inside.

        A value in none of the bands lies beyond even where it lies exactly on the end of one.
        """
        inside_by, beyond_by = (margin * self.expanded for margin in self.rule.margins)
        accepted = beyond < -inside_by if in_none else beyond <= -inside_by
        if accepted and beyond <= -self.expanded:
            return
        places = places_for(self.expanded)
        what, u = f"{self.name} {self.value:.{places}f} {self.unit}", f"U {self.expanded:.{places}f}"
        side = "above" if self.value > limit else "below"
        if accepted:
            where = f"{side} the limit {limit:g}" if beyond > 0 else f"within {u} of the limit {limit:g}"
            yield LimitFinding(f"{what} lies {where}; the rule lets it pass", REMARK)
        elif self.rule.leaves_doubt and beyond <= beyond_by:
            share = "" if self.rule.guard == 1 else f"{self.rule.guard:g} times "
            yield LimitFinding(f"{what} lies within {share}{u} of the limit {limit:g}: measure it again", DOUBT)
        elif beyond > 0 or in_none:
            yield LimitFinding(f"{what} is {side} {limit:g} by {abs(beyond):.{places}f} ({u})", AGAINST)
        else:
            asked = f"the rule asks for {inside_by:.{places}f}"
            yield LimitFinding(f"{what} is inside {limit:g} by {abs(beyond):.{places}f} only, {asked} ({u})", AGAINST)
