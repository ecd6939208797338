"""Matched sets as people read them: what a choice found, the shafts of one set, and what the stock holds."""

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice

from rich.table import Table

from midspan.base.formatting import printable, with_uncertainty
from midspan.sets.choose import Choice
from midspan.sets.identity import Pair
from midspan.sets.limits import QUANTITIES, Limits, SetQuantity
from midspan.sets.nominal_sizes import Likely
from midspan.sets.registry import KeptSet
from midspan.sets.review import RING_M, RING_MM, RING_THOU, Review
from midspan.sets.stock import LIKELY, Stock, StockShaft

MOST_PLACES = 3
SHOWN = 60  # sets or pairs in a table: more nobody reads
FURTHER = QUANTITIES[1:]


def _plain_table(*headings: str) -> Table:
    """A table whose first column is a name, the others numbers."""
    table = Table(box=None, pad_edge=False, header_style="bold", caption_justify="left")
    for i, heading in enumerate(headings):
        table.add_column(heading, justify="right" if i else "left", no_wrap=i == 0)
    return table


def limits_words(limits: Limits) -> str:
    """What was asked, as in "12 shafts; spine within 3 thou, weight within 5 gr"."""
    asked = (f"{one.words} within {one.of(limits):g} {one.unit}" for one in limits.quantities)
    return f"{limits.number} shafts; {', '.join(asked)}"


def choice_words(choice: Choice, limits: Limits) -> Iterator[str]:
    """How many sets there are, and how far from the best possible that may be."""
    found = len(choice.sets)
    yield f"{found} set{'s' if found != 1 else ''} of {limits_words(limits)}"
    if choice.is_best:
        yield "proven: no choice gives more sets, and none of as many is tighter"
        return
    more = "no choice gives more" if found == choice.most else f"no choice can give more than {choice.most}"
    yield (
        f"{more}; as many sets might be tighter by {math.ceil(100 * choice.gap)} % at most (range over limit, spine "
        "counting ten times spread, and so on)"
    )


def sets_table(reviews: Mapping[str, Review], limits: Limits, k: float, distance_m: float) -> Table:
    """One line a set: mean, spread of the set with its uncertainty, ranges, and the cost at the target."""
    further = [quantity for quantity in FURTHER if quantity in limits.quantities]
    ranges = [f"{quantity.words}, {quantity.unit}" for quantity in further]
    table = _plain_table("set", "mean spine", "spread of the set", *ranges, f"mm at {distance_m:g} m", "shafts")
    for name, one in islice(reviews.items(), SHOWN):
        values = (_from_to(one.shafts, quantity) for quantity in further)
        members = ", ".join(str(shaft.shaft) for shaft in one.shafts)
        mean = with_uncertainty(one.mean_thou, k * one.u_mean_thou, 2)
        table.add_row(printable(name), mean, _range(one, k), *values, f"{one.at_target_mm(distance_m):.0f}", members)
    more = f"; {len(reviews) - SHOWN} more sets are not shown: use --json" if len(reviews) > SHOWN else ""
    table.caption = (
        f"thou (28 in, 880 g) ± U with k = {k:g}; mm at the target: by a rule of thumb without a published source\n"
        f"shafts by number, the stiffest first{more}"
    )
    return table


def _range(one: Review, k: float) -> str:
    return with_uncertainty(one.range_thou, k * one.u_range_thou, MOST_PLACES)


def _from_to(shafts: Sequence[StockShaft], quantity: SetQuantity) -> str:
    values = [value for value in (quantity.of(one) for one in shafts) if value is not None]
    return f"{min(values):.1f} to {max(values):.1f}" if values else "-"


def members_table(one: Review, k: float) -> Table:
    """One line a shaft, the stiffest first; only one that is told apart from the mean is called stiffer or softer."""
    table = _plain_table("shaft", "spine", "from the mean", "", "spread around", "weight, gr", "runout")
    for i, shaft in enumerate(one.shafts):
        away = with_uncertainty(one.from_mean_thou[i], k * one.u_from_mean_thou[i], MOST_PLACES)
        side = ("softer" if one.from_mean_thou[i] > 0 else "stiffer") if one.apart(i, k) else "not told apart"
        further = ("-" if (value := quantity.of(shaft)) is None else f"{value:.1f}" for quantity in FURTHER)
        table.add_row(printable(shaft.name), f"{shaft.spine_thou:.2f}", away, side, *further)
    table.caption = f"thou unless said; ± U with k = {k:g}; what one calibration has wrong alike cancels"
    return table


