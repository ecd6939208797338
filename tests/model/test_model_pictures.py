"""A picture shows what is new in colour, names it, and is small."""

import numpy as np
import pytest
import toy
from build123d import Location
from model.output.pictures import picture
from model.output.scenes import apart, pictures, single, stages
from model.output.stage import Camera
from model.piece import Piece


def coloured(image):
    """Return the share of the picture that is neither white, grey nor black."""
    pixels = np.asarray(image.convert("RGB")).astype(int)
    return float((np.ptp(pixels, axis=2) > 40).mean())


def test_only_what_is_new_is_coloured():
    pieces = toy.pieces()
    camera = Camera()
    assert coloured(picture(pieces, camera, lambda piece: piece.step == "2 stands")) > 0.02
    assert coloured(picture([pieces[0]], camera, lambda piece: True)) > 0.1
    assert coloured(picture([pieces[0]], camera)) == 0.0


def test_what_lies_to_the_front_is_nearer_to_the_eye():
    """A bracket in front of a plate hides it, seen from the front, and is hidden by it from the back."""
    wall = Piece(toy.plate(), Location((-40, 0, 0)) * Location((0, 0, 0), (90, 0, 0)), step="a")
    small = Piece(toy.bracket(), Location((-20, 40, 5)), step="b")
    front, back = (
        coloured(picture([wall, small], Camera(around, 0), lambda piece: piece.step == "b")) for around in (0, 180)
    )
    assert front > 0.1
    assert back < 0.02


def test_stages_add_up():
    found = list(stages(toy.builds()))
    assert [step for step, _ in found] == ["1 base", "2 stands", "3 drive"]
    assert [len(pieces) for _, pieces in found] == [1, 11, 17]


def test_pieces_drawn_apart_keep_their_turn_and_screws_come_out():
    screws = [piece for piece in toy.pieces() if piece.part.name == "cylinder-head screw" and piece.step == "2 stands"]
    moved = apart(screws)
    assert [piece.where.orientation for piece in moved] == [piece.where.orientation for piece in screws]
    lifted = [after.where.position.Z - before.where.position.Z for after, before in zip(moved, screws, strict=True)]
    assert min(lifted) > 10


def test_of_a_pair_one_is_drawn_apart_and_of_what_spans_both_sides_all():
    pieces = toy.pieces()
    pair = [piece for piece in pieces if piece.step == "2 stands"]
    assert len(single(pair)) == len(pair) / 2
    assert len(single([*pair, pieces[0]])) == len(pair) + 1
    assert single(pair[5:]) == pair[5:]


def test_every_picture_has_the_notes_width_and_is_small(tmp_path):
    for name, image in pictures(toy.builds()):
        path = tmp_path / name
        image.save(path, optimize=True)
        assert image.width == 900
        assert path.stat().st_size < 60_000
    assert len(list(tmp_path.iterdir())) == 2 + 2 * 3


@pytest.mark.parametrize("above", [0, 60])
def test_the_picture_is_not_cut_off(above):
    pixels = np.asarray(picture(toy.pieces(), Camera(30, above)).convert("L"))
    border = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    assert border.min() > 250
