"""What the commands of cards and labels do, once their options are known."""

from collections.abc import Sequence
from pathlib import Path

from midspan.base.errors import OutputError, ReadingsError
from midspan.report.labels import label_of, load_sheet, write_labels
from midspan.report.set_card import card_of, write_card
from midspan.report.sets_view import results_of
from midspan.report.template import filled, write_page
from midspan.sets.registry import Sets
from midspan.sets.stock import shafts_of, spoken_against
from midspan.store.read_only import open_to_read

ENDINGS = (".html", ".pdf")


def card(store_file: Path, name: str, out: Path | None, k: float) -> None:
    """Write the card of a set as a page and on paper."""
    stem = _stem(out or Path("card-" + "".join(sign if sign.isalnum() else "-" for sign in name)))
    with open_to_read(store_file) as store:
        made = card_of(store, Sets(store).named(name), k, zone=None)
    page, paper = stem.with_name(f"{stem.name}.html"), stem.with_name(f"{stem.name}.pdf")
    write_page(page, filled("set_card.html", card=made))
    write_card(made, paper)
    print(f"{page}\n{paper}")


def labels(
    store_file: Path,
    shafts: Sequence[str],
    set_name: str | None,
    sheet_file: Path | None,
    out: Path,
    skip: int,
    k: float,
) -> None:
    """Write the labels of shafts, or of all shafts of a set."""
    if out.suffix.lower() != ".pdf":
        raise OutputError(f"{out}: the name of a sheet of labels ends in .pdf")
    sheet = load_sheet(sheet_file)
    if skip >= sheet.number:
        raise ReadingsError(f"--skip {skip}: a sheet has {sheet.number} labels; take a new one")
    with open_to_read(store_file) as store:
        sets = Sets(store)
        numbers = [sets.number(one) for one in shafts]
        numbers += sets.named(set_name).present if set_name is not None else ()
        if not numbers:
            raise ReadingsError("say which shafts, or --set NAME with shafts in it")
        of = {number: one.name for one in sets.all() for number in one.present}
        found = shafts_of(store, numbers)
        those = [found[number] for number in numbers]
        results = results_of(store, those)
        of |= spoken_against(store, numbers)
    made = [label_of(one, result, k, of.get(one.shaft)) for one, result in zip(those, results, strict=True)]
    sheets = write_labels(made, sheet, out, skip)
    print(f"{out}: {len(made)} label{'s' if len(made) != 1 else ''} on {sheets} sheet{'s' if sheets != 1 else ''}")


def _stem(out: Path) -> Path:
    """The name of both files without an ending; OutputError when it names none."""
    stem = out.with_suffix("") if out.suffix.lower() in ENDINGS else out
    if stem.name in ("", ".."):
        raise OutputError(f"--out {out}: that names no file; give a name without ending")
    return stem
