"""All checks on a whole build."""

from __future__ import annotations

from collections.abc import Callable

from frame.dimensions import Frame

from model.assembly import PUT_ON_AFTERWARDS, STEPS, Assembly, fed_by_hand, hand_bench, sorter
from model.checks.finding import Finding
from model.checks.fits_bed import made_findings
from model.checks.held import loose_findings, number_findings
from model.checks.overlap import overlaps
from model.checks.reach import unreached_findings
from model.checks.screws import screw_findings


def short_span() -> float:
    """Return the span of the second place of the stands, mm."""
    return float(Frame.load().support.short_span)


BUILDS: dict[str, Callable[[], Assembly]] = {
    "hand bench": hand_bench,
    "fed by hand": fed_by_hand,
    "fed by hand, short span": lambda: fed_by_hand(short_span()),
    "sorter": sorter,
    "sorter, short span": lambda: sorter(short_span()),
}


def findings(build: Assembly) -> list[Finding]:
    """Return all that is wrong with a build."""
    parts = {piece.part.number: piece.part for piece in build.pieces}
    return [
        *number_findings(build.pieces),
        *overlaps(build.pieces, build.motions, build.never_together),
        *screw_findings(build.pieces),
        *unreached_findings(build.pieces, STEPS, PUT_ON_AFTERWARDS),
        *[finding for finding in loose_findings(build.pieces) if not _stands_apart(build, finding)],
        *made_findings(parts.values(), float(Frame.load().print.bed)),
    ]


def _stands_apart(build: Assembly, finding: Finding) -> bool:
    """Return True for pieces that stand beside their machine or hang on the shaft."""
    return any(name.split()[0] in build.apart for name in finding.pieces)
