"""Pages that need nothing else: a template, filled with values that are escaped."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from midspan.base.files import writing
from midspan.base.formatting import printable


def _harmless(value: object) -> object:
    """Names from elsewhere without control characters, for which HTML has no place."""
    return printable(value) if isinstance(value, str) and not hasattr(value, "__html__") else value


class Templates:
    """Templates of some folders, each filled with values that are escaped."""

    def __init__(self, *folders: Path) -> None:
        self._environment = Environment(
            loader=FileSystemLoader(folders),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            finalize=_harmless,
        )

    def filled(self, template: str, **values: Any) -> str:
        """Return the page that a template makes of these values; a name that is missing is an error, not a gap."""
        return self._environment.get_template(template).render(values)


filled = Templates(Path(__file__).parent / "templates").filled


def write_page(path: Path, html: str) -> None:
    """Write a page; raises OutputError when that cannot be."""
    with writing(path):
        path.write_text(html, encoding="utf-8")
