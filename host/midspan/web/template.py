"""The page's own templates; styles and scripts are put in where a template or the page asks for them."""

from pathlib import Path

from midspan.report.template import Templates

_HERE = Path(__file__).parent
filled = Templates(_HERE / "templates", _HERE / "static").filled
