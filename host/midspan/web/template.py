"""The page's own templates, filled with values; styles and scripts are inserted where a template asks for them."""

from pathlib import Path

from midspan.report.template import Templates

_HERE = Path(__file__).parent
filled = Templates(_HERE / "templates", _HERE / "static").filled
