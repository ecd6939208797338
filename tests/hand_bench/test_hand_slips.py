"""Typing errors at the hand bench: a reading that disagrees with the others is named, a sound shaft is not.

Sessions are drawn from shafts of known truth by the elastica of `synthetic`, with a bow, an oval and up to 8 % of spine
between the stiff and the soft side; the typing error in each is known.
"""

import json
import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from commands_rig import midspan
from hand_rig import BENCH, EIGHT, TrueBench, bench_file, readings, result_of, write
from midspan.decision.bands import Bands
from midspan.decision.decision import Outcome, judge
from midspan.hand_bench.contradiction import contradictions, undetected_slips
from midspan.hand_bench.readings import numbers_of
from midspan.hand_bench.record import NAMES, Typed
from synthetic import Shaft

GRADUATION = 0.01
RNG = np.random.default_rng(2024)
STOCK = [
    Shaft(spine, spine * share, RNG.uniform(0, 180), bow, RNG.uniform(0, 360))
    for spine in (250.0, 400.0, 600.0, 1000.0)
    for share in (0.0, 0.03, 0.08)
    for bow in (0.0, 0.3, 1.0)
]
SLIPS = ("a digit", "two digits turned", "the decimal mark", "a digit left out", "the sign")


def drawn(rng, positions=8, repeats=2, noise=0.006, again=True, stock=STOCK):
    """Return a clean session on a dial with hundredths, of a shaft with a bow and an oval of 0.05 mm."""
    typed = readings(
        stock[rng.integers(len(stock))], TrueBench(noise=noise), rng, [i * 360 / positions for i in range(positions)],
        repeats, again,
    )  # fmt: skip
    turned = rng.uniform(0, 360)
    return [on_an_oval(each, 0.05 * np.cos(np.radians(2 * (float(each.angle_deg) - turned)))) for each in typed]


def on_an_oval(reading, height):
    """Return a reading with another height of the surface."""
    cells = {name: getattr(reading, name) for name in NAMES}
    return replace(reading, **{name: f"{float(text) + height:.2f}" for name, text in cells.items() if text})


def mistyped(text, slip, rng):
    """Return a number with a typing error that changes its value."""
    while True:
        letters = list(text)
        digits = [i for i, letter in enumerate(letters) if letter.isdigit()]
        i = int(rng.integers(len(digits) - 1))
        if slip == "a digit":
            letters[digits[i]] = str(rng.integers(10))
        elif slip == "two digits turned":
            a, b = digits[i : i + 2]
            letters[a], letters[b] = letters[b], letters[a]
        elif slip == "the decimal mark":
            letters = list(f"{float(text) * rng.choice([0.1, 10.0]):.3f}")
        elif slip == "a digit left out":
            del letters[digits[i]]
        else:
            letters.insert(0, "-")
        if float("".join(letters)) != float(text):
            return "".join(letters)
        text = f"{float(text) + 0.01:.2f}"  # nothing to turn in 11.11


def found_in(typed):
    """Return the disagreements between readings."""
    return contradictions(numbers_of(tuple(typed), "paper"), GRADUATION)


