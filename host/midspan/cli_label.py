"""Command line: the name that a shaft is given, wherever one is measured."""

from typing import Annotated

import typer

LONGEST_LABEL = 64


def _one_line(label: str) -> str:
    """A label must be storable in every file and printable on every screen."""
    if not label.isprintable() or len(label) > LONGEST_LABEL:
        raise typer.BadParameter(f"at most {LONGEST_LABEL} printable characters")
    return label


Label = Annotated[str, typer.Option("--label", help="A name for the shaft.", callback=_one_line)]
