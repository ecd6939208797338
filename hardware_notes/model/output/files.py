"""Files to make parts from: STEP of parts and assemblies, STL of what is printed, DXF of what is cut.

A part's file depends on its shape alone: no date, no random names. STEP files leave away the curves on faces, which any
reader works out again: half the size. Those of assemblies number their joints through all that a program writes.
"""

from __future__ import annotations

import logging
import tarfile
from collections.abc import Iterable, Mapping
from math import atan2, degrees
from pathlib import Path

import ezdxf
from build123d import Compound, Edge, Face, GeomType, Plane, Solid, export_step, section
from ezdxf.document import Drawing
from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.StlAPI import StlAPI_Writer

from model.piece import Part, Piece

CHORDS = 48  # of a curve that is neither line nor circle
HEIGHTS = (0.02, 0.25, 0.5, 0.75, 0.98)  # of the sections, as a share of the thickness
SAG_MM, TURN_RAD = 0.05, 0.7  # of the triangles of a mesh to print
DATE = "2000-01-01T00:00:00"  # in STEP's header, which asks for one
logging.getLogger("ezdxf").setLevel(logging.ERROR)  # it warns that so old a format says no unit
ezdxf.options.write_fixed_meta_data_for_testing = True  # neither date nor random identity in a DXF


def write_stl(part: Part, folder: Path) -> Path:
    """Write the mesh of a printed part as it is printed, and return its file."""
    path = folder / f"{name_of(part)}.stl"
    alone = BRepBuilderAPI_Copy(part.shape.wrapped, True, False).Shape()  # without the mesh that a check has left on it
    BRepMesh_IncrementalMesh(alone, SAG_MM, False, TURN_RAD, False).Perform()
    writer = StlAPI_Writer()
    writer.ASCIIMode = False
    writer.Write(alone, str(path))
    return path


def write_dxf(part: Part, folder: Path) -> Path:
    """Write the outline of a cut part on a layer named after its thickness, and return its file.

    Every cutter reads the oldest version of the format: lines, circles, arcs, and polylines for the rest.
    """
    path = folder / f"{name_of(part)}.dxf"
    drawing = ezdxf.new("R12")
    thickness = f"{part.shape.bounding_box().size.Z:.2f}".rstrip("0").rstrip(".")
    layer = drawing.layers.add(f"{part.material} {thickness} mm".replace(" ", "_").upper()).dxf.name
    for face in outline(part.shape):
        for wire in (face.outer_wire(), *face.inner_wires()):
            for edge in wire.edges():
                _draw(drawing, edge, layer)
    drawing.saveas(path)
    return path


def _draw(drawing: Drawing, edge: Edge, layer: str) -> None:
    """Draw an edge that lies in z = 0."""
    paper, on = drawing.modelspace(), {"layer": layer}
    start, end = edge @ 0, edge @ 1
    if edge.geom_type == GeomType.LINE:
        paper.add_line((start.X, start.Y), (end.X, end.Y), dxfattribs=on)
    elif edge.geom_type == GeomType.CIRCLE:
        centre, middle = edge.arc_center, edge @ 0.5
        if edge.is_closed:
            paper.add_circle((centre.X, centre.Y), edge.radius, dxfattribs=on)
        else:
            angles = [degrees(atan2(point.Y - centre.Y, point.X - centre.X)) for point in (start, middle, end)]
            counterclockwise = (angles[1] - angles[0]) % 360 < (angles[2] - angles[0]) % 360
            first, last = (angles[0], angles[2]) if counterclockwise else (angles[2], angles[0])
            paper.add_arc((centre.X, centre.Y), edge.radius, first, last, dxfattribs=on)
    else:
        points = [edge @ (i / CHORDS) for i in range(CHORDS + 1)]
        paper.add_polyline2d([(point.X, point.Y) for point in points], dxfattribs=on)


def outline(shape: Solid) -> list[Face]:
    """Return what a sheet is cut to, as faces in z = 0: a hole that does not go through leaves its material."""
    box = shape.bounding_box()
    whole = None
    for share in HEIGHTS:
        height = box.min.Z + share * box.size.Z
        for face in section(shape, section_by=Plane.XY.offset(height)).faces():
            flat = face.moved(Plane.XY.offset(-height).location)
            whole = flat if whole is None else whole + flat
    return list(whole.clean().faces())


def write_step(part: Part, folder: Path) -> Path:
    """Write the solid of a made part, and return its file."""
    path = folder / f"{name_of(part)}.step"
    alone = Solid(part.shape.wrapped)  # a shape that hangs in an assembly cannot be written by itself
    alone.label = name_of(part)
    export_step(alone, path, write_pcurves=False, timestamp=DATE)
    return path


def write_assembly(pieces: Iterable[Piece], name: str, folder: Path) -> Path:
    """Write all pieces in their places as a single STEP file, each shape once, and return the file."""
    path = folder / f"{name}.step"
    children = []
    for piece in pieces:
        child = Solid(piece.part.shape.wrapped.Moved(piece.where.wrapped))
        child.label = name_of(piece.part)
        children.append(child)
    export_step(Compound(label=name, children=children), path, write_pcurves=False, timestamp=DATE)
    return path


def write_assemblies(builds: Mapping[str, Iterable[Piece]], folder: Path) -> dict[str, Path]:
    """Write each build as STEP without its wires, and return the file of each by its name."""
    files = {}
    for name, pieces in builds.items():
        solid = [piece for piece in pieces if piece.part.material != "wire"]
        files[name] = write_assembly(solid, name.replace(" ", "-"), folder)
    return files


def pack(files: Iterable[Path], packed: Path) -> None:
    """Write files into a tar.xz that has neither dates nor owners."""
    with tarfile.open(packed, "w:xz", preset=9) as archive:
        for path in files:
            entry = tarfile.TarInfo(path.name)
            entry.size = path.stat().st_size
            with path.open("rb") as file:
                archive.addfile(entry, file)


def name_of(part: Part) -> str:
    """Return a part's number and name as the name of a file.

    >>> from types import SimpleNamespace
    >>> name_of(SimpleNamespace(number="S01", name="foot plate, left"))
    'S01-foot-plate-left'
    """
    words = "".join(letter if letter.isalnum() else " " for letter in part.name).split()
    return "-".join([part.number, *words])