@pytest.mark.slow
@pytest.mark.parametrize("again", [True, False])
@pytest.mark.parametrize(("positions", "repeats"), [(4, 1), (4, 2), (6, 2), (8, 1), (8, 2), (12, 1)])
def test_clean_sessions_are_questioned_less_than_once_in_two_hundred(positions, repeats, again) -> None:
    """Draw scatter from a fifth of a graduation to two; a bench as in the notes has less than one graduation."""
    rng = np.random.default_rng(positions * 10 + repeats)
    number = 250
    accused = sum(
        bool(found_in(drawn(rng, positions, repeats, noise, again))) for noise in (0.002, 0.006, 0.012, 0.02)
        for _ in range(number // 4)
    )  # fmt: skip
    assert accused / number <= 1 / 200


def detection(positions, repeats, again, large_mm, number=60):
    """Return numbers of slips of at least this size: all, named at their visit, named by the reading itself."""
    rng, counts = np.random.default_rng(11), Counter()
    for slip in SLIPS:
        for _ in range(number):
            typed = drawn(rng, positions, repeats, again=again)
            i = int(rng.integers(len(typed)))
            name = NAMES[rng.integers(len(NAMES) if again else 2)]
            wrong = mistyped(getattr(typed[i], name), slip, rng)
            by = abs(float(wrong) - float(getattr(typed[i], name)))
            typed[i] = replace(typed[i], **{name: wrong})
            found = found_in(typed)
            here = [each.names for each in found if each.visits == (i,)]
            counts["elsewhere"] += len(found) > len(here)
            if by >= large_mm:
                counts["large"] += 1
                counts["named"] += any(name in names for names in here)
                counts["to the reading"] += here == [(name,)]
    return counts


@pytest.mark.slow
@pytest.mark.parametrize(
    ("positions", "repeats", "again", "large_mm", "exactly"),
    [
        (8, 2, True, 0.25, 0.97), (8, 2, False, 0.25, 0.97), (8, 1, True, 0.5, 0.9), (8, 1, False, 0.5, 0.9),
        (4, 2, True, 0.5, 0.9),
    ],
)  # fmt: skip
def test_slips_of_the_pen_are_named(positions, repeats, again, large_mm, exactly) -> None:
    """Check that each large slip is named at its own angle, and hardly ever another reading with it."""
    counts = detection(positions, repeats, again, large_mm)
    assert counts["large"] > 180
    assert counts["named"] == counts["large"]
    assert counts["to the reading"] >= exactly * counts["large"]
    assert counts["elsewhere"] <= 2


@pytest.mark.slow
def test_a_tenth_of_a_millimetre_is_named_in_two_rounds_of_eight() -> None:
    """Type errors of 4 thou in a reading, a quarter of a thou in the mean: nine in ten are named."""
    rng, named = np.random.default_rng(3), 0
    for _ in range(200):
        typed = drawn(rng, stock=STOCK[:27])
        i, by = int(rng.integers(len(typed))), float(rng.choice([-0.1, 0.1]))
        typed[i] = replace(typed[i], loaded=f"{float(typed[i].loaded) + by:.2f}")
        named += [each.visits for each in found_in(typed)] == [(i,)]
    assert named >= 180


@pytest.mark.slow
def test_two_slips_do_not_hide_each_other() -> None:
    rng = np.random.default_rng(4)
    for _ in range(60):
        typed = drawn(rng)
        wrong = sorted(rng.choice(len(typed), 2, replace=False).tolist())
        if wrong[1] - wrong[0] == len(EIGHT):
            continue  # both readings of one position confirm each other
        for i in wrong:
            typed[i] = replace(typed[i], loaded=f"{float(typed[i].loaded) + 1:.2f}")
        assert [each.visits for each in found_in(typed)] == [(i,) for i in wrong]


def place_in(doubt):
    """Return angle, repeat and name of the reading in question."""
    (found,) = re.findall(r"at (\d+) degrees, repeat (\d+): (\w+)", doubt)
    return found


def with_the_typo():
    """Return a round of eight readings; at 135 degrees 15.93 was typed as 16.93."""
    typed = [on_an_oval(each, 0.0) for each in readings(Shaft(508.0, 6.0), TrueBench(noise=0.004), repeats=1)]
    typed[3] = replace(typed[3], loaded=f"{float(typed[3].loaded) + 1:.2f}")
    return typed


def test_a_contradicted_reading_is_left_out_and_the_shaft_doubtful() -> None:
    typed = with_the_typo()
    result = result_of(typed)
    (doubt,) = result.doubts
    assert place_in(doubt) == ("135", "1", "loaded")
    assert f" {float(typed[3].loaded) - 1:.1f}" in doubt
    assert result.readings == 7
    assert result.spine_thou == pytest.approx(508.0, abs=0.7)
    bands = Bands.model_validate({"bin": [{"name": "508", "spine_thou": [490.0, 530.0]}]})
    assert judge(result, bands).outcome is Outcome.DOUBTFUL


def test_a_confirmed_reading_counts_and_is_no_doubt() -> None:
    typed = with_the_typo()
    typed[3] = replace(typed[3], confirmed="loaded")
    result = result_of(typed)
    assert (result.doubts, result.readings) == ((), 8)
    assert result.spine_thou == pytest.approx(513.0, abs=1.0)  # an eighth of 1 mm (39.4 thou) more
    assert result.budget.expanded() > 10


def test_a_table_can_confirm_a_reading(tmp_path) -> None:
    (tmp_path / "hand-bench.toml").write_text(BENCH, encoding="utf-8")
    typed = with_the_typo()
    write(tmp_path, typed)
    words = ("hand", "measure", "--shaft", 1, "--csv", "read.csv", "--json")
    done = midspan(*words, folder=tmp_path)
    (doubt,) = json.loads(done.stdout)["doubts"]
    assert place_in(doubt) == ("135", "1", "loaded")
    typed[3] = replace(typed[3], confirmed="yes")
    write(tmp_path, typed, ("angle_deg", "repeat", *NAMES, "confirmed"))
    assert json.loads(midspan(*words, folder=tmp_path).stdout)["doubts"] == []


@pytest.mark.parametrize("wrong", ["-15.93", "159.3", "1593", "1.93"])
def test_what_no_shaft_could_do_is_named_like_any_other_slip(wrong) -> None:
    typed = with_the_typo()
    typed[3] = replace(typed[3], loaded=wrong)
    result = result_of(typed)
    assert place_in(result.doubts[0]) == ("135", "1", "loaded")
    assert result.spine_thou == pytest.approx(508.0, abs=0.7)


def test_swapped_columns_of_a_line_are_named_as_such() -> None:
    typed = [on_an_oval(each, 0.0) for each in readings()]
    typed[4] = replace(typed[4], unloaded=typed[4].loaded, loaded=typed[4].unloaded, unloaded_again="")
    (found,) = found_in(typed)
    assert (found.visits, found.names) == ((4,), ("unloaded", "loaded"))


def test_a_dial_that_falls_and_thousandths_of_an_inch_change_nothing() -> None:
    for mm, graduation, rises in ((1.0, 0.01, False), (0.0254, 0.5, True), (25.4, 0.0005, False)):
        typed = list(readings(bench=TrueBench(unit_mm=mm, rises=rises, graduation=graduation)))
        assert contradictions(numbers_of(tuple(typed), "paper"), graduation) == ()
        typed[5] = replace(typed[5], loaded=str(float(typed[5].loaded) + 1.0 / mm))
        (found,) = contradictions(numbers_of(tuple(typed), "paper"), graduation)
        assert (found.visits, found.names) == ((5,), ("loaded",))


def plain(angles, repeats, loaded=15.70):
    """Return readings of an even, straight shaft without noise."""
    return [Typed(f"{a}", str(r + 1), "3.00", f"{loaded:.2f}", "3.00") for r in range(repeats) for a in angles]


def test_two_readings_that_contradict_each_other_are_both_named_and_both_count() -> None:
    """Take four readings at 90 degrees: 0 and 180 must be alike, and nothing shows which is right."""
    typed = plain((0, 90, 180, 270), 1)
    typed[2] = replace(typed[2], loaded="16.70")
    (found,) = found_in(typed)
    assert found.visits == (0, 2)
    result = result_of(typed)
    assert result.readings == 4
    assert re.findall(r"at (\d+) degrees", result.doubts[0]) == ["0", "180"]
    typed[0] = replace(typed[0], confirmed="yes")
    assert [each.visits for each in found_in(typed)] == [(2,)]


@pytest.mark.parametrize(
    ("angles", "repeats", "untold"),
    [
        ((0, 90, 180, 270), 1, True), ((0, 60, 120, 180, 240, 300), 1, True), ((0, 60, 120), 2, True),
        ((0, 90, 180, 270), 2, False), (range(0, 360, 45), 1, False), (range(0, 360, 45), 2, False),
        ((0, 90), 3, False),
    ],
)  # fmt: skip
def test_slips_that_so_few_readings_cannot_reveal_are_announced(angles, repeats, untold) -> None:
    """Check that it is announced if and only if a gross error of some reading is not named at its place."""
    typed = plain(angles, repeats)
    assert (undetected_slips(numbers_of(tuple(typed), "paper")) is not None) == untold
    unnamed = 0
    for i in range(len(typed)):
        wrong = [*typed[:i], replace(typed[i], loaded="99.00"), *typed[i + 1 :]]
        unnamed += [each.visits for each in found_in(wrong)] != [(i,)]
    assert bool(unnamed) == untold


def test_a_reading_that_nothing_could_contradict_is_named() -> None:
    typed = [*plain((0, 90, 180), 2), *plain((45,), 1)]
    assert " 45 degrees" in undetected_slips(numbers_of(tuple(typed), "paper"))


def test_the_dent_of_a_shaft_is_not_a_slip() -> None:
    """Dent one position: its readings confirm each other, and the shaft is doubtful instead."""
    typed = [
        replace(each, loaded=f"{float(each.loaded) + 0.4 * (each.angle_deg == '90'):.2f}")
        for each in readings(bench=TrueBench(noise=0.004), rng=np.random.default_rng(2))
    ]
    assert found_in(typed) == ()
    result = result_of(typed, bench_file())
    assert len(result.doubts) == 1
    assert result.readings == len(typed)
