"""A session at the gauge, by the ids of its prompts: every key, every bad input, and totals that add up."""

import pytest
from attended_rig import AttendedRig
from midspan.attended.last_shaft import SessionTools
from midspan.base.errors import OutputError, ReadingsError
from midspan.conversation.desk import NoticeKind
from midspan.decision.decision import Outcome
from midspan.sets.weights import weight_of
from midspan.sorting.plan import Checks, Standard
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import current, details_of
from midspan.store.journal import Journal
from midspan.store.lookup import read_name
from midspan.store.records import Records, StatedIdentity
from midspan.store.stock_records import StockRecords
from midspan.store.transit import TransitStage

ENTER = ("lay next", "")
END = ("lay next", "q")
SPINES = {"first": 500.0, "second": 503.0, "third": 340.0}


@pytest.fixture
def rig(tmp_path):
    return AttendedRig(tmp_path, SPINES)


def test_an_enter_a_shaft_gives_numbers_and_verdicts_by_themselves(rig):
    person = rig.session([ENTER, ENTER, ENTER, END])
    assert [shaft for shaft, _ in rig.results()] == [1, 2, 3]
    spines = [result.spine_thou for _, result in rig.results()]
    assert spines == pytest.approx(list(SPINES.values()), abs=0.5)  # the truth of the shafts that were laid in
    large = [notice.large for notice in person.desk.notices() if notice.kind is NoticeKind.VERDICT]
    assert [lines[0] for lines in large] == ["ACCEPTED", "ACCEPTED", "REJECTED"]
    assert person.told(NoticeKind.SOUND) == ["accepted", "accepted", "rejected"]
    assert rig.gauge.measured == ["first", "second", "third"]


def test_nothing_moves_without_an_enter(rig):
    person = rig.session([("lay next", "?"), ("lay next", "blue 7"), ("lay next", "-"), END])
    assert rig.gauge.measured == []
    assert rig.results() == []
    assert person.asked == ["lay next"] * 4
    assert rig.transits() == []  # such a session leaves no trace


def test_the_end_of_the_input_ends_the_session_with_totals(rig):
    person = rig.session([ENTER])
    assert person.told(NoticeKind.LINE)[-2].startswith("1 shaft")
    with rig.store() as store:
        assert rig.tally.batches == {run.batch for run in Journal(store).nights(attended=True)}


def test_a_label_typed_before_goes_to_the_shaft_that_is_laid_in(rig):
    rig.session([("lay next", "blue 7"), ENTER, ENTER, END])
    with rig.store() as store:
        assert current(details_of(store, [1])) == {DetailKind.LABEL: "blue 7"}
        assert read_name(store, "BLUE 7") == 1
        assert details_of(store, [2]) == []
        assert store.latest(1).run.label == "blue 7"


def test_a_known_label_or_number_measures_that_shaft_again_under_its_number(rig):
    rig.laid = ["first", "second", "first", "second"]
    rig.session(
        [("lay next", "blue 7"), ENTER, ENTER, ("lay next", "Blue 7"), ENTER, ("lay next", "#0002"), ENTER, END]
    )
    assert [shaft for shaft, _ in rig.results()] == [1, 2, 1, 2]
    with rig.store() as store:
        assert [len(store.history(shaft)) for shaft in (1, 2)] == [2, 2]
        assert [len(store.standing(shaft)) for shaft in (1, 2)] == [1, 1]  # the new result counts alone
    assert rig.tally.words().splitlines()[0].startswith("2 shafts: 2 accepted")


def test_a_number_that_nobody_measured_is_no_label(rig):
    person = rig.session([("lay next", "77"), ENTER, END])
    assert any("77" in line for line in person.told(NoticeKind.LINE))
    with rig.store() as store:
        assert details_of(store, [1]) == []


def test_a_scan_of_something_else_is_refused_and_nothing_is_labelled(rig):
    person = rig.session([("lay next", "4006381333931"), ("lay next", "https://x.example/y"), ENTER, END])
    assert sum("label" in line for line in person.told(NoticeKind.LINE)) >= 2
    with rig.store() as store:
        assert details_of(store, [1]) == []


def test_a_label_of_two_shafts_is_asked_about_once(rig):
    rig.session([("lay next", "blue 7"), ENTER, ("lay next", "gold"), ENTER, END])
    with rig.store() as store:  # an old database, in which nothing refused the second
        where = store.latest(2).run
        store.add(store.begin_batch("old", 1), where.__class__("b.avro", 1, 9, "blue 7", 1), _evaluation(store))
        with Records.of(store) as records:
            records.state_identities([StatedIdentity(1, 9, False, 1, "", "two shafts")])
    rig.laid = ["second"]
    rig.session([("lay next", "blue 7"), ("which shaft", "9"), ENTER, END])
    assert rig.results()[-1][0] == 9


