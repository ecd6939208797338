"""The pack of a diagnosis: no name or secret is in it, whatever it was planted in, and nothing broken stops it."""

import json
import logging
import os
import re
import shutil
from dataclasses import replace
from zipfile import ZipFile

import pytest
from commands_rig import complaint, midspan, settings
from gauges import FED, changed
from hypothesis import example, given
from hypothesis import settings as hypothesis
from hypothesis import strategies as st
from limits import no_room
from midspan.base.errors import LinkError, MidspanError
from midspan.base.log_file import log_path, logging_to
from midspan.decision.decision import Decision, Outcome
from midspan.diagnose.collect import Collector, Sources
from midspan.diagnose.known_words import known_keys
from midspan.diagnose.pack import LIST, pack
from midspan.diagnose.scrub import REMOVED, Placeholders, scrubbed, scrubbed_line
from midspan.link.trace_file import FROM_GAUGE, TO_GAUGE, TraceFile
from midspan.measurement.result import Unmeasured
from midspan.rehearsal.process import Rehearsal
from midspan.sorting.plan import EXAMPLE
from midspan.store.evaluation import Evaluation
from midspan.wire.codec import pack as packed_record
from midspan.wire.framing import encode
from midspan.wire.records import Acknowledge, Reply
from stores import run_of, store_in

LOG = logging.getLogger("midspan.tests")
STATED = "Zyxqwv Qzyx"  # a name that is part of no word of ours
OURS = f"{EXAMPLE} {known_keys()}"  # a word that a pack may have from Midspan itself
# Letters, and characters that separate or end a name in TOML, JSON, a log, a trace, an address or a path.
names = st.text(alphabet="ABDEKLMNRSTabdeklmnrstäéßЖ日 .-_'\"\\@:#=%<>{}[]", min_size=5, max_size=24).filter(
    lambda name: len(re.findall(r"\w", name)) > 3 and name == name.strip() and name not in OURS
)
words = st.text(alphabet="AEae日 \"\\'", min_size=1)
identity = changed(FED, gauge="", firmware="0.1.0", runtime="micropython 1.29.0")


def quoted(text):
    return json.dumps(text, ensure_ascii=False)  # also a string of TOML


def plant_settings(folder, name):
    """Put a name in every place of a plan, of bands, of a file with a mistake and of a foreign file."""
    said = quoted(name)
    (folder / "night.toml").write_text(
        f'# {name}\n[gauge]\nname = {said}\nport = {said}\ncalibration = {said}\n[sort]\nbands = "bands.toml"\n'
        f"{said} = 12\ncrack_hysteresis_pct = {said}\n[[place]]\nnumber = 1\nbin = {said}\nholds = 4\n"
        f"[[place]]\nuse = {said}\n[notices]\nlog = {said}\nwebhook = [{said}, {quoted('https://u:' + name + '@x/')}]\n"
        f"apprise = [{said}]\n[checks]\nrules = {said}\n[{said}]\n{said} = {{ number = {said}, from = [{said}] }}\n",
        encoding="utf-8",
    )
    (folder / "bands.toml").write_text(f"[[bin]]\nname = {said}\nspine_thou = [495.0, 505.0]\n", encoding="utf-8")
    (folder / "gauge.toml").write_text(f"[calibration]\nid = {said}\nid = {said}\n", encoding="utf-8")
    (folder / "masses.toml").write_text(f"[[mass]]\nname = {said}\ncertificate = {said}\n", encoding="utf-8")
    (folder / "letter.toml").write_text(f"to = {said}\n", encoding="utf-8")


def plant_log(path, name):
    """Log a name as our own modules do, in errors too, and add lines that are not of our log."""
    with logging_to(path, pytest.fail):
        LOG.info("opened %s after %d", name, 2)
        LOG.warning("failed: %s", LinkError(f"/home/{name}/results.db: no '{name}' there"))
        LOG.warning("failed: %s", OSError(2, name, f"/home/{name}"))
    with path.open("a", encoding="utf-8") as file:
        file.write(f"{name}\nTraceback: {name}\n2026-01-01T00:00:00.000Z INFO a [1] torn «x {name}")


def plant_trace(path, name):
    """Put a name in records, between frames, in pieces, and in the name of a port."""
    trace = TraceFile(path, lambda: 0.0, lambda: "today", pytest.fail)
    line = trace.opened(name)
    told = replace(identity, gauge=name)
    foreign = replace(told, fingerprint=bytes(8))
    records = [encode(i, packed_record(record)) for i, record in enumerate((foreign, told, Reply(0, 0, None, name)))]
    for data in (*records, name.encode() + b"\0", encode(2, b"\x12\x06" + name.encode())):
        line.passed(FROM_GAUGE, data[:9])
        line.passed(FROM_GAUGE, data[9:])
    line.passed(TO_GAUGE, encode(3, packed_record(Acknowledge(7))) + name.encode())
    trace.close()