def review_words(one: Review, k: float, distance_m: float) -> Iterator[str]:
    """Sentences on one set: mean, spread, who spoils it, what it costs."""
    mean = with_uncertainty(one.mean_thou, k * one.u_mean_thou, 2)
    yield f"mean spine {mean} thou; the set spreads over {_range(one, k)} thou"
    if not one.is_told_apart:
        yield (
            f"{len(one.shafts)} equal shafts would show up to {one.noise_thou:.3f} thou by the gauge's noise alone: "
            "these are not told apart"
        )
    elif one.spoiler is not None:
        yield (
            f"shaft {printable(one.spoiler.name)} spoils it: without it the set would spread over "
            f"{one.spoiler.range_without_thou:.3f} thou"
        )
    else:
        yield "no single shaft spoils it"
    yield (
        f"at {distance_m:g} m that spread costs about {one.at_target_mm(distance_m):.0f} mm: an estimate by a rule of "
        f"common practice without a published source ({RING_THOU:g} thou, one ring of {RING_MM:g} mm at {RING_M:g} m), "
        "no promise"
    )


def against_words(against: Mapping[int, str], what: str) -> Iterator[str]:
    """Yield what speaks against shafts by now, a line each."""
    yield from (f"shaft {shaft} {what}: {reason}" for shaft, reason in against.items())


def _most_first(left_out: Mapping[str, Sequence[int]]) -> list[tuple[str, Sequence[int]]]:
    return sorted(left_out.items(), key=lambda one: (-len(one[1]), one[0]))


def left_out_table(left_out: Mapping[str, Sequence[int]], kept: int) -> Table:
    """How many shafts may be taken, and how many are left out for which reason."""
    table = _plain_table("stock", "shafts")
    table.add_row("to choose from", str(kept))
    for reason, numbers in _most_first(left_out):
        table.add_row(f"left out: {reason}", str(len(numbers)))
    return table


def twins_words(stock: Stock) -> Iterator[str]:
    """Warnings about shafts that are likely, or maybe, in the stock under two numbers."""
    likely = len(stock.left_out.get(LIKELY, ()))
    if likely:
        yield (
            f"{_shafts(likely)} left out, likely there under another number too: `midspan sets twins` lists them; "
            "say which are one shaft (midspan sets same) and which are not (midspan sets different)"
        )
    unsure = len({number for numbers in stock.unsure.values() for number in numbers})
    if unsure:
        yield (
            f"of {_shafts(unsure)} nobody can tell whether they are there under another number too, and so twice in a "
            "set; `midspan sets twins` says why"
        )


def twins_json(stock: Stock) -> dict[str, object]:
    """The same as plain values: pairs of numbers, and by reason the shafts of which nobody can tell."""
    return {"likely_twins": [list(pair) for pair in stock.likely], "cannot_tell": _lists(stock.unsure)}


def _shafts(number: int) -> str:
    return f"{number} shaft{'s' if number != 1 else ''}"


def _lists(by_reason: Mapping[str, Sequence[int]]) -> dict[str, list[int]]:
    return {reason: list(numbers) for reason, numbers in by_reason.items()}


def twins_table(
    pairs: Sequence[Pair], shafts: Mapping[int, StockShaft | None], sets: Mapping[int, str]
) -> Table:  # fmt: skip
    """One line a pair of numbers that are likely of one shaft.

    `shafts` are None where the newest measurement has no result; `sets` names the set of each that is in one.
    """
    table = _plain_table("shaft", "spine", "in set", "likely also", "spine", "in set")
    for pair in pairs[:SHOWN]:
        table.add_row(*(cell for key in pair for cell in _twin(key, shafts[key], sets.get(key, ""))))
    table.caption = f"{len(pairs) - SHOWN} more pairs are not shown: use --json" if len(pairs) > SHOWN else None
    return table


