"""Write device/records.py and host/midspan/wire/records.py from the definitions in protocol/: `make records`."""

import re
import textwrap
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from definitions import Definitions, Schema, bounds_of, check, definitions, inner_type, name_of, range_words
from places import ROOT

MADE = '"""Made by `make records` from protocol/: change the definitions there, never this file.'
WIDTH = 120
HOST_TYPES = {"int": "int", "long": "int", "string": "str", "boolean": "bool"}


def _statement(head: str, items: Iterable[str], tail: str) -> str:
    """Return a statement that lists items, on one line if they fit."""
    listed = ", ".join(items)
    if len(line := f"{head}{listed}{tail}  # fmt: skip") <= WIDTH:
        return line
    body = textwrap.wrap(f"{listed},", WIDTH - 4, break_on_hyphens=False)
    return "\n".join([head, *(f"    {line}" for line in body), f"{tail}  # fmt: skip"])


def _quoted(names: Iterable[str]) -> list[str]:
    return [f'"{name}"' for name in names]


# The device's module


def device_text(given: Definitions) -> str:
    """Return the text of the device's module."""
    kinds = _device_kinds(given)
    return "\n".join([
        f"{MADE}\n\n{DEVICE_WORDS}\n",
        f"PROTOCOL_MAJOR = {given.version['major']}\nPROTOCOL_MINOR = {given.version['minor']}",
        "# CRC-64-AVRO of the message schema in Parsing Canonical Form, least significant byte first",
        'FINGERPRINT = b"' + "".join(f"\\x{byte:02x}" for byte in given.fingerprint) + '"\n',
        *_device_numbers(given.named("enum")),
        *(_device_fields(f"{_constant(part)} = (", part, kinds, "") for part in given.parts()),
        "RECORDS = (", *(_device_fields(f"    (  # {record['name']}", record, kinds) for record in given.union), ")",
        _statement("(", [_constant(record) for record in given.union], f") = range({len(given.union)})"),
    ]) + "\n"  # fmt: skip


DEVICE_WORDS = '''\
The numbers of each enum's symbols, then the kinds of the fields of each record. A kind is "number" (int and long),
"boolean", "string", the count of an enum's symbols, ("fixed", bytes), ("null", kind), ("array", kind), or a record's
kinds. Names of fields would cost heap and are not needed.
"""'''
DEVICE_NAMES = ("State", "FaultCode")  # enums whose symbols the device needs as text


def _device_numbers(enums: Iterable[Schema]) -> Iterator[str]:
    """Yield each enum's numbers as constants, and the symbols that the device needs as text.

    If an enum before it has taken one of the symbols, as phases are named after states, yield no constants.
    """
    taken: set[str] = set()
    for enum in enums:
        symbols = enum["symbols"]
        if not taken & set(symbols):
            yield _statement("(", symbols, f") = range({len(symbols)})")
        if enum["name"] in DEVICE_NAMES:
            yield _statement(f"{_constant(enum)}S = (", _quoted(symbols), ")")
        taken |= set(symbols)


def _device_kinds(given: Definitions) -> dict[str, str]:
    """Return the kind of each type as the device's codec reads it, by the type's name."""
    return (
        {"int": '"number"', "long": '"number"', "boolean": '"boolean"', "string": '"string"'}
        | {enum["name"]: str(len(enum["symbols"])) for enum in given.named("enum")}
        | {fixed["name"]: f'("fixed", {fixed["size"]})' for fixed in given.named("fixed")}
        | {part["name"]: _constant(part) for part in given.parts()}
    )


def _device_fields(begin: str, record: Schema, kinds: dict[str, str], indent: str = "    ") -> str:
    """Return the tuple of a record's kinds, a field on each line."""
    fields = [f"{indent}    {_device_kind(field['type'], kinds)},  # {field['name']}" for field in record["fields"]]
    tail = f"{indent})," if indent else ")"
    return "\n".join([begin, *fields, tail])


def _device_kind(kind: Any, kinds: dict[str, str]) -> str:
    """Return a field's kind."""
    inner = kinds[name_of(inner_type(kind))]
    if isinstance(kind, list):
        return f'("null", {inner})'
    return f'("array", {inner})' if isinstance(kind, dict) and kind["type"] == "array" else inner


def _snake(schema: Schema) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", "_", schema["name"]).lower()


def _constant(schema: Schema) -> str:
    return _snake(schema).upper()


# The host's module