@pytest.fixture(scope="module")
def empty_store(tmp_path_factory):
    place = store_in(tmp_path_factory.mktemp("store"))
    place.open().close()
    return place


def plant_store(place, name, empty_store):
    shutil.copy(empty_store.file, place.file)
    with place.open() as store:
        run = run_of(7, name, archive=f"{name}.avro")
        found, why = Unmeasured(7, name, (name,)), Decision(Outcome.REJECTED, reasons=(name,))
        store.add(store.begin_batch(name, 0), run, Evaluation(found, why, 1))


def planted(folder, name, empty_store):
    """Put a name in every file of a folder and return the sources of its diagnosis."""
    plant_settings(folder, name)
    plant_log(folder / "midspan.log", name)
    plant_trace(folder / "line.txt", name)
    plant_store(store_in(folder), name, empty_store)
    return Sources(folder, (folder / "letter.toml",), store_in(folder), folder / "midspan.log", f"/dev/{name}")


def members(out):
    with ZipFile(out) as file:
        return {name: file.read(name).decode("utf-8") for name in file.namelist()}


@pytest.mark.slow
@given(names)
@example("%s %d")
@example("Ann O'Hara")
@hypothesis(max_examples=40)
def test_no_name_is_in_the_pack_whatever_it_was_planted_in(tmp_path_factory, empty_store, name):
    folder = tmp_path_factory.mktemp("shop")
    pack(planted(folder, name, empty_store), folder / "pack.zip")
    for member, text in members(folder / "pack.zip").items():
        assert name not in text, member
        assert quoted(name)[1:-1] not in text, member
        assert name.encode().hex() not in text, member
        assert name not in member


def test_everything_but_names_and_secrets_is_in_the_pack(tmp_path, empty_store):
    parts = pack(planted(tmp_path, STATED, empty_store), tmp_path / "pack.zip")
    found = members(tmp_path / "pack.zip")
    assert set(found) == {LIST, *(part.name for part in parts if part.text is not None)}
    plan = next(json.loads(text) for text in found.values() if '"sort"' in text)["content"]
    assert plan["place"][0] == {"number": 1, "bin": plan["gauge"]["name"], "holds": 4}
    assert plan["notices"]["webhook"] == plan["notices"]["apprise"] == REMOVED
    stand_in = plan["gauge"]["name"]
    assert all(part in found["log.txt"] for part in (stand_in, "FileNotFoundError", "ENOENT", "LinkError"))
    assert all(
        part in found["trace.txt"] for part in (stand_in, "0.1.0", "1.29.0", packed_record(Acknowledge(7)).hex())
    )
    assert re.search(r"^rows of results: 1$", found["database.txt"], re.MULTILINE)
    assert re.search(r"^numpy: \d", found["versions.txt"], re.MULTILINE)
    assert [part.name for part in parts if part.text is None] == ["settings-3.json", "gauge.txt"]
    assert re.search(r"settings-3\.json: .* line 3\b", found[LIST])


def test_the_words_of_our_own_settings_stay():
    names = Placeholders()
    found = scrubbed({**EXAMPLE, "checks": {"rules": "runs", "bad_check": "Ann"}}, names)
    assert found["place"][1] == EXAMPLE["place"][1]
    assert found["checks"] == {"rules": "runs", "bad_check": "bad_check-1"}
    assert found["gauge"]["calibration"] != "gauge.toml"


@pytest.mark.slow
@given(st.recursive(st.text() | st.integers() | st.booleans(), lambda x: st.lists(x) | st.dictionaries(words, x)))
def test_nothing_of_a_value_under_a_key_of_a_person_is_left(value):
    (found,) = scrubbed({"customer": value}, Placeholders()).values()
    left = re.sub(r"unknown-key-\d+|int|bool|str|[\[\]{}', :]", "", str(found))
    assert left == ""


def test_ports_versions_and_faults_are_no_names():
    names = Placeholders()
    assert scrubbed_line("«COM3» «/dev/ttyACM0» «/dev/ttyAnn» «0.1.0» «0.1.0-ann» «PORT_LOST»", names).split() == [
        "COM3", "/dev/ttyACM0", "text-1", "0.1.0", "text-2", "PORT_LOST",
    ]  # fmt: skip