def _twin(number: int, shaft: StockShaft | None, set_name: str) -> tuple[str, str, str]:
    name, spine = (str(number), "-") if shaft is None else (shaft.name, f"{shaft.spine_thou:.2f}")
    return printable(name), spine, printable(set_name)


def kept_table(sets: Sequence[KeptSet], names: Mapping[int, str]) -> Table:
    """One line a set that the store keeps."""
    table = _plain_table("set", "shafts", "asked for", "like")
    for one in sets:
        like = "" if one.like is None else names.get(one.like, f"set {one.like}, which is gone")
        gone = "taken apart" if not one.present else ", ".join(str(shaft) for shaft in one.present)
        table.add_row(printable(one.name), gone, limits_words(one.limits), printable(like))
    return table


def sizes_table(rows: Sequence[tuple[StockShaft, Sequence[Likely]]]) -> Table:
    """One line a shaft: its likeliest size, and what else it may be."""
    table = _plain_table("shaft", "spine", "size", "probability", "or else")
    for shaft, likely in rows:
        first, *others = likely
        rest = ", ".join(f"{printable(one.name)} {100 * one.probability:.1f} %" for one in others)
        sure = f"{100 * first.probability:.1f} %"
        table.add_row(printable(shaft.name), f"{shaft.spine_thou:.2f}", printable(first.name), sure, rest)
    return table


def too_few_words(limits: Limits, kept: int, left_out: Mapping[str, Sequence[int]]) -> str:
    """Why there is no set: where the shafts are that cannot be taken, the most first."""
    why = "; ".join(f"{len(numbers)} left out: {reason}" for reason, numbers in _most_first(left_out))
    return (
        f"no set of {limits.number}: there are only {kept} shafts to choose from"
        f"; {why or 'no other shaft was measured in the batches and bins asked for'}"
    )


def blocked_words(needed: Mapping[str, float | None], limits: Limits) -> str:
    """Why there is no set: which limit blocks, and to what it would have to be widened."""
    helps = [
        f"{quantity.words} would have to be {value:g} {quantity.unit} instead of {limit:g} ({value - limit:.4g} more)"
        for quantity, limit in zip(limits.quantities, limits.windows, strict=True)
        if (value := needed[quantity.name]) is not None
    ]
    if not helps:
        return f"no set of {limits_words(limits)}: no limit blocks alone, widen two of them or ask for fewer shafts"
    return f"no set of {limits_words(limits)}: {', or '.join(helps)}"


def review_json(name: str, one: Review, limits: Limits, distance_m: float) -> dict[str, object]:
    """A set as plain values; each u_... is a standard uncertainty (k = 1)."""
    shafts = [
        {"shaft": shaft.shaft, "label": shaft.label, "spine_thou": shaft.spine_thou, "from_mean_thou": away,
         "u_from_mean_thou": u, **{each.name: each.of(shaft) for each in FURTHER}}
        for shaft, away, u in zip(one.shafts, one.from_mean_thou, one.u_from_mean_thou, strict=True)
    ]  # fmt: skip
    return {
        "set": name, "mean_thou": one.mean_thou, "u_mean_thou": one.u_mean_thou, "range_thou": one.range_thou,
        "u_range_thou": one.u_range_thou, "noise_thou": one.noise_thou, "told_apart": one.is_told_apart,
        "spoiler": None if one.spoiler is None else one.spoiler.shaft, "at_target_mm": one.at_target_mm(distance_m),
        "distance_m": distance_m, "ranges": {each.name: _known_range(one.shafts, each) for each in limits.quantities},
        "shafts": shafts,
    }  # fmt: skip


def _known_range(shafts: Sequence[StockShaft], quantity: SetQuantity) -> float | None:
    """None when one of the shafts lacks the quantity by now: measured again without it."""
    values = [value for one in shafts if (value := quantity.of(one)) is not None]
    return None if len(values) < len(shafts) else float(max(values) - min(values))
