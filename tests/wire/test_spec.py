"""protocol/SPEC.md against both ends: its tables come from code and schemas, its hex examples from vectors.json.

`make redraw` writes the tables anew.
"""

import inspect
import json
import re
from collections.abc import Callable, Iterable

import device_rig  # puts the device's folder on the path
import pytest
from definitions import range_words

import answers  # isort: skip  # the device's
import gauge  # isort: skip
import home  # isort: skip
import inputs  # isort: skip
from parts import feeder  # isort: skip
from midspan.link.block_assembler import MOST_EXTRAS
from midspan.link.session import LARGEST_RESEND, Session
from midspan.link.session_states import TABLE, SessionState
from midspan.link.stale_frames import LARGEST_LEAP
from midspan.link.timeouts import SILENCE_SHARE
from midspan.wire import framing
from midspan.wire import schema as schemas
from midspan.wire.fault_texts import fault_texts, host_fault_texts
from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR, RANGES, Identify

SPEC = schemas.data_folder("protocol") / "SPEC.md"
DEVICE_STATES = device_rig.records.STATES
DEVICE_TABLE = gauge.TABLE | feeder.transitions(feeder.Feeder)
Row = tuple[str, ...]
Transition = tuple[str, str, str, str]  # state, signal, next state, action

VARINTS = {"int": "1 to 5", "long": "1 to 10", "string": "1 + its UTF-8 length", "boolean": "1"}


def table(head: Row, rows: Iterable[Row]) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def collated(transitions: Iterable[Transition], states: list[str]) -> str:
    """Return a table of transitions, one line for all states and signals with the same next state and action."""
    by_state: dict[tuple[str, str, str], list[str]] = {}
    for state, signal, following, action in transitions:
        key = (state, "stays" if following == state else following, action)
        by_state.setdefault(key, []).append(signal)
    by_line: dict[tuple[str, str, str], list[str]] = {}
    for (state, following, action), signals in by_state.items():
        by_line.setdefault((", ".join(signals), following, action), []).append(state)
    rows = [
        ("any" if len(where) == len(states) else ", ".join(where), signals, following, action)
        for (signals, following, action), where in by_line.items()
    ]
    rows.sort(key=lambda row: -1 if row[0] == "any" else states.index(row[0].split(", ")[0]))
    return table(("in", "on", "goes to", "does"), rows)


def host_states() -> str:
    states = table(("state", "meaning"), [(state.name, state.value) for state in SessionState])
    transitions = [
        (state.name, signal.name, following.name, effect.name.lower().replace("_", " "))
        for (state, signal), (following, effect) in TABLE.items()
    ]
    return states + "\n\n" + collated(transitions, [state.name for state in SessionState])


def device_states() -> str:
    actions = {action for _, action in DEVICE_TABLE.values()}
    transitions = [
        (DEVICE_STATES[state], event, DEVICE_STATES[following], words(action))
        for (state, event), (following, action) in DEVICE_TABLE.items()
    ]
    legend = [(words(action), inspect.getdoc(action).replace("\n", " ")) for action in actions]
    return collated(transitions, list(DEVICE_STATES)) + "\n\n" + table(("action", "meaning"), sorted(legend))


def words(action: Callable) -> str:
    return action.__name__.replace("_", " ")


def faults() -> str:
    rows = [(code.name, f.text, f.action, f.ends, f.detail, f.way_back) for code, f in fault_texts().items()]
    return table(("code", "what happened", "safe action", "ends in", "detail", "way back"), rows)


def host_faults() -> str:
    rows = [(code.value, f.text, f.action, f.way_back, f.run) for code, f in host_fault_texts().items()]
    return table(("code", "what happened", "safe action", "way back", "the run"), rows)


def feeder_times() -> str:
    rows = [
        (
            "time from the escapement's stroke until a shaft lies still on its rollers",
            f"{feeder.FEED_US // 1000} ms",
        ),
        (
            "time from the gate's opening until the shaft has passed the chute",
            f"{feeder.RELEASE_US // 1000} ms",
        ),
        ("time without a change after which sensors are believed", f"{feeder.SETTLE_US // 1000} ms"),
        ("openings of the gate before a shaft that stays counts as a jam", str(feeder.OPENINGS)),
    ]
    return table(("what", "value"), rows)


def input_bits() -> str:
    of_feeder = ("LEFT_END", "RIGHT_END", "ABOVE", "HOPPER", "SLOT", "CHUTE")
    bits = [(name, getattr(feeder, name)) for name in of_feeder] + [("LID", inputs.LID), ("STOP", inputs.STOP)]
    return table(("input", "bit"), [(name, str(bit)) for name, bit in bits])


def record_tables() -> str:
    return "\n\n".join(
        found for branch, schema in enumerate(schemas.message_source()) for found in tables_of(branch, schema)
    )


def tables_of(branch: int, schema: dict) -> list[str]:
    """Return the table of a record and those of the records within it."""
    head = f"#### {branch} {schema['name']} (first byte {2 * branch:02x}, from the {schema['sender']})"
    parts = [f"##### {part['name']}, within {schema['name']}" for part in records_in(schema["fields"])]
    return [
        record_table(name, part)
        for name, part in zip((head, *parts), (schema, *records_in(schema["fields"])), strict=True)
    ]


def record_table(head: str, schema: dict) -> str:
    rows = [
        (f"`{field['name']}`", type_name(field["type"]), size(field["type"]), range_words(field), field["doc"])
        for field in schema["fields"]
    ]
    return f"{head}\n\n{schema['doc']}\n\n" + table(("field", "type", "bytes", "range", "meaning"), rows)


