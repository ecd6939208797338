"""Pages that need nothing else, made from templates whose values are escaped."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from midspan.base.files import writing
from midspan.base.formatting import printable


def _harmless(value: object) -> object:
    """Return a text without control characters, which HTML cannot hold; any other value as it is."""
    return printable(value) if isinstance(value, str) and not hasattr(value, "__html__") else value


class Templates:
    """Templates of some folders, filled with values that are escaped.

    Parameters
    ----------
    *folders : Path
        Folders that are searched, in this order.
    """

    def __init__(self, *folders: Path) -> None:
        self._environment = Environment(
            loader=FileSystemLoader(folders),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            finalize=_harmless,
        )

    def filled(self, template: str, **values: Any) -> str:
        """Return the page that a template makes of values.

        A name of the template without a value is an error, not a gap.

        Parameters
        ----------
        template : str
            File name of the template.
        **values : Any
            Values by their names in the template.

        Returns
        -------
        str
            The page.
        """
        return self._environment.get_template(template).render(values)


filled = Templates(Path(__file__).parent / "templates").filled


def write_page(path: Path, html: str) -> None:
    """Write a page.

    Parameters
    ----------
    path : Path
        File to write.
    html : str
        The page.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    with writing(path):
        path.write_text(html, encoding="utf-8")