def _evaluation(store):
    from midspan.store.evaluation import Evaluation

    stored = store.latest(2)
    return Evaluation(stored.result, stored.decision, 1)


def test_a_label_that_another_shaft_bears_is_refused_for_the_last(rig):
    person = rig.session([("lay next", "blue 7"), ENTER, ENTER, ("lay next", "l"), ("label", "blue 7"), END])
    assert any("midspan shafts join" in line for line in person.told(NoticeKind.LINE))
    with rig.store() as store:
        assert details_of(store, [2]) == []


def test_repeat_supersedes_and_counts_once(rig):
    rig.session([ENTER, ("lay next", "r"), ("lay next", "r"), END])
    assert [shaft for shaft, _ in rig.results()] == [1, 1, 1]
    with rig.store() as store:
        assert len(store.standing(1)) == 1
    assert rig.tally.words().splitlines()[:2] == ["1 shaft: 1 accepted (1 500)", "3 measurements, 2 of them repeated"]


def test_void_undo_and_the_totals(rig):
    script = [ENTER, ENTER, ("lay next", "v"), ("void reason", "the lid was open"), END]
    rig.session(script)
    with rig.store() as store:
        assert [len(store.standing(shaft)) for shaft in (1, 2)] == [1, 0]
    assert rig.tally.words().splitlines()[0] == "2 shafts: 1 accepted (1 500), 1 void"


def test_a_void_is_undone_on_a_key(rig):
    rig.session([ENTER, ("lay next", "v"), ("void reason", ""), ("lay next", "u"), END])
    with rig.store() as store:
        assert len(store.standing(1)) == 1
    assert rig.tally.words().splitlines()[0] == "1 shaft: 1 accepted (1 500)"


def test_a_void_of_a_repeat_lets_the_earlier_measurement_count(rig):
    rig.session([ENTER, ("lay next", "r"), ("lay next", "v"), ("void reason", ""), END])
    with rig.store() as store:
        assert len(store.standing(1)) == 1
    assert rig.tally.words().splitlines()[0] == "1 shaft: 1 accepted (1 500)"


def test_a_void_of_a_shaft_in_a_set_says_what_to_do_and_loses_nothing(rig):
    rig.session([ENTER, ENTER, END])
    from commands_rig import midspan

    made = midspan("sets", "make", "--number", 2, "--spine", 9, "--keep", "spring", "--store", rig.place.file)
    assert made.returncode == 0, made.stderr
    rig.laid = []
    person = rig.session([("lay next", "2"), ("lay next", ""), ("lay next", "v"), ("void reason", ""), END])
    assert any("spring" in line for line in person.told(NoticeKind.LINE))
    with rig.store() as store:
        assert len(store.standing(2)) == 1


def test_notes_and_weights_go_to_the_last_shaft(rig):
    rig.session([ENTER, ("lay next", "n"), ("note", "a dent"), ("lay next", "w"), ("weight", "312.4"), END])
    with rig.store() as store:
        assert current(details_of(store, [1])) == {DetailKind.NOTE: "a dent"}
        assert _weight_g(store, 1) == pytest.approx(312.4 * 0.06479891)  # a grain is 64.79891 mg: NIST HB 44, app. C


def test_what_belongs_to_a_key_may_follow_on_its_line(rig):
    script = ["", "w 312.4", "n nock end scratched", "l blue 7", "V the wrong shaft", "q"]
    person = rig.session([("lay next", typed) for typed in script])
    assert set(person.asked) == {"lay next"}
    with rig.store() as store:
        assert current(details_of(store, [1])) == {DetailKind.NOTE: "nock end scratched", DetailKind.LABEL: "blue 7"}
        assert _weight_g(store, 1) == pytest.approx(312.4 * 0.06479891)  # a grain is 64.79891 mg: NIST HB 44, app. C
        assert store.standing(1) == []


@pytest.mark.parametrize("typed", ["s", "R", "w 312.4", "n a scratch", "p", "u"])
def test_a_key_that_means_nothing_yet_is_refused_and_is_no_label(rig, typed):
    person = rig.session([END])
    with pytest.raises(ReadingsError) as refused:
        person.prompts[0].prompt.answer_of(typed)
    assert refused.value.code == "not_now"


