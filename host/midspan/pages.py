"""Pages that need nothing else: a template of this folder, filled with values that are escaped."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from midspan.files import writing
from midspan.wording import printable


def filled(template: str, **values: Any) -> str:
    """The page that a template makes of these values; a name that is missing is an error, not a gap."""
    return _environment().get_template(template).render(values)


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        finalize=_harmless,
    )


def write_page(path: Path, html: str) -> None:
    """Write a page; raises OutputError when that cannot be."""
    with writing(path):
        path.write_text(html, encoding="utf-8")


def _harmless(value: object) -> object:
    """Names from elsewhere without control characters, for which HTML has no place."""
    return printable(value) if isinstance(value, str) and not hasattr(value, "__html__") else value