def broken_store(folder):
    (folder / "results.db").write_bytes(b"SQLite format 3\0" + b"\xff" * 5000)


def foreign_store(folder):
    (folder / "results.db").write_text("Dear Ann,")


def no_rights(folder):
    (folder / "results.db").mkdir()
    (folder / "night.toml").mkdir()
    (folder / "midspan.log").mkdir()
    (folder / "line.txt").mkdir()


def broken_trace(folder):
    (folder / "line.txt").write_bytes(b"midspan trace 1\n 1 1 > 2: 0zzz\n\xff\xfe")


def broken_settings(folder):
    (folder / "night.toml").write_bytes(b"\xff\xfe\x00")
    (folder / "deep.toml").write_text("sort = " + "[" * 100_000)
    (folder / "own.toml").write_text(
        '[gauge]\nname = "a"\nport = "b"\ncalibration = "own.toml"\n[sort]\nbands = "\\u0000"\n'
    )


@pytest.mark.parametrize(
    ("spoil", "lacking"),
    [
        (lambda folder: None, {"database.txt", "log.txt", "gauge.txt"}),
        (broken_store, {"database.txt", "log.txt", "gauge.txt"}),
        (foreign_store, {"database.txt", "log.txt", "gauge.txt"}),
        (no_rights, {"database.txt", "log.txt", "gauge.txt", "settings-1.json"}),
        (broken_trace, {"database.txt", "log.txt", "gauge.txt", "trace.txt"}),
        (broken_settings, {"database.txt", "log.txt", "gauge.txt", "settings-1.json", "settings-2.json"}),
    ],
)
def test_nothing_broken_stops_it_and_what_is_broken_is_listed(tmp_path, spoil, lacking):
    folder = tmp_path / "shop"
    folder.mkdir()
    spoil(folder)
    sources = Sources(folder, (), store_in(folder), folder / "midspan.log", "no-such-port")
    pack(sources, tmp_path / "pack.zip")
    found = members(tmp_path / "pack.zip")
    told = found[LIST].partition("Could not be read:\n")[2]
    assert {line.split(":")[0].strip() for line in told.splitlines()} == lacking
    assert not lacking & set(found)
    assert "versions.txt" in found


def test_a_folder_that_is_gone_is_listed(tmp_path):
    lacking = [part.name for part in Collector(Sources(tmp_path / "none")).parts() if part.text is None]
    assert lacking == ["files.txt"]


@pytest.mark.process
def test_the_command_says_what_it_packed_and_writes_over_nothing(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    shop = tmp_path / "shop"
    shop.mkdir()
    settings(shop)
    with Rehearsal({"shafts": []}, tmp_path / "gauge") as simulated:
        done = midspan("--trace", "line.txt", "diagnose", "--port", simulated.port, "--out", "help.zip", folder=shop)
    assert done.returncode == 0, done.stderr
    found = members(shop / "help.zip")
    assert "gauge: rehearsal" in found["gauge.txt"].splitlines()
    assert "diagnose" in found["log.txt"]
    assert log_path().is_file()
    packed = [line for line in done.stdout.splitlines() if line.startswith("packed: ")]
    assert [line.rpartition(" ")[2] for line in packed] == [name for name in found if name != LIST]
    assert "results.db" in done.stdout
    assert "help.zip" in complaint(midspan("diagnose", "--out", "help.zip", folder=shop))


def test_a_pack_that_cannot_be_written_is_one_line(tmp_path):
    with pytest.raises(MidspanError, match=r"none.*pack\.zip"):
        pack(Sources(tmp_path), tmp_path / "none" / "pack.zip")


def test_a_pack_that_a_full_disk_cut_short_is_not_left_behind(tmp_path):
    out = tmp_path / "pack.zip"
    with no_room(500), pytest.raises(MidspanError, match=r"pack\.zip"):
        pack(Sources(tmp_path), out)
    assert not out.exists()
    pack(Sources(tmp_path), out)
    assert LIST in members(out)


def test_a_newer_trace_of_a_command_that_opened_no_line_hides_none(tmp_path):
    for name, opens in (("old.txt", True), ("new.txt", False)):
        trace = TraceFile(tmp_path / name, lambda: 0.0, lambda: "today", pytest.fail)
        if opens:
            trace.opened("gauge").passed(TO_GAUGE, b"\x01\x02")
        trace.close()
    os.utime(tmp_path / "old.txt", (1.0, 1.0))
    (found,) = (part for part in Collector(Sources(tmp_path)).parts() if part.name == "trace.txt")
    assert found.source == tmp_path / "old.txt"