def records_in(node: object) -> list[dict]:
    """Return the definitions of records in a part of a schema, the outer before the inner."""
    children = node if isinstance(node, list) else list(node.values()) if isinstance(node, dict) else []
    own = [node] if isinstance(node, dict) and node.get("type") == "record" else []
    return own + [found for child in children for found in records_in(child)]


def type_name(kind: object) -> str:
    if isinstance(kind, list):
        return f"null or {type_name(kind[1])}"
    if isinstance(kind, dict):
        return f"array of {type_name(kind['items'])}" if kind["type"] == "array" else kind["name"]
    return str(kind).removeprefix("midspan.")


def size(kind: object) -> str:
    if isinstance(kind, list):
        return f"1, or 1 + {size(kind[1])}"
    name = type_name(kind)
    if name.startswith("array"):
        return "1, or 2 to 3 + items"
    if name == "Fingerprint":
        return "8"
    if isinstance(kind, dict) and kind["type"] == "record":
        return "its fields"
    return VARINTS.get(name, "1")


def enums() -> str:
    rows = [(kind["name"], ", ".join(kind["symbols"])) for kind in enums_in(schemas.message_source())]
    return table(("enum", "symbols, from 0"), rows)


def enums_in(node: object) -> list[dict]:
    children = node if isinstance(node, list) else list(node.values()) if isinstance(node, dict) else []
    own = [node] if isinstance(node, dict) and "symbols" in node else []
    return own + [found for child in children for found in enums_in(child)]


def version() -> str:
    return table(
        ("protocol version", "fingerprint, least significant byte first"),
        [(f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR}", f"`{schemas.fingerprint().hex(' ')}`")],
    )


def limits() -> str:
    default = {name: p.default for name, p in inspect.signature(Session).parameters.items()}
    rows = [
        ("largest frame before stuffing", f"{framing.LARGEST} bytes", "both"),
        ("largest frame on the line, delimiter included", f"{framing.LARGEST_STUFFED + 1} bytes", "both"),
        ("largest body", f"{framing.LARGEST_BODY} bytes", "both"),
        ("readings in a block", f"up to {readings_max()}", "device"),
        ("blocks in one Resend", f"up to {LARGEST_RESEND}", "both"),
        ("silence after which a moving device retracts", f"{answers.SILENCE_MS} ms", "device"),
        ("counted position beyond which a closing home switch means lost steps",
         f"{home.LOST_STEPS_MOST} microsteps", "device"),
        ("counted position beyond which a closed home switch is not believed; half of it is how far the head goes on "
         "above home", f"1/{home.SLIP_PART} of press_limit_steps", "device"),
        ("silence after which the host asks again", f"{default['answer_s']:g} s, or less: next line", "host"),
        ("times the host speaks within the device's silence", f"at least {SILENCE_SHARE - 1}", "host"),
        ("silence after which the host gives up", f"{default['dead_s']:g} s", "host"),
        ("time without progress after which the host gives up",
         f"{default['patience_s']:g} s", "host"),
        ("Resends without a new block after which the host gives up", f"{default['rounds']}", "host"),
        ("most readings of a gauge that the host believes", f"{RANGES[Identify]['readings_most'][1]}", "host"),
        ("most marks and unusual readings of a shaft, for each reading that the gauge holds", f"{MOST_EXTRAS}", "host"),
        ("largest leap of the sequence number that the host takes for a loss",
         f"{LARGEST_LEAP} frames", "host"),
    ]  # fmt: skip
    return table(("what", "value", "kept by"), rows)


def readings_max() -> int:
    import held

    return held.READINGS_MAX


DRAWN = {
    "version": version,
    "limits": limits,
    "enums": enums,
    "records": record_tables,
    "host states": host_states,
    "device states": device_states,
    "faults": faults,
    "host faults": host_faults,
    "feeder": feeder_times,
    "inputs": input_bits,
}
MARKED = re.compile(r"(<!-- drawn: (?P<name>[a-z ]+) -->\n)(?:.*?\n)??(<!-- end -->)", re.DOTALL)


def drawn_anew(text: str) -> str:
    return MARKED.sub(lambda found: found[1] + DRAWN[found["name"]]() + "\n" + found[3], text)


def test_every_drawn_table_is_in_the_text() -> None:
    assert {found["name"] for found in MARKED.finditer(SPEC.read_text(encoding="utf-8"))} == set(DRAWN)


@pytest.mark.parametrize("name", DRAWN)
def test_the_tables_are_those_of_the_code(name: str) -> None:
    text = SPEC.read_text(encoding="utf-8")
    found = next(found for found in MARKED.finditer(text) if found["name"] == name)
    assert found[0] == drawn_anew(found[0]), "out of date: make redraw"


def test_every_fault_ends_where_the_device_goes() -> None:
    ends = {"retract": "HOLDING"}
    ends |= dict.fromkeys(("retract_faulty", "retract_blind", "note_faulty", "give_up"), "FAULTED")
    for code, fault in fault_texts().items():
        transitions = [following for (_, event), following in DEVICE_TABLE.items() if event == code.name]
        assert {ends.get(action.__name__, DEVICE_STATES[state]) for state, action in transitions} == {fault.ends}, code


def test_every_hex_example_is_a_vector() -> None:
    vectors = json.loads((SPEC.parent / "vectors.json").read_text(encoding="utf-8"))
    known = {vector[key] for vector in vectors["records"] for key in ("body", "frame")}
    examples = re.findall(r"```hex\n(.*?)```", SPEC.read_text(encoding="utf-8"), re.DOTALL)
    assert len(examples) >= 2
    assert all(re.sub(r"\s", "", example) in known for example in examples)


if __name__ == "__main__":
    SPEC.write_text(drawn_anew(SPEC.read_text(encoding="utf-8")), encoding="utf-8")
