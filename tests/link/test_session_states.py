"""Classifying records, and each row of the table: classifying changes nothing, and every row can be taken."""

from copy import deepcopy
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import LinkError, MidspanError, ProtocolError
from midspan.link.block_assembler import Blocks
from midspan.link.framed_stream import Unproven
from midspan.link.session import Session
from midspan.link.session_states import TABLE, SessionEffect, SessionSignal, SessionState, Signal, classify
from midspan.wire import schema
from midspan.wire.codec import greeting
from midspan.wire.records import (
    Acknowledge,
    Command,
    EndOfShaft,
    Event,
    Fault,
    FaultCode,
    FeederReport,
    Identify,
    Order,
    Phase,
    Readings,
    Refusal,
    Reply,
    State,
)

SHAFT, OTHER = 4, 5
BOOT = 4
KNOWN = Identify(
    2, 1, schema.fingerprint(), "bench", "1", "none", BOOT, State.LOADED, None, 0, 0, 12500, -(2**23), 2**23 - 1,
    1_500_000, 90_000, 12_000, 6400, 40_000, 2000, 8000, 3000, 2400, 3, None, 2100, None, 900,
    FeederReport(SHAFT, True, True, True, 9, None), False, None,
)  # fmt: skip


def a_block(shaft: int, number: int, first: int, count: int = 5000) -> Readings:
    """Return a block of three readings."""
    return Readings(
        BOOT, shaft, number, first, Phase.LIGHT, 37_500 * number, 12_500, (0, 0, 0), (0, 10, 10), (0, 0, 0),
        (count, -3, -3), (), (),
    )  # fmt: skip


def an_end(shaft: int, blocks: int, readings: int) -> EndOfShaft:
    return EndOfShaft(
        BOOT, shaft, blocks, readings, complete=True, cause=None, duration_ms=900, sampling_ms=700,
        temperature_centi=None, by_shaft=False,
    )  # fmt: skip


def under_way(numbers: set[int], end: EndOfShaft | None = None) -> Blocks:
    """Return a shaft of which these blocks have come."""
    blocks = Blocks(SHAFT, "a", 1_700_000_000_000, KNOWN, end=end)
    for number in sorted(numbers):
        blocks.add(a_block(SHAFT, number, 3 * number))
    return blocks


SHAFTS = st.sampled_from([SHAFT, OTHER])
SAID = st.one_of(
    st.builds(a_block, SHAFTS, st.integers(0, 4), st.sampled_from([0, 3, 6, 200_000]), st.sampled_from([5000, 1])),
    st.builds(an_end, SHAFTS, st.integers(0, 5), st.sampled_from([0, 3, 6, 9, 2**31 - 1])),
    st.builds(
        lambda state, held, boot: replace(KNOWN, state=state, held_shaft=held, boot=boot),
        st.sampled_from(State), st.sampled_from([None, SHAFT, OTHER]), st.integers(4, 5),
    ),
    st.builds(Reply, st.integers(4, 5), st.integers(0, 3), st.sampled_from([None, *Refusal]), st.just("")),
    st.builds(lambda state: Event(BOOT, 5, State.IDLE, state, SHAFT), st.sampled_from(State)),
    st.just(Fault(BOOT, FaultCode.JAM, State.IDLE, None, 5, SHAFT, 0)),
    st.just(Unproven()),
    st.just(ProtocolError("no record")),
    st.just((9, 0, bytes(8))),
    st.just(Acknowledge(SHAFT)),
)  # fmt: skip


def plain(signal: Signal) -> tuple[object, ...]:
    """Return the kind and subject of a signal, an error as its type and message."""
    error = signal.subject
    return signal.kind, (type(error), str(error)) if isinstance(error, MidspanError) else error


@pytest.mark.slow
@given(
    SAID, st.sampled_from([None, KNOWN]), st.none() | st.sets(st.integers(0, 2)), st.sampled_from([None, 2, 3]),
    st.sets(st.integers(0, 3)),
)  # fmt: skip
def test_classifying_changes_nothing_and_says_the_same_again(said, known, numbers, promised, open_requests) -> None:
    end = None if promised is None else an_end(SHAFT, promised, 3 * promised)
    blocks = None if numbers is None else under_way(numbers, end)
    given = said, known, blocks, open_requests
    before = deepcopy(given)
    first, again = classify(*given), classify(*given)
    assert plain(first) == plain(again)
    assert given[1:] == before[1:]
    assert isinstance(said, ProtocolError) or said == before[0]