def _weight_g(store, shaft):
    with StockRecords.of(store) as records:
        return dict(records.weights_g())[shaft]


def test_a_scale_weighs_without_typing(rig):
    named = []

    def weigh(name):
        named.append(name)
        return weight_of("20.25", "grams", name)

    rig.session([ENTER, ("lay next", "w"), END], tools=SessionTools(weigh))
    assert named == ["shaft 1"]
    with rig.store() as store:
        assert _weight_g(store, 1) == 20.25


def test_a_weight_that_no_shaft_has_is_refused(rig):
    person = rig.session([ENTER, ("lay next", "w"), ("weight", "31x"), ("lay next", "w"), ("weight", ""), END])
    assert person.asked.count("weight") == 2


def test_an_open_lid_refuses_and_the_next_enter_takes_the_same_number(rig):
    def lid(posted, typed):
        rig.lay_in(posted, typed)
        rig.world.lid = posted.serial == opened[0] if opened else not opened.append(posted.serial)

    opened: list[int] = []
    rig.laid = ["first", "first", "second"]
    person = rig.session([ENTER, ENTER, ENTER, END], before=lid)
    assert "fault" in person.told(NoticeKind.SOUND)
    assert [shaft for shaft, _ in rig.results()] == [1, 2]


def test_an_empty_gauge_asks_for_the_same_shaft_again_and_nothing_counts(rig):
    rig.laid = ["third", "second", "first", "third"]
    rig.world.cut_short["second"] = ["NO_CONTACT"]
    person = rig.session([ENTER, ("lay next", "blue 7"), ENTER, ("lay next", "w 300"), ENTER, ENTER, END])
    with rig.store() as store:
        assert [len(store.standing(shaft)) for shaft in (1, 2, 3, 4)] == [1, 1, 1, 0]
        assert current(details_of(store, [2])) == {DetailKind.LABEL: "blue 7"}
        assert store.latest(2).result.spine_thou == pytest.approx(500.0, abs=0.5)
        assert _weight_g(store, 1) == pytest.approx(300 * 0.06479891)  # it went to the last one that was measured
    assert not any("NO_CONTACT" in line for line in person.told(NoticeKind.LINE))
    assert rig.tally.measurements == len(rig.tally.shafts) == 3


def test_an_empty_gauge_takes_nothing_from_a_shaft_that_is_known_or_in_a_set(rig):
    rig.session([ENTER, ENTER, END])
    from commands_rig import midspan

    made = midspan("sets", "make", "--number", 2, "--spine", 9, "--keep", "spring", "--store", rig.place.file)
    assert made.returncode == 0, made.stderr
    rig.laid, rig.world.cut_short["third"] = ["third"], ["NO_CONTACT"]
    rig.session([("lay next", "2"), ENTER, END])
    with rig.store() as store:
        assert store.latest(2).result.spine_thou == pytest.approx(503.0, abs=0.5)


def test_a_shaft_that_was_not_measured_keeps_number_and_label_until_it_is_given_up(rig):
    def lid(posted, typed):
        rig.lay_in(posted, typed)
        rig.world.lid = True

    rig.session([("lay next", "K-1"), ENTER, END], before=lid)
    rig.world.lid, rig.laid = False, ["first", "second"]
    rig.session([ENTER, ENTER, END])
    with rig.store() as store:
        assert [store.latest(shaft).run.label for shaft in (1, 2)] == ["K-1", ""]
    rig.session([("lay next", "K-2"), ENTER, ("lay next", "-"), ("lay next", "K-2"), END], before=lid)
    rig.world.lid, rig.laid = False, ["third"]
    rig.session([("lay next", "k-2"), ENTER, END])
    with rig.store() as store:
        assert store.latest(3) is None
        assert store.latest(4).run.label == "k-2"


def test_a_fault_is_cleared_only_by_an_enter_to_its_own_prompt(rig):
    rig.world.cut_short["first"] = ["CELL_STUCK"]
    person = rig.session([ENTER, ("clear fault", ""), ("lay next", "r"), END])
    assert person.told(NoticeKind.SOUND)[:2] == ["fault", "fault"]
    assert rig.results()[-1][1].spine_thou == pytest.approx(500.0, abs=0.5)


def test_a_fault_may_be_left_as_it_is(rig):
    rig.world.cut_short["first"] = ["CELL_STUCK"]
    person = rig.session([ENTER, ("clear fault", "q")])
    assert rig.gauge.state.name == "FAULTED"
    assert person.asked == ["lay next", "clear fault"]  # and that is the end


