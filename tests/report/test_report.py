"""What people read: tables, the story of one shaft, JSON and the picture."""

import json
import math
import re
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.image import imread
from midspan.base.errors import OutputError
from midspan.base.formatting import angle, places_for, printable, with_uncertainty
from midspan.base.shown_units import ShownUnits, WoodSpine, showing
from midspan.decision.bands import EXAMPLE, Bands
from midspan.decision.decision import Decision, Outcome, judge, judge_unmeasured
from midspan.decision.tolerance import tolerance_as_plain
from midspan.measurement.result import ShaftResult, Unmeasured, evaluate
from midspan.measurement.shown_quantities import spine_text
from midspan.report import picture, result_text
from midspan.report.plot_shaft import draw_around
from screens import NUMBERS, printed, screen
from synthetic import Gauge, Shaft, paper_calibration, raw_run

TRUTH = Shaft(spine_thou=502.0, spread_thou=4.0, stiff_side_deg=45.0, bow_mm=0.05, bow_deg=100.0, number=12)
BANDS = Bands.model_validate(EXAMPLE)
LOST = Unmeasured(7, "lost", ("NO_CONTACT",))


def result_of(truth=TRUTH, label="blue", seed=1):
    """Return the result of a paper shaft."""
    run = replace(raw_run(truth, Gauge(), np.random.default_rng(seed)), label=label)
    (result,) = evaluate([run], paper_calibration())
    assert isinstance(result, ShaftResult)
    return result


RESULT = result_of()
ACCEPTED = judge(RESULT, BANDS)


def table_of(*rows, width=200, wide=True):
    """Return what a screen of a width shows of the table of results."""
    return printed(result_text.results_table(rows, 2.0, wide=wide), width)


# Values in words


@given(st.floats(1e-7, 1e4), st.floats(-1e4, 1e4))
def test_an_expanded_uncertainty_has_two_digits_and_the_value_ends_where_it_does(expanded, value):
    # JCGM 100:2008, 7.2.6: at most two significant digits for U, the value to the same place.
    shown_value, shown = with_uncertainty(value, expanded, most_places=20).split(" ± ")
    assert float(shown) == pytest.approx(expanded, rel=0.051)
    assert len(shown.replace(".", "").lstrip("0")) == 2 or expanded >= 99.5
    assert len(shown_value.partition(".")[2]) == len(shown.partition(".")[2]) == places_for(expanded)
    assert abs(float(shown_value) - value) <= 0.5000001 * 10.0 ** -places_for(expanded) + 1e-9


@given(st.floats(1e-6, 1e3))
def test_what_a_limit_on_places_hides_is_rounded_up(expanded):
    shown = float(with_uncertainty(0.0, expanded, most_places=2).split(" ± ")[1])
    assert shown > 0
    if places_for(expanded) <= 2:  # nothing is hidden
        assert shown == pytest.approx(expanded, rel=0.051)
    else:
        assert 0 <= shown - expanded <= 0.01 + 1e-9


@pytest.mark.parametrize(
    ("value", "expanded", "words"),
    [
        (501.114, 0.4531, "501.11 ± 0.45"),
        (501.114, 0.0999, "501.11 ± 0.10"),
        (0.0, 0.0, "0.00 ± 0.00"),
        (-0.001, 0.4, "0.00 ± 0.40"),
        (math.nan, 0.1, "nan ± 0.10"),
        (500.0, math.inf, "500.00 ± inf"),
        (500.0, math.nan, "500.00 ± nan"),
    ],
)
def test_values_at_the_edges(value, expanded, words):
    assert with_uncertainty(value, expanded, most_places=2) == words


def test_a_stiff_side_is_two_opposite_angles_below_a_whole_turn():
    for degrees in np.arange(0, 180, 0.25):
        first, second = map(int, angle(float(degrees)).split(" / "))
        assert second - first == 180
        assert 0 <= first < 180
        assert abs((first - degrees + 90) % 180 - 90) <= 0.5
    assert angle(None) == angle(math.nan) == "-"


@given(st.text())
def test_a_label_from_anywhere_is_one_harmless_line(text):
    shown = printable(text)
    assert shown.isprintable()
    assert len(shown) == len(text)
    assert all(sign == given for sign, given in zip(shown, text, strict=True) if given.isprintable())


# Tables


