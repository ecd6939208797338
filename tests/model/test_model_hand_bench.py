"""The hand bench as a solid: what its shafts and its weight need, from numbers outside the model."""

import pytest
from build123d import BoundBox, Location, Solid
from frame.dimensions import Frame
from model.hand_bench import HANGING, hand_bench, motions
from model.hand_bench_stands import pin_z
from model.piece import Way
from model.standard.shapes import ALONG_X, cylinder

FRAME = Frame.load()
PIECES = hand_bench(FRAME)
INCH = 25.4


def of(number: str) -> list[Solid]:
    """Return the solids of a part in their places."""
    return [piece.solid for piece in PIECES if piece.part.number == number]


def overlap(solid: Solid, other: Solid) -> float:
    """Return the volume that two solids share, mm3."""
    common = solid.intersect(other)
    return sum(shared.volume for shared in common.solids()) if common else 0.0


def lying_shaft(diameter: float, length: float) -> Solid:
    """Return a shaft on the pins' tops."""
    middle = Location((0, 0, FRAME.hand_bench.pin_height + diameter / 2))
    return (middle * ALONG_X * cylinder(diameter, -length / 2, length / 2)).solid()


def test_the_pins_stand_28_inches_apart_at_one_height() -> None:
    pins = [solid.center() for solid in of("N148")]
    assert pytest.approx(28 * INCH) == pins[1].X - pins[0].X
    assert [pin.Z for pin in pins] == pytest.approx([pin_z(FRAME)] * 2)


def test_hook_pan_and_fill_weigh_880_grams() -> None:
    assert sum(piece.part.grams for piece in PIECES if piece.moves == HANGING) == pytest.approx(880.0)


Limits = list[tuple[float, float]]


def grown(box: BoundBox, gap: float, down: float = 0.0) -> Limits:
    """Return a box's limits along x, y and z, wider by a gap on every side and longer downward."""
    low = (box.min.X, box.min.Y, box.min.Z + down)
    return [(a - gap, b + gap) for a, b in zip(low, box.max, strict=True)]


def meet(box: BoundBox, limits: Limits) -> bool:
    """Return whether a box reaches into limits."""
    return all(low < b and a < high for a, b, (low, high) in zip(box.min, box.max, limits, strict=True))


@pytest.mark.parametrize("diameter", [4.0, 6.0, 10.0])
@pytest.mark.parametrize("length", [740.0, 860.0])
def test_shafts_lie_on_both_pins_and_touch_nothing_else(diameter: float, length: float) -> None:
    shaft = lying_shaft(diameter, length)
    room = grown(shaft.bounding_box(), 0.0)
    tuned = {"H08", "H09", "H12", "H13"}  # dial, hook, disc and its ring are set to each shaft; drawn for the usual one
    for piece in PIECES:
        drawn_so = piece.part.number not in tuned or diameter == FRAME.shaft.usual
        if drawn_so and meet(piece.solid.bounding_box(), room):
            assert overlap(shaft, piece.solid) < 1e-3, piece.part.name
    for pin in of("N148"):
        assert pytest.approx(0, abs=1e-6) == shaft.distance_to(pin)


def test_dial_tip_and_hook_touch_a_shaft_of_the_usual_size() -> None:
    shaft = lying_shaft(6.0, 800.0)
    assert [shaft.distance_to(of(number)[0]) for number in ("H08", "H09")] == pytest.approx([0, 0], abs=0.03)


def test_the_weight_hangs_free_all_the_way_down() -> None:
    (motion,) = motions(FRAME)
    hanging = of("H10") + of("H11")  # the hook has nothing below it but these
    down = motion.carry(motion.low)[HANGING].position.Z
    swept = [grown(solid.bounding_box(), 3.0, down) for solid in hanging]
    for piece in PIECES:
        if piece.moves != HANGING and piece.part.number != "H08":  # the dial's tip stands beside the hook
            box = piece.solid.bounding_box()
            assert not any(meet(box, way) for way in swept), piece.part.name


def test_printed_parts_lie_flat_and_fit_the_bed() -> None:
    for part in {piece.part.number: piece.part for piece in PIECES if piece.part.way == Way.PRINTED}.values():
        box = part.shape.bounding_box()
        assert pytest.approx(0, abs=1e-6) == box.min.Z
        assert max(box.size.X, box.size.Y, box.size.Z) <= FRAME.print.bed