def test_the_journal_has_an_attended_run_and_no_night(rig):
    rig.session([ENTER, ENTER, END])
    with rig.store() as store:
        journal = Journal(store)
        assert journal.nights() == []
        (run,) = journal.nights(attended=True)
        assert run.plan["operator"] == "Ann"
    stages = [[step.stage for step in way.steps] for way in rig.transits()]
    assert stages == [[TransitStage.MEASURING, TransitStage.JUDGED, TransitStage.TAKEN_OUT]] * 2
    assert {way.source for way in rig.transits()} == {"HAND"}


# Check standards

BAR = Standard(name="bar 7", assigned_thou=500.0, u_assigned_thou=0.1, definition="normal reactions")


@pytest.fixture
def checked(tmp_path):
    spines = {"a": 500.0, "b": 501.0, "c": 502.0, "bar": 500.0}
    return AttendedRig(tmp_path, spines, standards=[BAR], checks=Checks(every_shafts=2, every_minutes=600))


def with_bar(rig):
    def lay(posted, typed):
        if posted.prompt.id == "lay standard" and typed == "":
            rig.world.rollers = ["bar"]
        rig.lay_in(posted, typed)

    return lay


def test_check_standards_are_asked_for_when_due(checked):
    checked.laid = ["a", "b", "c"]
    lay = ("lay standard", "")
    person = checked.session([lay, ENTER, ENTER, lay, ENTER, END, lay], before=with_bar(checked))
    assert checked.gauge.measured == ["bar", "a", "b", "bar", "c", "bar"]
    with checked.store() as store:
        checks = Journal(store).checks(gauge="paper")
        assert [check.good for check in checks] == [True] * 3
    assert "check standard bar 7: 3 of 3 good" in checked.tally.words()
    assert person.told(NoticeKind.LINE)[-2] == "check standard bar 7: 3 of 3 good"


def test_a_bad_check_puts_shafts_in_doubt_until_they_are_measured_again(checked):
    checked.laid = ["a", "b", "a"]
    lay = ("lay standard", "")

    def drifts(posted, typed):
        with_bar(checked)(posted, typed)
        checked.world.drift_thou = 5.0 if len(checked.gauge.measured) == 3 else 0.0

    script = [lay, ENTER, ENTER, lay, lay, ("lay next", "2"), ENTER, END, lay]
    person = checked.session(script, before=drifts)
    assert any(line.endswith("2, 3") for line in person.told(NoticeKind.LINE))
    assert "in doubt: 3" in checked.tally.words()
    with checked.store() as store:
        assert [check.good for check in Journal(store).checks(gauge="paper")][:3] == [True, False, True]


def test_a_check_may_be_skipped_and_says_so(checked):
    checked.laid = ["a", "b", "c"]
    skip = ("lay standard", "k")
    person = checked.session([skip, ENTER, ENTER, skip, ENTER, END], before=with_bar(checked))
    assert sum("bar 7" in line for line in person.told(NoticeKind.LINE)) == 2
    assert checked.gauge.measured == ["a", "b", "c"]


def test_totals_add_up_whatever_was_measured(rig):
    rig.laid = ["first", "second", "third", "third", "first"]
    rig.session([ENTER, ENTER, ENTER, ("lay next", "v"), ("void reason", ""), ("lay next", "1"), ENTER, END])
    words = rig.tally.words().splitlines()[0]
    assert words.startswith("3 shafts: ")
    accepted = sum(known.outcome == Outcome.ACCEPTED.value for known in rig.tally.shafts.values())
    assert accepted + len(rig.tally.voided) == len(rig.tally.shafts) or "rejected" in words


def test_a_label_is_printed_on_a_key_and_only_where_the_workspace_says_how(rig):
    printed = []
    tools = SessionTools(print_label=printed.append)
    rig.session([ENTER, ("lay next", "p"), ENTER, END], tools=tools)
    assert printed == [1]


def test_each_shaft_may_get_its_label_and_a_printer_out_of_paper_stops_nothing(rig):
    printed = []

    def jammed_once(shaft):
        printed.append(shaft)
        if shaft == 1:
            raise OutputError("printer shop does not take label-1.pdf: out of paper", code="not_printed")

    person = rig.session([ENTER, ENTER, END], tools=SessionTools(print_label=jammed_once, prints_each=True))
    assert printed == [1, 2]
    assert [shaft for shaft, _ in rig.results()] == [1, 2]
    assert any("out of paper" in line for line in person.told(NoticeKind.LINE))
