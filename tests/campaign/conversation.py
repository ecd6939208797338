"""A conversation of a session with the real device code, recorded so that it can be replayed damaged.

A session that is given the same orders at the same places numbers its frames alike, so the recorded replies still
answer them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from device_rig import FakeLink, board, main
from midspan.link.session import Session
from midspan.link.session_states import SessionState
from midspan.wire.records import Feed, Program, Release, Source
from rig import cycle

# The least that is a cycle: few readings, so that a conversation is short, and every kind of record is in it.
CYCLE = tuple(
    replace(step, settle_readings=2)
    for step in cycle(full_count=500_000, clearance_steps=2600, turn_steps=120, zero_readings=4)
)
STEP_S = 0.01
Order = Callable[[Session, float], None]


@dataclass(frozen=True)
class Step:
    """An order of the caller, and the pieces that came from the gauge until the next one."""

    order: Order
    came: tuple[bytes, ...]


def recorded(scenario: dict[str, object], orders: list[Order]) -> list[Step]:
    """Return what the device of a scenario says to a session that gives these orders in turn, at rest."""
    link = FakeLink()
    rehearsal = board.Board(scenario, link, 7)
    device = main.Device(rehearsal)
    session, now_s, steps = Session(), 0.0, []
    for order in orders:
        order(session, now_s)
        came = []
        while session.state not in (SessionState.READY, SessionState.FINISHED):
            assert now_s < 6000, f"the recording stands still, {session.state}"
            link.to_device += session.outgoing()
            rehearsal.idle()
            device.step()
            if link.from_device.endswith(b"\0"):
                came.append(bytes(link.from_device))
                link.from_device.clear()
                session.receive(came[-1], now_s)
            now_s += STEP_S  # without ticks: a replay at another pace must not have to repeat anything
        steps.append(Step(order, tuple(came)))
    return steps


def a_night() -> list[Step]:
    """Shafts fed, measured, stored and released, a fault that has to be cleared, and one shaft fetched again."""
    stock = [{"number": 1}, {"number": 2, "fault": "stiff_jam"}, {"number": 3, "spine_thou": 700.0}]
    return recorded(
        {"shafts": stock, "feeder": {}},
        [
            lambda session, now_s: session.greet(now_s),
            lambda session, now_s: session.handle(Feed(1, Source.HOPPER), now_s),
            lambda session, now_s: session.run(Program(1, False, CYCLE), "a", 0, now_s),
            lambda session, now_s: session.stored(1, now_s),
            lambda session, now_s: session.handle(Release(1, 3), now_s),
            lambda session, now_s: session.handle(Feed(2, Source.HOPPER), now_s),
            lambda session, now_s: session.run(Program(2, False, CYCLE), "b", 0, now_s),
            lambda session, now_s: session.stored(2, now_s),
            lambda session, now_s: session.clear_fault(now_s),
            lambda session, now_s: session.greet(now_s),
            lambda session, now_s: session.handle(Feed(2, Source.SEATED), now_s),
            lambda session, now_s: session.handle(Release(2, 1), now_s),
            lambda session, now_s: session.handle(Feed(3, Source.HOPPER), now_s),
            lambda session, now_s: session.run(Program(3, False, CYCLE), "", 0, now_s),
            lambda session, now_s: session.greet(now_s),
            lambda session, now_s: session.fetch(3, "", 0, now_s),
            lambda session, now_s: session.stored(3, now_s),
        ],
    )