def test_a_row_gives_each_quantity_in_the_unit_of_its_heading():
    heading, row, *_ = table_of((RESULT, ACCEPTED)).splitlines()
    assert heading.split() == [
        "shaft", "spine,", "thou", "spread,", "thou", "stiff", "side", "runout,", "thou", "hysteresis", "verdict",
    ]  # fmt: skip
    words = row.split()
    assert words[:2] == ["12", "blue"]
    spine, spread, runout = (float(words[i]) for i in (2, 5, 11))
    assert spine == pytest.approx(502.0, abs=0.2)
    assert spread == pytest.approx(4.0, abs=0.1)
    assert (int(words[8]), int(words[10])) == (45, 225)
    assert runout == pytest.approx(2 * TRUTH.bow_mm / 0.0254, abs=0.05)  # TIR is twice the bow; 0.0254 mm is 1 thou
    assert float(words[4]) == pytest.approx(2 * RESULT.u_spine_thou, rel=0.06)
    assert row.rstrip().endswith("500")


def test_k_widens_every_range_and_the_legend_says_so():
    for k in (1.0, 3.0):
        shown = printed(result_text.results_table([(RESULT, ACCEPTED)], k))
        assert f"{k:g} standard uncertainties" in " ".join(shown.split())
        assert float(shown.splitlines()[1].split()[4]) == pytest.approx(k * RESULT.u_spine_thou, rel=0.06)


def test_without_a_k_each_range_covers_95_percent_by_its_own_freedom():
    few = replace(RESULT, dof_spine=4.0)
    _, plain, rare, lost, *_ = printed(
        result_text.results_table([(RESULT, ACCEPTED), (few, ACCEPTED), (LOST, None)], None)
    ).splitlines()
    # t of infinitely many and of four degrees of freedom: JCGM 100:2008, table G.2
    assert float(plain.split()[4]) == pytest.approx(1.96 * RESULT.u_spine_thou, rel=0.03)
    assert float(rare.split()[4]) == pytest.approx(2.776 * RESULT.u_spine_thou, rel=0.03)
    assert lost.split()[2:] == ["-"] * 5
    story = printed(result_text.shaft_story(few, None, None))
    assert str(spine_text(few)) in story


def test_a_narrow_table_keeps_what_decides_most():
    shown = table_of((RESULT, ACCEPTED), (LOST, judge_unmeasured(LOST.reasons)), width=80, wide=False)
    assert max(map(len, shown.splitlines())) <= 80
    assert "…" not in shown
    assert "stiff side" not in shown
    assert with_uncertainty(RESULT.spine_thou, 2 * RESULT.u_spine_thou, 2) in shown
    assert "doubtful: " in shown


@pytest.mark.parametrize("label", ["[red]x[/red]", "[/b]", ":smile:", "a\nb", "\x1b[31m", "$x^2$", "x" * 64])
def test_any_label_is_one_row(label):
    heading, row, *legend = table_of((result_of(label=label), ACCEPTED)).splitlines()
    assert row.startswith(f"12 {printable(label)}  ")
    assert not any(" ± 0." in line for line in (heading, *legend))


def test_outcomes_without_a_bin_say_so_with_their_reason():
    for outcome in (Outcome.REJECTED, Outcome.DOUBTFUL, Outcome.INSTRUMENT_FAULT):
        decision = Decision(outcome, ("first. More", "second"))
        assert result_text.brief(decision) == f"{outcome.value}: first"
        assert result_text.verdict_words(decision) == f"{outcome.value}: first. More; second"
    near, far = (Decision(Outcome.ACCEPTED, reasons, "500") for reasons in (("a border is near",), ()))
    assert result_text.brief(near).startswith("500, ")
    assert result_text.brief(far) == "500"
    assert result_text.brief(None) == ""


def test_counts_add_up_to_the_batch():
    decisions = [ACCEPTED] * 3 + [judge_unmeasured(LOST.reasons)] * 2
    rows = [line.rsplit(maxsplit=1) for line in printed(result_text.counts_table(decisions)).splitlines()[1:]]
    assert [(name.strip(), int(number)) for name, number in rows] == [("500", 3), ("doubtful", 2)]


def test_the_story_gives_both_conventions():
    with showing(ShownUnits(wood=WoodSpine.POUNDS)):
        shown = printed(result_text.shaft_story(RESULT, ACCEPTED, 2.0, details=True))
    line = {name: text for name, _, text in (row.partition("  ") for row in shown.splitlines())}
    thou = float(line["28 in, 880 g"].split()[0])
    # The older convention's trade formula, 26 over the deflection in inches, at 1.2115 times less deflection.
    assert float(line["static spine"].split()[0]) == pytest.approx(26 / (thou / 1000 / 1.2115), rel=0.01)
    assert "paper" in line["made by"]
    assert line["verdict"].strip() == "500"


