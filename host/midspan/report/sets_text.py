"""Matched sets for people: what a choice found, the shafts of a set, and what the stock holds."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from itertools import islice

from rich.table import Table

from midspan.base.formatting import printable
from midspan.measurement.definition import DEFINITION
from midspan.measurement.shown_quantities import (
    FINE_PLACES,
    INSIDE_SET,
    UNKNOWN,
    across_text,
    difference_unit,
    in_shown_unit,
    meaning,
    shown_unit,
    spine_convention,
    spine_text,
    spine_unit,
    stated_value,
)
from midspan.sets.choose import Choice
from midspan.sets.limits import QUANTITIES, Limits, SetQuantity
from midspan.sets.nominal_sizes import Likely
from midspan.sets.registry import KeptSet
from midspan.sets.review import RING_M, RING_MM, RING_THOU, Review
from midspan.sets.stock import LIKELY, Stock, StockShaft, converted_words
from midspan.store.identity import Pair

SHOWN = 60  # sets or pairs in a table; --json has the others
FURTHER = QUANTITIES[1:]
FURTHER_PLACES = {"thou": 1, "mm": 3, "gr": 1, "g": 2}  # decimal places of a spread, weight or runout in a column


def _plain_table(*headings: str) -> Table:
    """Return a table whose first column is a name and whose others are numbers."""
    table = Table(box=None, pad_edge=False, header_style="bold", caption_justify="left")
    for i, heading in enumerate(headings):
        table.add_column(heading, justify="right" if i else "left", no_wrap=i == 0)
    return table


def limit_text(limit: float, unit: str) -> str:
    """Return a limit in the unit in which it is typed, and in the chosen unit where that is another.

    Parameters
    ----------
    limit : float
        The limit.
    unit : str
        Unit in which commands take it: "thou" or "gr".

    Returns
    -------
    str
        As in "2.5 thou" or "2.5 thou (0.0635 mm)".

    Examples
    --------
    >>> from midspan.base.shown_units import AcrossUnit, ShownUnits, showing
    >>> with showing(ShownUnits(across=AcrossUnit.MM)):
    ...     limit_text(2.5, "thou"), limit_text(5.0, "gr")
    ('2.5 thou (0.0635 mm)', '5 gr')
    """
    typed = f"{limit:g} {unit}"
    return typed if shown_unit(unit) == unit else f"{typed} ({stated_value(limit, unit)})"


def limits_words(limits: Limits) -> str:
    """Return what was asked for, as in "12 shafts; spine within 3 thou, weight within 5 gr".

    Parameters
    ----------
    limits : Limits
        What was asked for.

    Returns
    -------
    str
        Number of shafts and each limit.
    """
    asked = (
        f"{quantity.words} within {limit_text(limit, quantity.unit)}"
        for quantity, limit in zip(limits.quantities, limits.windows.tolist(), strict=True)
    )
    return f"{limits.number} shafts; {', '.join(asked)}"


def choice_words(choice: Choice, limits: Limits) -> Iterator[str]:
    """Yield how many sets there are, and how far from the best they may be.

    Parameters
    ----------
    choice : Choice
        The sets found.
    limits : Limits
        What was asked for.

    Yields
    ------
    str
        A line.
    """
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


def sets_table(reviews: Mapping[str, Review], limits: Limits, distance_m: float) -> Table:
    """Return one row per set: mean, spread with its U, ranges, and what the spread costs at the target.

    Parameters
    ----------
    reviews : Mapping[str, Review]
        Reviewed sets by name.
    limits : Limits
        What was asked for.
    distance_m : float
        Distance of the target, m.

    Returns
    -------
    Table
        At most SHOWN rows; the caption says how many more there are.
    """
    further = [quantity for quantity in FURTHER if quantity in limits.quantities]
    ranges = [f"{quantity.words}, {shown_unit(quantity.unit)}" for quantity in further]
    widest = f"widest difference, {difference_unit()}"
    table = _plain_table("set", f"mean spine, {spine_unit()}", widest, *ranges, f"mm at {distance_m:g} m", "shafts")
    for name, found in islice(reviews.items(), SHOWN):
        values = (_from_to(found.shafts, quantity) for quantity in further)
        members = ", ".join(str(shaft.shaft) for shaft in found.shafts)
        mean, widest = spine_text(found.mean, found.asked_k).cell, widest_text(found)
        table.add_row(printable(name), mean, widest, *values, f"{found.at_target_mm(distance_m):.0f}", members)
    more = f"; {len(reviews) - SHOWN} more sets: --json lists all" if len(reviews) > SHOWN else ""
    table.caption = (
        f"spine: {spine_convention()}; {meaning(_asked_k(reviews))}; {INSIDE_SET}\n"
        "mm at the target: by a rule of thumb without a published source\n"
        f"shafts by number, the stiffest first{more}"
    )
    return table


def _asked_k(reviews: Mapping[str, Review]) -> float | None:
    """Return the coverage factor that was asked for, which is the same for all reviews."""
    return next((found.asked_k for found in reviews.values()), None)


def widest_text(found: Review) -> str:
    """Return the difference between the softest and the stiffest shaft of a set, its ± that inside the set.

    Parameters
    ----------
    found : Review
        The set reviewed.

    Returns
    -------
    str
        The number without its unit, which is `difference_unit`.
    """
    return across_text(found.range_thou, found.k * found.u_range_thou, FINE_PLACES).number


def away_text(found: Review, i: int) -> str:
    """Return how far a shaft is from the mean of its set, its ± that inside the set.

    Parameters
    ----------
    found : Review
        The set reviewed.
    i : int
        Place of the shaft in `found.shafts`.

    Returns
    -------
    str
        The number without its unit, which is `difference_unit`.
    """
    return across_text(found.from_mean_thou[i], found.k * found.u_from_mean_thou[i], FINE_PLACES).number


def _from_to(shafts: Sequence[StockShaft], quantity: SetQuantity) -> str:
    """Return the least and the largest value of a quantity, "-" if no shaft has it."""
    values = [value for value in (quantity.of(shaft) for shaft in shafts) if value is not None]
    return f"{further_text(min(values), quantity)} to {further_text(max(values), quantity)}" if values else UNKNOWN


def further_text(value: float | None, quantity: SetQuantity) -> str:
    """Return a spread, weight or runout without its unit.

    Parameters
    ----------
    value : float or None
        The value in the unit of the quantity, None where it is not known.
    quantity : SetQuantity
        Its quantity.

    Returns
    -------
    str
        The number in the unit that people read, a dash for None.
    """
    if value is None:
        return UNKNOWN
    return f"{in_shown_unit(value, quantity.unit):.{FURTHER_PLACES[shown_unit(quantity.unit)]}f}"


def members_table(found: Review) -> Table:
    """Return one row per shaft of a set, the stiffest first.

    Only a shaft that differs from the mean by more than the ± is called stiffer or softer.

    Parameters
    ----------
    found : Review
        The set reviewed.

    Returns
    -------
    Table
        The rows.
    """
    further = [f"{quantity.words}, {shown_unit(quantity.unit)}" for quantity in FURTHER]
    table = _plain_table("shaft", f"spine, {spine_unit()}", f"from the mean, {difference_unit()}", "", *further)
    for i, shaft in enumerate(found.shafts):
        side = ("softer" if found.from_mean_thou[i] > 0 else "stiffer") if found.apart(i) else "not told apart"
        cells = (further_text(quantity.of(shaft), quantity) for quantity in FURTHER)
        spine = spine_text(shaft, found.asked_k).cell
        table.add_row(printable(shaft.name), spine, away_text(found, i), side, *cells)
    table.caption = f"spine: {spine_convention()}; {meaning(found.asked_k)}; {INSIDE_SET}"
    return table


def review_words(found: Review, distance_m: float) -> Iterator[str]:
    """Yield sentences on a set: mean, spread, which shaft widens it most, and what that costs at the target.

    Parameters
    ----------
    found : Review
        The set reviewed.
    distance_m : float
        Distance of the target, m.

    Yields
    ------
    str
        A line.
    """
    widest = f"{widest_text(found)} {difference_unit()}"
    yield f"mean spine {spine_text(found.mean, found.asked_k)}; from stiffest to softest {widest} inside this set"
    yield from filter(None, (converted_words(found.shafts),))
    if not found.is_told_apart:
        yield (
            f"the gauge cannot tell these shafts apart: {len(found.shafts)} equal ones would differ by up to "
            f"{across_text(found.noise_thou, places=FINE_PLACES)} through its noise alone"
        )
    elif found.spoiler is not None:
        yield (
            f"shaft {printable(found.spoiler.name)} stands out: without it the rest would lie within "
            f"{across_text(found.spoiler.range_without_thou, places=FINE_PLACES)}"
        )
    else:
        yield "no single shaft stands out"
    yield (
        f"at {distance_m:g} m that difference moves arrows about {found.at_target_mm(distance_m):.0f} mm apart: a "
        f"rule of thumb without a published source ({stated_value(RING_THOU, 'thou')} move an arrow by one ring of "
        f"{RING_MM:g} mm at {RING_M:g} m)"
    )


def against_words(against: Mapping[int, str], what: str) -> Iterator[str]:
    """Yield what speaks against shafts, a line each.

    Parameters
    ----------
    against : Mapping[int, str]
        Reason by number of the shaft.
    what : str
        What the line says of the shaft, as in "is left out".

    Yields
    ------
    str
        A line.
    """
    yield from (f"shaft {shaft} {what}: {reason}" for shaft, reason in against.items())


def _most_first(left_out: Mapping[str, Sequence[int]]) -> list[tuple[str, Sequence[int]]]:
    """Return reasons with the numbers of their shafts, the most frequent reason first."""
    return sorted(left_out.items(), key=lambda entry: (-len(entry[1]), entry[0]))


def left_out_table(left_out: Mapping[str, Sequence[int]], kept: int) -> Table:
    """Return how many shafts there are to choose from, and how many are left out for each reason.

    Parameters
    ----------
    left_out : Mapping[str, Sequence[int]]
        Numbers of shafts by reason.
    kept : int
        Shafts to choose from.

    Returns
    -------
    Table
        The rows, the most frequent reason first.
    """
    table = _plain_table("stock", "shafts")
    table.add_row("to choose from", str(kept))
    for reason, numbers in _most_first(left_out):
        table.add_row(f"left out: {reason}", str(len(numbers)))
    return table


def twins_words(stock: Stock) -> Iterator[str]:
    """Yield warnings about shafts that may be in the stock under two numbers.

    Parameters
    ----------
    stock : Stock
        The stock.

    Yields
    ------
    str
        A line; none if all shafts are told apart.
    """
    likely = len(stock.left_out.get(LIKELY, ()))
    if likely:
        yield (
            f"{_shafts(likely)} left out: each is likely in the stock under another number too. `midspan shafts twins` "
            "lists the pairs; say which are one shaft (midspan shafts join) and which two (midspan shafts different)"
        )
    unsure = len({number for numbers in stock.unsure.values() for number in numbers})
    if unsure:
        yield (
            f"{_shafts(unsure)} may be in the stock under two numbers, and so twice in a set: `midspan shafts twins` "
            "says why that cannot be told"
        )


def twins_json(stock: Stock) -> dict[str, object]:
    """Return shafts that may be in the stock under two numbers as plain values.

    Parameters
    ----------
    stock : Stock
        The stock.

    Returns
    -------
    dict[str, object]
        Pairs of numbers that are likely one shaft, and by reason the shafts that cannot be told apart.
    """
    return {"likely_twins": [list(pair) for pair in stock.likely], "cannot_tell": _lists(stock.unsure)}


def _shafts(number: int) -> str:
    """Return a number of shafts in words."""
    return f"{number} shaft{'s' if number != 1 else ''}"


def _lists(by_reason: Mapping[str, Sequence[int]]) -> dict[str, list[int]]:
    """Return the mapping with lists that JSON can hold."""
    return {reason: list(numbers) for reason, numbers in by_reason.items()}


def twins_table(
    pairs: Sequence[Pair], shafts: Mapping[int, StockShaft | None], sets: Mapping[int, str]
) -> Table:  # fmt: skip
    """Return one row per pair of numbers that likely belong to one shaft.

    Parameters
    ----------
    pairs : Sequence[Pair]
        The pairs.
    shafts : Mapping[int, StockShaft or None]
        Shafts by number, None if the newest measurement has no result.
    sets : Mapping[int, str]
        Name of the set of each shaft that is in one.

    Returns
    -------
    Table
        At most SHOWN rows; the caption says how many more there are.
    """
    spine = f"spine, {spine_unit()}"
    table = _plain_table("shaft", spine, "in set", "likely also", spine, "in set")
    for pair in pairs[:SHOWN]:
        table.add_row(*(cell for key in pair for cell in _twin(key, shafts[key], sets.get(key, ""))))
    more = f"; {len(pairs) - SHOWN} more pairs: --json lists all" if len(pairs) > SHOWN else ""
    table.caption = f"{meaning()}{more}"
    return table


def _twin(number: int, shaft: StockShaft | None, set_name: str) -> tuple[str, str, str]:
    """Return name, spine and set of a shaft."""
    name, spine = (str(number), UNKNOWN) if shaft is None else (shaft.name, spine_text(shaft).cell)
    return printable(name), spine, printable(set_name)


def kept_table(sets: Sequence[KeptSet], names: Mapping[int, str]) -> Table:
    """Return one row per set that the store keeps.

    Parameters
    ----------
    sets : Sequence[KeptSet]
        The sets.
    names : Mapping[int, str]
        Names of sets by id.

    Returns
    -------
    Table
        The rows, in the order given.
    """
    table = _plain_table("set", "shafts", "asked for", "like", "said of it")
    for kept in sets:
        like = "" if kept.like is None else names.get(kept.like, f"set {kept.like}, which is gone")
        gone = "taken apart" if not kept.present else ", ".join(str(shaft) for shaft in kept.present)
        table.add_row(
            printable(kept.name), gone, limits_words(kept.limits), printable(like), printable(kept.details.words)
        )
    return table


def set_words(kept: KeptSet) -> Iterator[str]:
    """Yield what people said of a set: for whom, shipped when, earlier names, notes.

    Parameters
    ----------
    kept : KeptSet
        The set.

    Yields
    ------
    str
        A line; none if nothing was said.
    """
    said = kept.details
    if said.words:
        yield printable(said.words)
    if said.earlier_names:
        yield printable(f"called before: {', '.join(said.earlier_names)}")
    yield from (printable(note) for note in said.notes)


def set_json(kept: KeptSet) -> dict[str, object]:
    """Return a kept set as plain values.

    Parameters
    ----------
    kept : KeptSet
        The set.

    Returns
    -------
    dict[str, object]
        Name, shafts, and what people said of it.
    """
    return {"set": kept.name, "shafts": list(kept.present)} | asdict(kept.details)


def sizes_table(rows: Sequence[tuple[StockShaft, Sequence[Likely]]]) -> Table:
    """Return one row per shaft: its likeliest nominal size, and what else it may be.

    Parameters
    ----------
    rows : Sequence[tuple[StockShaft, Sequence[Likely]]]
        Shafts with their sizes, the likeliest first.

    Returns
    -------
    Table
        The rows, in the order given.
    """
    table = _plain_table("shaft", f"spine, {spine_unit()}", "size", "probability", "or else")
    for shaft, likely in rows:
        first, *others = likely
        rest = ", ".join(f"{printable(size.name)} {100 * size.probability:.1f} %" for size in others)
        sure = f"{100 * first.probability:.1f} %"
        table.add_row(printable(shaft.name), spine_text(shaft).cell, printable(first.name), sure, rest)
    table.caption = converted_words([shaft for shaft, _ in rows])
    return table


def too_few_words(limits: Limits, kept: int, left_out: Mapping[str, Sequence[int]]) -> str:
    """Return why there is no set: too few shafts, and why the others are left out.

    Parameters
    ----------
    limits : Limits
        What was asked for.
    kept : int
        Shafts to choose from.
    left_out : Mapping[str, Sequence[int]]
        Numbers of shafts by reason.

    Returns
    -------
    str
        A line.
    """
    why = "; ".join(f"{len(numbers)} left out: {reason}" for reason, numbers in _most_first(left_out))
    return (
        f"no set of {limits.number}: only {kept} shafts to choose from; "
        f"{why or 'no other shaft was measured in the batches and bins asked for'}"
    )


def blocked_words(needed: Mapping[str, float | None], limits: Limits) -> str:
    """Return why there is no set: which limit is too narrow, and how wide it would have to be.

    Parameters
    ----------
    needed : Mapping[str, float or None]
        Width that would be enough, by name of the quantity; None if no width is.
    limits : Limits
        What was asked for.

    Returns
    -------
    str
        A line.
    """
    helps = [
        f"{quantity.words} within {limit_text(value, quantity.unit)} instead of {limit_text(limit, quantity.unit)}"
        for quantity, limit in zip(limits.quantities, limits.windows, strict=True)
        if (value := needed[quantity.name]) is not None
    ]
    if not helps:
        return f"no set of {limits_words(limits)}: widen two of the limits, or ask for fewer shafts"
    return f"no set of {limits_words(limits)}; what would do: {', or '.join(helps)}"


def review_json(name: str, found: Review, limits: Limits, distance_m: float) -> dict[str, object]:
    """Return a set as plain values.

    Parameters
    ----------
    name : str
        Its name.
    found : Review
        The set reviewed.
    limits : Limits
        What was asked for.
    distance_m : float
        Distance of the target, m.

    Returns
    -------
    dict[str, object]
        Values that JSON can hold; each u_... is a standard uncertainty (k = 1).
    """
    shafts = [
        {"shaft": shaft.shaft, "label": shaft.label, "spine_thou": shaft.spine_thou, "from_mean_thou": away,
         "u_from_mean_thou": u, "stored_for": shaft.definition, **{each.name: each.of(shaft) for each in FURTHER}}
        for shaft, away, u in zip(found.shafts, found.from_mean_thou, found.u_from_mean_thou, strict=True)
    ]  # fmt: skip
    return {
        "set": name, "definition": DEFINITION, "mean_thou": found.mean_thou, "u_mean_thou": found.u_mean_thou,
        "range_thou": found.range_thou,
        "u_range_thou": found.u_range_thou, "noise_thou": found.noise_thou, "told_apart": found.is_told_apart,
        "spoiler": None if found.spoiler is None else found.spoiler.shaft,
        "at_target_mm": found.at_target_mm(distance_m), "distance_m": distance_m,
        "ranges": {each.name: _known_range(found.shafts, each) for each in limits.quantities},
        "shafts": shafts,
    }  # fmt: skip


def _known_range(shafts: Sequence[StockShaft], quantity: SetQuantity) -> float | None:
    """Return the range of a quantity over a set, None if a shaft was measured again without it."""
    values = [value for shaft in shafts if (value := quantity.of(shaft)) is not None]
    return None if len(values) < len(shafts) else float(max(values) - min(values))
