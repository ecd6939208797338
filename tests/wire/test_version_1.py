"""A gauge of protocol 1 and a host of protocol 2, and the other way round: each refuses the other by name.

The bytes of version 1 are those of its own vectors (tests/data/version_1_frames.json).
"""

import json

import pytest
import wire
from midspan.base.errors import ProtocolError
from midspan.link import session_events as out
from midspan.link.session import Session
from midspan.link.session_states import SessionState
from midspan.wire import codec, framing
from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR, Identify
from places import ROOT

VERSION_1 = json.loads((ROOT / "tests" / "data" / "version_1_frames.json").read_text(encoding="utf-8"))
FINGERPRINT_1 = bytes.fromhex(VERSION_1["fingerprint"])  # of 1.3


def frames_of(*names: str) -> list[dict]:
    return [frame for frame in VERSION_1["frames"] if frame["record"] in names]


@pytest.mark.parametrize("frame", frames_of("Identify"), ids=lambda frame: frame["what"])
def test_a_gauge_of_version_1_is_refused_with_both_versions_and_what_to_do(frame: dict) -> None:
    session = Session()
    session.greet(0.0)
    (failed,) = session.receive(bytes.fromhex(frame["frame"]), 0.1)
    assert isinstance(failed, out.Failed)
    assert isinstance(failed.error, ProtocolError)
    assert failed.error.code == "other_version"
    ours = f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR}"
    for part in (f"1.0 (schema {frame['datum']['fingerprint']})", ours, "midspan board install"):
        assert part in str(failed.error)
    assert session.state is SessionState.APART


def test_whatever_else_a_gauge_of_version_1_says_before_its_identify_it_is_refused_as_that() -> None:
    session, heard = Session(), []
    session.greet(0.0)
    for frame in [*frames_of("Event", "Reply"), frames_of("Identify")[0]]:
        heard += session.receive(bytes.fromhex(frame["frame"]), 0.1)
        session.outgoing()
    (error,) = [event.error for event in heard if isinstance(event, out.Failed)]
    assert error.code == "other_version"


def test_frames_of_both_versions_are_taken_apart_alike() -> None:
    for frame in VERSION_1["frames"]:
        data = bytes.fromhex(frame["frame"])
        assert framing.decode(data[:-1]) == framing.Frame(frame["sequence"], bytes.fromhex(frame["body"]))


def test_a_host_of_version_1_finds_the_version_where_it_looks_for_it() -> None:
    """It reads the branch, two whole numbers as zig-zag varints and eight bytes, and nothing behind them."""
    from make_vectors import IDENTIFY, body_of

    body = body_of("Identify", {**IDENTIFY, "protocol_minor": PROTOCOL_MINOR, "fingerprint": wire.FINGERPRINT.hex()})
    assert isinstance(codec.unpack(body), Identify)
    assert body[:11] == bytes([0, 2 * PROTOCOL_MAJOR, 2 * PROTOCOL_MINOR]) + wire.FINGERPRINT


def test_a_gauge_of_this_version_answers_a_greeting_of_version_1_and_refuses_what_follows() -> None:
    from device_rig import FakeLink, board, main

    line = FakeLink()
    gauge = main.Device(board.Board({"seed": 3, "gauge": {}, "shafts": []}, line, 7, 0))
    greet, stop = frames_of("Greet")[0], next(frame for frame in frames_of("Command") if "stop" in frame["what"])
    line.to_device += bytes.fromhex(greet["frame"]) + bytes.fromhex(stop["frame"])
    for _ in range(200):
        gauge.board.idle()
        gauge.step()
    said = [wire.record(body) for _, body in wire.unframed(bytes(line.from_device))]
    (identify,) = [fields for name, fields in said if name == "Identify"]
    assert (identify["protocol_major"], identify["fingerprint"]) == (PROTOCOL_MAJOR, wire.FINGERPRINT)
    assert [fields["refusal"] for name, fields in said if name == "Reply"] == ["WRONG_PROTOCOL"]