def test_the_whole_story_of_a_sound_and_of_a_sick_even_shaft(snapshot):
    sick = replace(
        RESULT, stiff_side_deg=None, u_stiff_side_deg=None, doubts=("it skidded",), faults=("the zero moved",)
    )
    sound = printed(result_text.shaft_story(RESULT, ACCEPTED, None, details=True))
    assert [screen(sound, NUMBERS), screen(printed(result_text.shaft_story(sick, None, 2.0)), NUMBERS)] == snapshot


def test_the_story_names_no_stiff_side_below_the_noise():
    even = replace(RESULT, stiff_side_deg=None, u_stiff_side_deg=None)
    (side,) = (text for name, text in result_text.story(even, 2.0) if name == "stiff side")
    assert not re.search(r"\d", side)


def test_pounds_are_shown_only_to_whoever_chose_them():
    with_pounds = {WoodSpine.THOU: False, WoodSpine.BOTH: True, WoodSpine.POUNDS: True}
    for wood, shown in with_pounds.items():
        with showing(ShownUnits(wood=wood)):
            assert (" lb" in printed(result_text.shaft_story(RESULT, ACCEPTED, None))) == shown


def test_how_a_shaft_was_measured_is_said_only_on_request():
    names = {name for name, _ in result_text.story_details(RESULT, None)}
    assert not names & {name for name, _ in result_text.whole_story(RESULT, details=False)}
    assert names <= {name for name, _ in result_text.whole_story(RESULT)}


def test_doubts_and_faults_are_told():
    sick = replace(RESULT, doubts=("skidded", "hums"), faults=("moved",))
    told = [line for line in result_text.whole_story(sick, details=False) if line[0] in ("doubt", "fault")]
    assert told == [("doubt", "skidded"), ("doubt", "hums"), ("fault", "moved")]


# JSON


def test_json_holds_every_field_and_the_verdict():
    row = json.loads(result_text.as_json(RESULT, ACCEPTED))
    names = {field.name for field in fields(ShaftResult)}
    more = {"budget", "definition_in_words", "intercept_mm", "u_intercept_mm"}
    assert row.keys() == names | more | {"outcome", "bin", "reasons"}
    assert (row["outcome"], row["bin"], row["reasons"]) == ("accepted", "500", [])
    assert row["spine_thou"] == RESULT.spine_thou
    assert json.loads(result_text.as_json(RESULT, None)).keys() == names | more
    assert (row["intercept_mm"], row["u_intercept_mm"]) == (RESULT.surface_mm[0], RESULT.u_surface_mm[0])
    judged = json.loads(result_text.as_json(RESULT, ACCEPTED, BANDS))
    assert judged["tolerance"] == tolerance_as_plain(RESULT, BANDS)


def test_json_of_a_shaft_without_result():
    assert json.loads(result_text.as_json(LOST, judge_unmeasured(LOST.reasons))) == {
        "shaft": 7, "label": "lost", "unmeasured": ["NO_CONTACT"], "outcome": "doubtful", "bin": None,
        "reasons": list(judge_unmeasured(LOST.reasons).reasons),
    }  # fmt: skip


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_json_has_no_word_for_what_is_no_number(bad):
    broken = replace(RESULT, u_spine_thou=bad, curve_thou=(bad, *RESULT.curve_thou[1:]))
    decision = judge(broken, BANDS)
    row = json.loads(result_text.as_json(broken, decision), parse_constant=pytest.fail)
    assert (row["u_spine_thou"], row["curve_thou"][0], row["outcome"]) == (None, None, "instrument fault")
    assert row["spine_thou"] == RESULT.spine_thou
    assert table_of((broken, decision)).count("instrument fault") == 1


@given(st.text(max_size=20))
def test_json_is_one_line_whatever_the_label(label):
    text = result_text.as_json(replace(RESULT, label=label), None)
    assert "\n" not in text
    assert json.loads(text)["label"] == label


# The picture


