"""How a made part of the press is drawn: in the gauge, at home, and then laid down as it is cut or printed."""

from __future__ import annotations

from dataclasses import dataclass

from build123d import Location, Shape

from model.piece import Part, Way


@dataclass(frozen=True)
class Stock:
    """What a made part is made of and how: way, material, stock, price with the work in EUR, notes on its drawing."""

    way: Way
    material: str
    designation: str
    price_eur: float
    notes: tuple[str, ...] = ()


def made(number: str, name: str, stock: Stock, shape: Shape, where: Location) -> Part:
    """Return the part whose solid at home is given, in the frame of its place `where`, as it is cut or printed."""
    solid = shape.solid().moved(where.inverse())
    price = stock.price_eur
    return Part(number, name, stock.way, solid, stock.material, stock.designation, price, notes=stock.notes)
