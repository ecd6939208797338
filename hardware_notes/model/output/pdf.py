"""Drawings on paper: the sheets' SVG, which holds lines, polygons, circles and words, as pages of a PDF."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from xml.etree import ElementTree

from drawings.draw_svg import Sheet
from reportlab import rl_config
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

rl_config.useA85 = 0  # a quarter smaller; nothing has read PDF as text since long
POINT = 72 / 96  # of a unit of the sheet


def write_pdf(sheets: Iterable[Sheet], path: Path, title: str) -> Path:
    """Write a page for each sheet, and return the file; its bytes hold no date."""
    canvas = Canvas(str(path), invariant=1, pageCompression=1)
    canvas.setTitle(title)
    for sheet in sheets:
        canvas.bookmarkPage(sheet.title)
        canvas.addOutlineEntry(sheet.title, sheet.title)
        canvas.setPageSize((sheet.width * POINT, sheet.height * POINT))
        canvas.translate(0, sheet.height * POINT)
        canvas.scale(POINT, POINT)
        for element in ElementTree.fromstring(sheet.svg):
            _draw(canvas, element)
        canvas.showPage()
    canvas.save()
    return path


def _draw(canvas: Canvas, element: ElementTree.Element) -> None:
    kind = element.tag.rsplit("}", 1)[-1]
    if kind in ("polyline", "polygon"):
        _path(canvas, element, closed=kind == "polygon")
    elif kind == "circle":
        _pens(canvas, element)
        x, y, radius = (float(element.get(name)) for name in ("cx", "cy", "r"))
        canvas.circle(x, -y, radius, stroke=1, fill=element.get("fill") != "none")
    elif kind == "text":
        _words(canvas, element)


def _path(canvas: Canvas, element: ElementTree.Element, *, closed: bool) -> None:
    _pens(canvas, element)
    points = [tuple(map(float, pair.split(","))) for pair in element.get("points").split()]
    path = canvas.beginPath()
    path.moveTo(points[0][0], -points[0][1])
    for x, y in points[1:]:
        path.lineTo(x, -y)
    if closed:
        path.close()
    canvas.drawPath(path, stroke=1, fill=element.get("fill") != "none")


def _pens(canvas: Canvas, element: ElementTree.Element) -> None:
    """Set width, dashes and colours."""
    canvas.setLineWidth(float(element.get("stroke-width", 1)))
    canvas.setDash([float(value) for value in element.get("stroke-dasharray", "").split()])
    canvas.setStrokeColor(element.get("stroke", "#000000"))
    if element.get("fill") not in (None, "none"):
        canvas.setFillColor(element.get("fill"))


def _words(canvas: Canvas, element: ElementTree.Element) -> None:
    """Write words, white around them so that lines stop short."""
    font = "Helvetica-Bold" if element.get("font-weight") == "bold" else "Helvetica"
    size, words = float(element.get("font-size")), element.text or ""
    back = {"middle": 0.5, "end": 1.0}.get(element.get("text-anchor", ""), 0.0) * stringWidth(words, font, size)
    canvas.saveState()
    canvas.translate(float(element.get("x")), -float(element.get("y")))
    if element.get("transform"):
        canvas.rotate(-float(element.get("transform").removeprefix("rotate(").split()[0]))
    for mode, colour in ((2, "#ffffff"), (0, "#000000")):
        canvas.saveState()
        canvas.setDash()
        canvas.setLineWidth(2.5)
        canvas.setStrokeColor("#ffffff")
        canvas.setFillColor(colour)
        line = canvas.beginText(-back, 0)
        line.setFont(font, size)
        line.setTextRenderMode(mode)
        line.textOut(words)
        canvas.drawText(line)
        canvas.restoreState()
    canvas.restoreState()