@pytest.fixture
def drawn(tmp_path, monkeypatch):
    """Return a function that draws a result and returns the figure that was saved."""
    figures = []

    class Watched(Figure):
        def __init__(self, *arguments, **options):
            super().__init__(*arguments, **options)
            figures.append(self)

    monkeypatch.setattr(picture, "Figure", Watched)

    def draw(result, k=None):
        draw_around(result, tmp_path / "a.png", k)
        return figures[-1]

    return draw


@pytest.mark.slow
def test_the_picture_is_a_png_that_can_be_read(tmp_path):
    draw_around(RESULT, tmp_path / "a.png")
    height, width, _ = imread(tmp_path / "a.png").shape
    assert (1000 < width < 3000, 400 < height < 1500) == (True, True)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "start"), [("a.pdf", b"%PDF"), ("a.svg", b"<?xml"), ("A.PNG", b"\x89PNG")])
def test_the_ending_says_what_is_drawn(tmp_path, name, start):
    draw_around(RESULT, tmp_path / name)
    assert (tmp_path / name).read_bytes().startswith(start)


@pytest.mark.slow
def test_the_curve_is_lowest_at_the_stiff_side_and_spreads_as_reported(drawn):
    _, unrolled, _ = drawn(RESULT).axes
    (curve,) = (line for line in unrolled.lines if line.get_label() == "deflection at this angle")
    angle_deg, thou = curve.get_xdata(), curve.get_ydata()
    assert angle_deg[np.argmin(thou)] % 180 == pytest.approx(TRUTH.stiff_side_deg, abs=3)
    assert np.ptp(thou) == pytest.approx(TRUTH.spread_thou, abs=0.2)
    assert thou.mean() == pytest.approx(TRUTH.spine_thou, abs=0.2)


@pytest.mark.slow
def test_outward_is_stiffer(drawn):
    section, *_ = drawn(RESULT).axes
    around = max(
        (line for line in section.lines if len(line.get_xdata()) == 361), key=lambda line: np.ptp(line.get_ydata())
    )
    outermost = np.degrees(around.get_xdata()[np.argmax(around.get_ydata())])
    assert outermost % 180 == pytest.approx(TRUTH.stiff_side_deg, abs=3)


@pytest.mark.slow
def test_the_surface_stands_out_where_the_bow_is(drawn):
    *_, surface = drawn(RESULT).axes
    height = surface.lines[0].get_ydata()
    assert surface.lines[0].get_xdata()[np.argmax(height)] == pytest.approx(TRUTH.bow_deg, abs=5)
    assert np.ptp(height) == pytest.approx(2 * TRUTH.bow_mm / 0.0254, abs=0.08)  # in thou


@pytest.mark.slow
def test_the_band_is_k_standard_uncertainties_wide(drawn):
    widths = []
    for k in (1.0, 2.0):
        _, unrolled, _ = drawn(RESULT, k).axes
        level = next(area for area in unrolled.collections if "level" in str(area.get_label()))
        corners = level.get_paths()[0].vertices
        widths.append(np.ptp(corners[np.isclose(corners[:, 0], 90), 1]))
    assert widths == pytest.approx([2 * RESULT.u_spine_thou, 4 * RESULT.u_spine_thou], rel=1e-6)


@pytest.mark.slow
def test_an_even_straight_shaft_can_be_drawn(drawn):
    section, *_ = drawn(result_of(Shaft(spread_thou=0.0, bow_mm=0.0), seed=3)).axes
    assert "stiff side" not in section.get_title()


@pytest.mark.slow
@pytest.mark.parametrize("label", ["$\\frac$", "[/b]", "a\nb", "100 % & <x>"])
def test_any_label_can_be_drawn(drawn, label):
    figure = drawn(result_of(label=label))
    assert printable(label) in figure.get_suptitle()


@pytest.mark.slow
@pytest.mark.parametrize("name", ["a.bmp", "a", "a.png.txt", ".png", "no/a.png", ""])
def test_a_picture_that_cannot_be_is_named(tmp_path, name):
    before = sorted(tmp_path.iterdir())
    with pytest.raises(OutputError) as caught:
        draw_around(RESULT, tmp_path / name)
    assert str(caught.value).startswith(f"{tmp_path / name}: ")
    assert sorted(tmp_path.iterdir()) == before


def test_what_is_no_number_is_not_drawn(tmp_path):
    with pytest.raises(OutputError) as caught:
        draw_around(replace(RESULT, surface_mm=(math.nan,) * 7), tmp_path / "a.png")
    assert caught.value.code == "nothing_to_draw"
