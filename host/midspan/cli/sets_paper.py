"""`midspan sets card`: the card that goes with a set."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.base.errors import OutputError
from midspan.cli.options import STORE, Factor, SetName, StoreAt, named_after, shop_of

ENDINGS = (".html", ".pdf")


def card(
    context: typer.Context,
    name: SetName,
    out: Annotated[
        Path | None, typer.Option("--out", help="Files to write, without ending.", show_default="card-SET")
    ] = None,
    store: StoreAt = STORE,
    k: Factor = None,
) -> None:
    """Write the card that goes with a set, as HTML and PDF."""
    from midspan.report.set_card import card_of, write_card
    from midspan.report.template import filled, write_page
    from midspan.sets.registry import Sets

    stem = _stem(out or named_after("card", name, ""))
    with store.open_to_read() as opened:
        made = card_of(opened, Sets(opened).named(name), k, zone=None, shop=shop_of(context))
    page, printed = stem.with_name(f"{stem.name}.html"), stem.with_name(f"{stem.name}.pdf")
    write_page(page, filled("set_card.html", card=made))
    write_card(made, printed)
    print(f"{page}\n{printed}")


def _stem(out: Path) -> Path:
    """Return the name of both files without an ending; an OutputError says that it names no file."""
    stem = out.with_suffix("") if out.suffix.lower() in ENDINGS else out
    if stem.name in ("", ".."):
        raise OutputError(f"--out {out}: not a file name; give a name without ending", code="no_file_name")
    return stem
