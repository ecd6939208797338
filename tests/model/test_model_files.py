"""What is written for a printer, a cutter or another program is the part, and the same bytes each time."""

import tarfile

import ezdxf
import pytest
import pyvista as pv
import toy
from build123d import Location, Solid, import_step
from model.output.files import name_of, pack, write_assemblies, write_assembly, write_dxf, write_step, write_stl
from model.piece import Part, Piece, Way


def test_the_mesh_of_a_printed_part_is_the_part(tmp_path):
    part = toy.bracket()
    mesh = pv.read(write_stl(part, tmp_path))
    assert mesh.volume == pytest.approx(part.shape.volume, rel=1e-4)
    assert mesh.bounds == pytest.approx((0, 40, 0, 30, 0, 40))


def test_a_cut_part_is_lines_and_circles_on_a_layer_of_its_thickness(tmp_path):
    paper = ezdxf.readfile(write_dxf(toy.plate(), tmp_path)).modelspace()
    assert {entity.dxf.layer for entity in paper} == {"ALUMINIUM_10_MM"}
    circles = [(*entity.dxf.center.xyz[:2], 2 * entity.dxf.radius) for entity in paper.query("CIRCLE")]
    through = [(10, 10, 6.6), (10, 38, 6.6), (40, 24, 8), (70, 10, 6.6), (70, 38, 6.6)]
    assert sorted(circles) == [pytest.approx(circle) for circle in through]
    ends = [point.xyz[:2] for line in paper.query("LINE") for point in (line.dxf.start, line.dxf.end)]
    assert {(round(x), round(y)) for x, y in ends} == {(0, 0), (80, 0), (80, 48), (0, 48)}


def test_solids_are_read_back_as_they_were(tmp_path):
    part = toy.plate()
    assert import_step(write_step(part, tmp_path)).volume == pytest.approx(part.shape.volume)
    pieces = toy.pieces()
    together = import_step(write_assembly(pieces, "toy", tmp_path))
    assert len(together.solids()) == len(pieces)
    assert together.volume == pytest.approx(sum(piece.part.shape.volume for piece in pieces))


def test_a_part_that_hangs_in_an_assembly_is_written_alone(tmp_path):
    pieces = toy.pieces()
    write_assembly(pieces, "toy", tmp_path)
    part = pieces[1].part
    assert len(import_step(write_step(part, tmp_path)).solids()) == 1


def test_bytes_do_not_change_from_run_to_run(tmp_path):
    def written(folder):
        folder.mkdir()
        write_stl(toy.bracket(), folder)
        write_dxf(toy.plate(), folder)
        write_step(toy.roller(), folder)
        return {path.name: path.read_bytes() for path in folder.iterdir()}

    first, second = written(tmp_path / "first"), written(tmp_path / "second")
    assert sorted(first) == ["S01-plate.dxf", "S02-roller.step", "S03-bracket.stl"]
    assert [name for name in first if first[name] != second[name]] == []


def test_builds_are_packed_together_without_their_wires(tmp_path):
    wire = Piece(Part("E30", "wire", Way.BOUGHT, Solid.make_box(1, 1, 9), "wire", "", 0.1), Location((0, 0, 99)))
    files = write_assemblies({"one": [*toy.pieces(), wire], "a second": toy.pieces()[:1]}, tmp_path)
    pack(files.values(), tmp_path / "packed")
    with tarfile.open(tmp_path / "packed") as archive:
        assert archive.getnames() == ["one.step", "a-second.step"]
        assert archive.extractfile("one.step").read() == files["one"].read_bytes()
    assert len(import_step(files["one"]).solids()) == len(toy.pieces())


def test_a_files_name_tells_number_and_name():
    assert name_of(toy.plate()) == "S01-plate"
