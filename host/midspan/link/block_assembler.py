"""Join the blocks of one shaft into a raw run, in whatever order and however often they came."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby, islice, pairwise
from operator import attrgetter

import numpy as np
import numpy.typing as npt

from midspan.archive.raw_run import BOARD, SHAFT, RawRun
from midspan.base.errors import ArchiveError, ProtocolError
from midspan.wire.readings import Integers, absolute, block_name, offset_us, status_of
from midspan.wire.records import EndOfShaft, Identify, Phase, Readings

TICK_PERIOD_US = 1 << 30
PHASES = frozenset(Phase)
MOST_EXTRAS = 8  # marks and unusual readings for each reading: a mark's sensor may flicker


@dataclass(slots=True)
class Blocks:
    """Blocks of one shaft that have come so far, by block number, and its end once that has come.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    label : str
        Name of the shaft for people; may be empty.
    started_ms : int
        When it was ordered, ms since 1970.
    identify : Identify
        Answer of the gauge to the greeting: its limits and names.
    by_number : dict[int, Readings]
        Blocks that have come.
    end : EndOfShaft | None
        Totals of the shaft; None until they have come.
    readings : int
        Number of readings in the blocks that have come.
    extras : int
        Number of marks and unusual readings in them.
    """

    shaft: int
    label: str
    started_ms: int
    identify: Identify
    by_number: dict[int, Readings] = field(default_factory=dict)
    end: EndOfShaft | None = None
    readings: int = 0
    extras: int = 0

    def is_new(self, block: Readings) -> bool:
        """Return True for a block that has not come before, False for a repeated one.

        Without the bound on the sizes a faulty gauge could fill this host's memory.

        Parameters
        ----------
        block : Readings
            Block that came.

        Returns
        -------
        bool
            False for a block that is kept already.

        Raises
        ------
        ProtocolError
            An earlier block of that number differs, the block has no reading or an unknown phase, its number is beyond
            the promised end, or there is more than the gauge can hold.
        """
        if block.block not in self.by_number:
            self._check_new(block)
            return True
        if self.by_number[block.block] != block:
            raise ProtocolError(
                f"{block_name(block)} came twice with different readings: reset the gauge", code="block_changed"
            )
        return False

    def add(self, block: Readings) -> None:
        """Keep a new block.

        Parameters
        ----------
        block : Readings
            Block for which `is_new` is True.
        """
        self.by_number[block.block] = block
        self.readings += len(block.counts)
        self.extras += _extras(block)

    def _check_new(self, block: Readings) -> None:
        """Raise ProtocolError if a new block cannot belong to this shaft."""
        if block.phase not in PHASES:
            raise ProtocolError(
                f"{block_name(block)} has phase {block.phase}, which this midspan does not know: fetch the shaft with "
                "the version that ordered it",
                code="phase_unknown",
            )
        if not block.counts:
            raise ProtocolError(f"{block_name(block)} has no reading: reset the gauge", code="empty_block")
        if self.end is not None and block.block >= self.end.blocks:
            raise ProtocolError(
                f"{block_name(block)} is beyond the {self.end.blocks} blocks announced: reset the gauge",
                code="unpromised_block",
            )
        if block.block > block.first:
            raise ProtocolError(
                f"{block_name(block)} starts at reading {block.first}: a block before it has none; reset the gauge",
                code="empty_block",
            )
        self._check_room(block_name(block), block.first + len(block.counts))
        if self.extras + _extras(block) > MOST_EXTRAS * self.identify.readings_most:
            raise ProtocolError(
                f"{block_name(block)} lists more marks or unusual readings than a gauge can see: reset the gauge",
                code="over_capacity",
            )

    def ended(self, end: EndOfShaft) -> Blocks:
        """Return a copy of these blocks that has the end of the shaft.

        Parameters
        ----------
        end : EndOfShaft
            Totals of the shaft.

        Returns
        -------
        Blocks
            The copy.

        Raises
        ------
        ProtocolError
            An earlier end differs, or the end promises more than the gauge can hold, blocks without a reading,
            or fewer blocks than came.
        """
        if self.end is not None and end != self.end:
            raise ProtocolError(
                f"the end of shaft {self.shaft} came twice with different totals: reset the gauge", code="end_changed"
            )
        name = f"the end of shaft {self.shaft}"
        if end.blocks > end.readings:
            raise ProtocolError(
                f"{name} announces {end.blocks} blocks of {end.readings} readings: reset the gauge", code="empty_block"
            )
        if self.by_number and max(self.by_number) >= end.blocks:
            came = max(self.by_number)
            raise ProtocolError(
                f"{name} announces {end.blocks} blocks, but number {came} came: reset the gauge",
                code="unpromised_block",
            )
        self._check_room(name, end.readings)
        return replace(self, end=end)

    def _check_room(self, name: str, readings: int) -> None:
        """Raise ProtocolError if the gauge cannot hold this many readings."""
        if readings > self.identify.readings_most:
            raise ProtocolError(
                f"{name} does not fit in the gauge, which holds {self.identify.readings_most} readings: reset it",
                code="over_capacity",
            )

    def missing(self, most: int) -> tuple[int, ...]:
        """Return the first missing block numbers.

        Looks no further than what came and what is asked for, however much was promised.

        Parameters
        ----------
        most : int
            Largest number of block numbers to return.

        Returns
        -------
        tuple[int, ...]
            Ascending; empty if all came or the end is not known yet.
        """
        promised = 0 if self.end is None else self.end.blocks
        return tuple(islice((number for number in range(promised) if number not in self.by_number), most))

    def joined(self) -> RawRun:
        """Return all blocks as a raw run.

        Returns
        -------
        RawRun
            All readings of the shaft.

        Raises
        ------
        ProtocolError
            The end has not come, or numbers, times and totals contradict each other.
        """
        if self.end is None:
            raise ProtocolError(f"the end of shaft {self.shaft} is missing: fetch the shaft again")
        blocks = [self.by_number[number] for number in sorted(self.by_number)]
        self._check(blocks, self.end)
        try:
            return self._raw_run(blocks, self.end)
        except ArchiveError as error:
            raise ProtocolError(
                f"the blocks of shaft {self.shaft} do not form a run: {error}", code="no_run"
            ) from error

    def _check(self, blocks: Sequence[Readings], end: EndOfShaft) -> None:
        """Raise ProtocolError if blocks and end disagree."""
        if len(blocks) != end.blocks:
            raise ProtocolError(
                f"shaft {self.shaft} has {len(blocks)} blocks, its end says {end.blocks}: fetch it again"
            )
        first = 0
        for block in blocks:
            if block.first != first:
                raise ProtocolError(
                    f"{block_name(block)} starts at reading {block.first}, expected {first}: reset the gauge",
                    code="gap",
                )
            first += len(block.counts)
        if first != end.readings:
            raise ProtocolError(
                f"shaft {self.shaft} has {first} readings, its end says {end.readings}: reset the gauge"
            )
        starts = [block.tick_us for block in blocks]
        ms = sum((after - before) % TICK_PERIOD_US for before, after in pairwise(starts)) // 1000
        if ms > end.duration_ms:
            raise ProtocolError(
                f"the blocks of shaft {self.shaft} span {ms} ms, its end says {end.duration_ms}: reset the gauge",
                code="too_long",
            )

    def _raw_run(self, blocks: Sequence[Readings], end: EndOfShaft) -> RawRun:
        """Return the raw run of checked blocks; raise ArchiveError if they do not make a run."""
        return RawRun(
            shaft=self.shaft,
            label=self.label,
            started_ms=self.started_ms,
            gauge=self.identify.gauge,
            firmware=self.identify.firmware,
            runtime=self.identify.runtime,
            boot=self.identify.boot,
            count_min=self.identify.count_min,
            count_max=self.identify.count_max,
            complete=end.complete,
            cause=None if end.cause is None else end.cause.name,
            duration_ms=end.duration_ms,
            sampling_ms=end.sampling_ms,
            interval_us=self.identify.interval_us,
            temperature_centi=end.temperature_centi,
            temperature_source=None if end.temperature_centi is None else SHAFT if end.by_shaft else BOARD,
            segments=_segments(blocks),
            tick_us=_ticks_us([block for block in blocks if block.counts]),
            rotate_steps=_concatenated([absolute(block.rotate_steps, len(block.counts)) for block in blocks]),
            press_steps=_concatenated([absolute(block.press_steps, len(block.counts)) for block in blocks]),
            counts=_concatenated([absolute(block.counts, len(block.counts)) for block in blocks]),
            status=_concatenated([status_of(block) for block in blocks]).astype(np.int16),
            marks=_concatenated([np.asarray(block.marks, np.int64) for block in blocks]),
        )


def _extras(block: Readings) -> int:
    """Return the number of marks and unusual readings of a block."""
    return len(block.marks) + len(block.unusual)


def _segments(blocks: Sequence[Readings]) -> tuple[tuple[int, int], ...]:
    """Return phase and number of readings of each stretch of blocks of one phase: steps with the same tag are one."""
    filled = (block for block in blocks if block.counts)
    return tuple(
        (int(phase), sum(len(block.counts) for block in same_phase))
        for phase, same_phase in groupby(filled, attrgetter("phase"))
    )


def _ticks_us(filled: Sequence[Readings]) -> Integers:
    """Return the time of each reading after the first, µs; the device clock may wrap between any two blocks."""
    starts = np.array([block.tick_us for block in filled], np.int64)
    since_first = np.concatenate([[0], np.cumsum(np.diff(starts) % TICK_PERIOD_US)])
    return _concatenated([start + offset_us(block) for start, block in zip(since_first, filled, strict=False)])


def _concatenated(columns: Sequence[npt.NDArray[np.integer]]) -> Integers:
    """Return the columns end to end; an empty array if there are none."""
    return np.concatenate([np.zeros(0, np.int64), *columns])