BROUGHT = {
    **{
        kind: Command(Order.STOP)
        for kind in (
            SessionSignal.RUN, SessionSignal.STORED, SessionSignal.STOP, SessionSignal.HANDLE,
            SessionSignal.CLEAR_FAULT,
        )
    },
    SessionSignal.GREET: greeting(),
    SessionSignal.FETCH: None,
    SessionSignal.SILENCE: None,
    SessionSignal.GIVE_UP: LinkError("nothing came"),
    SessionSignal.UNOBTAINABLE: LinkError("no block came"),
}  # fmt: skip
# What of a gauge gives each signal: what came, the blocks that were there, the numbers of open requests.
CAME = {
    SessionSignal.FOREIGN: ((9, 0, bytes(8)), None, ()),
    SessionSignal.UNPROVEN: (Unproven(), None, ()),
    SessionSignal.RESET: (replace(KNOWN, boot=5), None, ()),
    SessionSignal.HOLDS_OURS: (replace(KNOWN, state=State.HOLDING, held_shaft=SHAFT), {0}, ()),
    SessionSignal.AT_REST: (KNOWN, {0}, ()),
    SessionSignal.MOVING: (replace(KNOWN, state=State.HOMING), {0}, ()),
    SessionSignal.RESTED: (Event(BOOT, 5, State.HOMING, State.IDLE, None), None, ()),
    SessionSignal.CHANGED: (Event(BOOT, 5, State.IDLE, State.HOMING, None), None, ()),
    SessionSignal.FAULT: (Fault(BOOT, FaultCode.JAM, State.IDLE, None, 5, SHAFT, 0), None, ()),
    SessionSignal.ACCEPTED: (Reply(BOOT, 3, None, ""), None, (3,)),
    SessionSignal.REFUSED: (Reply(BOOT, 3, Refusal.OUT_OF_RANGE, ""), None, (3,)),
    SessionSignal.UNGREETED: (Reply(BOOT, 7, Refusal.WRONG_PROTOCOL, ""), None, (3,)),
    SessionSignal.STRAY: (Reply(BOOT, 7, None, ""), None, (3,)),
    SessionSignal.NONSENSE: (Acknowledge(SHAFT), None, ()),
    SessionSignal.BLOCK: (a_block(SHAFT, 1, 3), {0}, ()),
    SessionSignal.DUPLICATE: (a_block(SHAFT, 0, 0), {0}, ()),
    SessionSignal.WHOLE: (an_end(SHAFT, 2, 6), {0, 1}, ()),
    SessionSignal.GAPS: (an_end(SHAFT, 2, 6), {0}, ()),
    SessionSignal.CONTRADICTION: (a_block(SHAFT, 0, 0, count=1), {0}, ()),
}


@pytest.mark.parametrize("kind", CAME, ids=lambda kind: kind.name)
def test_what_came_is_known_for_what_it_is(kind: SessionSignal) -> None:
    said, numbers, open_requests = CAME[kind]
    blocks = None if numbers is None else under_way(numbers)
    assert classify(said, KNOWN, blocks, open_requests).kind is kind


def test_these_are_all_signals_and_all_effects_are_used() -> None:
    assert {*BROUGHT, *CAME} == set(SessionSignal)
    assert {effect for _, effect in TABLE.values()} == set(SessionEffect)


def a_session(state: SessionState) -> Session:
    """Return a session that has greeted, with a request and a shaft under way, put into a state."""
    session = Session()
    session.greet(0.0)
    session.outgoing()
    session.state, session.identify, session._blocks = state, KNOWN, under_way({0})
    return session


@pytest.mark.parametrize(("state", "kind"), TABLE, ids=lambda value: value.name)
def test_each_row_of_the_table_can_be_taken(state: SessionState, kind: SessionSignal) -> None:
    """Each effect finds the subject that it works on."""
    session = a_session(state)
    if kind in BROUGHT:
        signal = Signal(kind, BROUGHT[kind])
    else:
        said, numbers, open_requests = CAME[kind]
        signal = classify(said, KNOWN, None if numbers is None else under_way(numbers), open_requests)
    session._on_signal(signal, 1.0)
    assert session.state is TABLE[state, kind][0]


OUT_OF_PLACE = [(state, kind) for state in SessionState for kind in CAME if (state, kind) not in TABLE]


@pytest.mark.parametrize(("state", "kind"), OUT_OF_PLACE, ids=lambda value: value.name)
def test_a_record_out_of_place_is_counted_and_changes_nothing_else(state: SessionState, kind: SessionSignal) -> None:
    said, numbers, open_requests = CAME[kind]
    session = a_session(state)
    session._blocks, session._asked = None if numbers is None else under_way(numbers), set(open_requests)
    before = {name: deepcopy(value) for name, value in vars(session).items() if name not in ("line", "_patience")}
    (event,) = session._on_said(said, 1.0)
    assert event.record == said
    assert {name: vars(session)[name] for name in before} == {**before, "out_of_place": 1}
