"""What of a gauge's frames is new: a line, or a program between, may say again what was said before.

A gauge numbers its frames in the order in which it speaks, and draws another boot number at every start. So a frame
whose number does not come after the newest is old, and so is every Identify of a boot number that another has followed.
Only Identify carries the boot number; SPEC.md says what can not be decided for that.
"""

from __future__ import annotations

from collections.abc import Hashable
from copy import deepcopy
from enum import Enum
from typing import Self

from midspan.frames import SEQUENCES

# More than a gauge sends without a host. A frame further on is not taken for one after a loss: it is older than that.
LARGEST_LEAP = 4096
MOST_TOLD = 8  # boot numbers that wait for their proof


class Standing(Enum):
    """Where a frame stands among those that came."""

    NEW = "later than all that came"
    OLD = "said before, or overtaken"
    UNPROVEN = "an Identify of a boot number never heard before: to be asked again"


class Succession:
    """The newest frame that came from a gauge, its boot number, and those that are over.

    Keep it as long as frames of the same gauge may come, also over several conversations. `lost` counts the frames
    that are missing between those that came, `old` those that came too late, `old_since_new` those since the newest.

    >>> gauge = Succession()
    >>> [gauge.standing(sequence, boot).name for sequence, boot in [(7, 77), (9, None), (8, None), (7, 77)]]
    ['NEW', 'NEW', 'OLD', 'OLD']
    >>> [gauge.standing(sequence, 78).name for sequence in (0, 0, 2)]  # it was reset; it has to say so twice
    ['UNPROVEN', 'OLD', 'NEW']
    >>> gauge.standing(10, 77).name, gauge.lost, gauge.old
    ('OLD', 1, 4)
    """

    def __init__(self) -> None:
        self.lost = self.old = self.old_since_new = 0
        self._boot: Hashable | None = None
        self._newest = 0
        self._over: set[Hashable] = set()
        self._told: dict[Hashable, int] = {}  # boot numbers not yet proven, and the newest frame that told of each

    def standing(self, sequence: int, boot: Hashable | None = None) -> Standing:
        """Where a frame stands that came now; `boot` is what an Identify says, None with any other record.

        The first boot number is believed at once, another when two frames told of it, the second later than the first
        and none of the boot number before between them. Before the first one, all is new.
        """
        if boot is not None and boot != self._boot:
            found = self._of_other_boot(sequence, boot)
        elif self._boot is None:
            found = Standing.NEW
        else:
            found = self._of_this_boot(sequence, boot)
        if found is Standing.OLD:
            self.old += 1
            self.old_since_new += 1
        elif found is Standing.NEW:
            self.old_since_new = 0
        return found

    def copy(self) -> Self:
        """One that goes on from here by itself."""
        return deepcopy(self)

    def _of_this_boot(self, sequence: int, boot: Hashable | None) -> Standing:
        ahead = _ahead(sequence, self._newest)
        if not ahead:
            return Standing.OLD
        self.lost += ahead - 1
        self._newest = sequence
        if boot is not None:
            self._told.clear()  # it still runs, so they are no later ones
        return Standing.NEW

    def _of_other_boot(self, sequence: int, boot: Hashable) -> Standing:
        if boot in self._over:
            return Standing.OLD
        if self._boot is not None and boot not in self._told:
            self._told = dict([*self._told.items(), (boot, sequence)][-MOST_TOLD:])
            return Standing.UNPROVEN
        if self._boot is not None and not _ahead(sequence, self._told[boot]):
            return Standing.OLD
        if self._boot is not None:
            self._over.add(self._boot)
        self._boot, self._newest = boot, sequence
        self._told.clear()
        return Standing.NEW


def _ahead(sequence: int, newest: int) -> int:
    """By how many frames it is later; 0 when it is not."""
    ahead = (sequence - newest) % SEQUENCES
    return ahead if ahead <= LARGEST_LEAP else 0
