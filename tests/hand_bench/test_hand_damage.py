"""Files of typed readings, damaged or old: what is whole is read, what is not is named, no number is made up."""

import json
import random
import shutil
from zlib import crc32

import pytest
from commands_rig import midspan
from hand_rig import BENCH, good, measure, write
from midspan.base.errors import ArchiveError
from midspan.hand_bench.record import NAMES, Begun, HandRecord, HandShaft, ReadingPlan, Typed
from midspan.hand_bench.result import evaluate_hand
from midspan.hand_bench.sessions import sessions
from places import DATA

OLD = DATA / "e0bd664"
OLD_FILES = ("hand-readings.jsonl", "hand-readings-aborted.jsonl")


def read(path):
    """Whole sessions by their place, and what was said against the file."""
    found, said = {}, ""
    try:
        for session in sessions(path):
            found[session.byte_offset] = session
    except ArchiveError as error:
        said = str(error)
    return found, said


@pytest.fixture
def record(tmp_path):
    """Three sessions: of a table, one that a person broke off and went on with, and one that was corrected."""
    record = HandRecord(tmp_path / "hand.jsonl")
    typed = [Typed(f"{angle}", "1", "3.00", f"15.7{angle // 90}", "3.01") for angle in (0, 90, 180)]
    bench = {"bench": {"id": "Süd"}}
    first = record.begin(bench, HandShaft(1, "Föhre", "Ann"), 0, ReadingPlan(readings=3))
    second = record.begin(bench, HandShaft(2, "", ""), 1, ReadingPlan(positions=3, repeats=1, readings=3))
    for one in typed:
        record.keep(first, one)
    record.keep(second, Begun("0", "1", ("3.00",)))
    record.keep(second, typed[0])
    record.end(first)
    third = record.begin(bench, HandShaft(3, "bar", "Ben"), 2, ReadingPlan(positions=3, repeats=1, readings=3))
    record.keep(third, Typed("0", "1", "3.00", "99.99", "3.01"))
    for one in typed:
        record.keep(third, one)
    record.end(third)
    for one in typed[1:]:
        record.keep(second, one)
    record.end(second)
    return record


def flipped(data, bit):
    return data[: bit // 8] + bytes([data[bit // 8] ^ 1 << bit % 8]) + data[bit // 8 + 1 :]


def test_each_line_has_its_number_and_the_sum_of_what_stands_before_it(record) -> None:
    """CRC-32 as zlib has it (ISO 3309), in words that a person reads."""
    for line in record.path.read_bytes().splitlines():
        before, _, behind = line.partition(b', "crc32": "')
        assert behind == f'{crc32(before):08x}"}}'.encode()
    assert "Föhre" in record.path.read_text(encoding="utf-8")


def test_every_single_bit_costs_one_session_at_most_and_makes_no_number(record) -> None:
    whole, _ = read(record.path)
    data = record.path.read_bytes()
    for bit in range(8 * len(data)):
        record.path.write_bytes(flipped(data, bit))
        found, said = read(record.path)
        changed = [place for place in whole if found.get(place) != whole[place]]
        assert len(changed) <= 1, bit
        assert found.keys() <= whole.keys()
        if changed:
            number = data[: bit // 8].count(b"\n") + 1
            assert f", line {number}: " in said, bit
        for place in changed:
            if place in found and found[place].typed != whole[place].typed:
                assert found[place].has_lost_lines or len(found[place].typed) < found[place].readings
            elif place in found:  # the line that it has ended with
                assert not found[place].has_ended or found[place].has_lost_lines


@pytest.mark.parametrize("name", OLD_FILES)
def test_every_single_bit_of_an_old_file_costs_one_session_at_most(tmp_path, name) -> None:
    """Without sums a digit that became another one passes; nothing else does, and nothing of other sessions."""
    data, path = (OLD / name).read_bytes(), tmp_path / name
    whole, _ = read(OLD / name)
    for bit in random.Random(1).sample(range(8 * len(data)), 4000):
        path.write_bytes(flipped(data, bit))
        found, _ = read(path)
        changed = [
            place for place, session in whole.items() if place not in found or found[place].typed != session.typed
        ]
        assert len(changed) <= 1, bit


@pytest.mark.parametrize("name", OLD_FILES)
def test_old_files_are_read_as_they_are(name) -> None:
    """Held to what the lines say when read one by one without Midspan."""
    expected, offset = {}, 0
    for line in (OLD / name).read_bytes().splitlines(keepends=True):
        try:
            content = json.loads(line)
        except ValueError:
            content = {}
        if "hand_readings" in content:
            expected[offset] = {}
        elif content:
            cells = tuple(content[name] for name in NAMES)
            expected[content["session"]][content["angle_deg"], content["repeat"]] = cells
        offset += len(line)
    found, said = read(OLD / name)
    for place, session in found.items():
        typed = {(one.angle_deg, one.repeat): tuple(getattr(one, key) for key in NAMES) for one in session.typed}
        assert typed == expected[place]
    assert found.keys() == expected.keys()
    assert bool(said) == ("aborted" in name)


def test_an_old_slip_is_named_and_an_old_record_goes_on_growing(tmp_path) -> None:
    """The second shaft of the old file is one whose 406 ± 13 went by without a word."""
    file = tmp_path / "hand-readings.jsonl"
    shutil.copy(OLD / "hand-readings-aborted.jsonl", file)
    old = file.read_bytes()
    slip = evaluate_hand(list(read(file)[0].values())[1])
    assert (slip.label, slip.readings) == ("Föhre 2", 7)
    assert "at 135 degrees, repeat 1: loaded" in slip.doubts[0]
    assert slip.spine_thou == pytest.approx(401.0, abs=0.7)
    (tmp_path / "hand-bench.toml").write_text(BENCH, encoding="utf-8")
    write(tmp_path, good())
    assert not measure(tmp_path).returncode
    assert file.read_bytes().startswith(old)
    assert len(read(file)[0]) == len(read(OLD / "hand-readings-aborted.jsonl")[0]) + 1


def test_a_damaged_line_costs_its_shaft_and_every_other_is_made_again(tmp_path, store_place) -> None:
    """Any bit: the command says where, gives the results of all other sessions, and leaves no traceback."""
    (tmp_path / "hand-bench.toml").write_text(BENCH, encoding="utf-8")
    for shaft in (1, 2, 3):
        write(tmp_path, good(seed=shaft))
        measure(tmp_path, shaft=shaft, label=f"bar-{shaft}")
    file = tmp_path / "hand-readings.jsonl"
    data = file.read_bytes()
    for bit in random.Random(2).sample(range(8 * len(data)), 25):
        file.write_bytes(flipped(data, bit))
        store_place.file.unlink()
        done = midspan("hand", "recompute", folder=tmp_path)
        number = data[: bit // 8].count(b"\n") + 1
        assert done.returncode == 1
        assert f"hand-readings.jsonl, line {number}: is damaged" in done.stderr
        with store_place.open(create=False) as store:
            stored = [store.latest(f"bar-{shaft}") for shaft in (1, 2, 3)]
        assert sum(one is not None and one.result.doubts == () for one in stored) >= 2


def test_two_who_type_in_one_session_at_once_are_noticed(record) -> None:
    session = next(one for one in sessions(record.path) if one.shaft == 2)
    for other in (HandRecord(record.path), HandRecord(record.path)):
        other.keep(other.resume(session), Typed("0", "1", "3.00", "15.70", "3.01"))
    (again,) = (one for one in sessions(record.path) if one.shaft == 2)
    assert again.has_lost_lines