def host_text(given: Definitions) -> str:
    """Return the text of the host's module."""
    records = [*given.parts(), *given.union]
    parts = {part["name"]: part["name"] for part in given.parts()}
    return "\n".join([
        HOST_HEAD.format(made=MADE, **given.version),
        *(_host_enum(enum) for enum in [*given.named("enum"), given.phases]),
        HOST_FAULTS, *(f'    {code} = "{code}"' for code in given.faults["host"]), "\n",
        *(_host_class(record, given) for record in records),
        "Record = (\n    " + "\n    | ".join(record["name"] for record in given.union) + "\n)\n",
        "# Lowest and highest value of each number that a gauge sends, or of the items of an array",
        *_host_table("RANGES", "tuple[int, int]", records, bounds_of),
        "# Most characters of a text that messages repeat",
        *_host_table("LONGEST", "int", records, lambda _, field: field.get("maxLength")),
        "# Records that come within others",
        *_host_table("PARTS", "type", records, lambda _, field: parts.get(name_of(inner_type(field["type"])))),
    ]) + "\n"  # fmt: skip


HOST_HEAD = '''{made}

The enums and records of the line, with the ranges of their values. Tuples keep the order of the schema's arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

PROTOCOL_MAJOR = {major}
PROTOCOL_MINOR = {minor}

'''
HOST_FAULTS = '''class HostFault(StrEnum):
    """Fault that the host finds while it sorts, because the device cannot notice it; its texts are in faults.json."""
'''


def _docstring(words: str, sections: Iterable[str] = (), indent: str = "    ") -> str:
    """Return a docstring: the first sentence as its summary, the other sentences as a paragraph, then the sections."""
    summary, _, rest = words.partition(". ")
    lines = [f'"""{summary.rstrip(".")}.']
    if rest:
        lines += ["", *_wrapped(rest, indent)]
    for section in sections:
        lines += ["", *section.splitlines()]
    lines = [*lines, '"""'] if len(lines) > 1 else [f'{lines[0]}"""']
    return textwrap.indent("\n".join(lines), indent)


def _wrapped(words: str, indent: str) -> list[str]:
    return textwrap.wrap(words, WIDTH - len(indent), break_on_hyphens=False)


def _host_enum(enum: Schema) -> str:
    """Return the class of an enum; a retired symbol has the reason beside it."""
    retired = enum.get("retired", {})
    notes = {symbol: f"  # retired: {was['reason']}" for symbol, was in retired.items()}
    members = [f"    {symbol} = {i}{notes.get(symbol, '')}" for i, symbol in enumerate(enum["symbols"])]
    return "\n".join([f"class {enum['name']}(IntEnum):", _docstring(enum["doc"]), "", *members, "\n"])


def _host_class(record: Schema, given: Definitions) -> str:
    """Return the class of a record, its fields documented under Parameters."""
    words = f"{record['doc']} Sent by the {record['sender']}." if "sender" in record else record["doc"]
    types = {field["name"]: _host_type(field, given) for field in record["fields"]}
    parts = [_parameter(field, types[field["name"]]) for field in record["fields"]]
    docstring = _docstring(words, ["\n".join(["Parameters", "----------", *parts])])
    defaults = {field["name"]: f" = {field['default']}" for field in record["fields"] if "default" in field}
    fields = [f"    {name}: {kind}{defaults.get(name, '')}" for name, kind in types.items()]
    head = ["@dataclass(frozen=True, slots=True)", f"class {record['name']}:"]
    return "\n".join([*head, docstring, "", *fields, "\n"])


def _host_type(field: Schema, given: Definitions) -> str:
    """Return the Python type of a field; a default of null is written as None."""
    kind, name = field["type"], name_of(inner_type(field["type"]))
    fixed = {schema["name"]: "bytes" for schema in given.named("fixed")}
    plain = (HOST_TYPES | fixed).get(name, name)
    if isinstance(kind, list):
        return f"{plain} | None"
    return f"tuple[{plain}, ...]" if inner_type(kind) is not kind else plain


def _parameter(field: Schema, kind: str) -> str:
    """Return the entry of a field in the section Parameters, with its range at the end; Avro's null is None here."""
    words = range_words(field)
    described = re.sub(r"\bnull\b", "None", field["doc"])
    described = f"{described} {words[:1].upper()}{words[1:]}{'.' if words else ''}".rstrip()
    lines = _wrapped(described, " " * 8)
    return "\n".join([f"{field['name']} : {kind.replace(' | ', ' or ')}", *(f"    {line}" for line in lines)])


def _host_table(
    name: str, kind: str, records: Iterable[Schema], value: Callable[[Schema, Schema], Any]
) -> Iterator[str]:
    """Yield a table of the values that a function has for records and fields, without those that are None."""
    yield f"{name}: dict[type, dict[str, {kind}]] = {{"
    for record in records:
        found = {field["name"]: value(record, field) for field in record["fields"]}
        lines = [f'        "{field}": {item},' for field, item in found.items() if item is not None]
        if lines:
            yield "\n".join([f"    {record['name']}: {{", *lines, "    },"])
    yield "}"


FILES = {ROOT / "device" / "records.py": device_text, ROOT / "host" / "midspan" / "wire" / "records.py": host_text}

if __name__ == "__main__":
    found = definitions()
    check(found)
    for path, text in FILES.items():
        path.write_text(text(found), encoding="utf-8")
