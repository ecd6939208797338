"""The definitions in protocol/ and the rules they must keep; `make_records` makes the code of both ends from them.

Avro leaves the meaning of additional keys to us: `branch` is a record's place in the union and `sender` the end that
sends it. `keeps` names the fields that begin it in every version. `minimum`, `maximum` and `maxLength` (as in JSON
Schema) bound a number, the items of an array, or a text. `retired` has each unused symbol of an enum with its number
and the reason. A number once given is never given to anything else.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from midspan.wire.schema import data_folder, fingerprint, message_source, record_source

RANGES = {"int": (-(1 << 31), (1 << 31) - 1), "long": (-(1 << 63), (1 << 63) - 1)}
Schema = dict[str, Any]


class DefinitionError(Exception):
    """Definitions that contradict each other, or reuse a number that means something else."""


@dataclass(frozen=True)
class Definitions:
    """Content of protocol/: version, union with every type defined where it is first used, fault texts, phases.

    Phases are tags that the device does not know, so they are no part of the union.
    """

    version: dict[str, int]
    fingerprint: bytes
    union: list[Schema]
    faults: dict[str, dict[str, Any]]
    phases: Schema

    def named(self, kind: str) -> list[Schema]:
        """Return the types of a kind (record, enum or fixed), inner types before outer ones."""
        return [schema for schema in _walk(self.union) if schema.get("type") == kind]

    def parts(self) -> list[Schema]:
        """Return the records that occur only inside others."""
        return [record for record in self.named("record") if "branch" not in record]


def definitions() -> Definitions:
    """Return the definitions in protocol/ as they are now."""
    version, faults = (
        json.loads((data_folder("protocol") / name).read_text(encoding="utf-8"))
        for name in ("version.json", "faults.json")
    )
    return Definitions(version, fingerprint(), message_source(), faults, record_source("Phase"))


def _walk(node: Any) -> Iterator[Schema]:
    """Yield all dictionaries within a schema, inner ones first."""
    for child in node if isinstance(node, list) else node.values() if isinstance(node, dict) else ():
        yield from _walk(child)
    if isinstance(node, dict):
        yield node


# Rules


def check(given: Definitions) -> None:
    """Raise DefinitionError if a number would change its meaning, or a fault has no text."""
    for branch, record in enumerate(given.union):
        _check_record(branch, record)
        _check_types(record)
    for enum in [*given.named("enum"), given.phases]:
        _check_retired(enum)
    _check_faults(given)


def _check_record(branch: int, record: Schema) -> None:
    if record["branch"] != branch:
        raise DefinitionError(
            f"{record['name']} is branch {record['branch']}, but {branch} in message.avsc: append new records, and "
            "leave a retired record in its place"
        )
    keeps = record.get("keeps", [])
    if names_of(record)[: len(keeps)] != keeps:
        raise DefinitionError(f"{record['name']} begins with {', '.join(keeps)} in every version: append new fields")


def _check_types(record: Schema) -> None:
    """Raise DefinitionError for a type that the device's codec.py cannot handle, because no record has needed it."""
    for field in record["fields"]:
        kind, inner = field["type"], inner_type(field["type"])
        is_part = isinstance(inner, dict) and inner["type"] == "record"
        if record["sender"] == "host":
            unknown = inner == "string" or (is_part and kind is inner)
        else:  # the arrays of a block are packed as they grow, not by the table
            unknown = isinstance(kind, dict) and kind["type"] == "array" and record["name"] != "Readings"
        if unknown:
            raise DefinitionError(f"{record['name']}.{field['name']}: add this type to device/codec.py first")


def _check_retired(enum: Schema) -> None:
    for symbol, was in enum.get("retired", {}).items():
        if enum["symbols"][was["number"] : was["number"] + 1] != [symbol]:
            raise DefinitionError(
                f"{enum['name']} {was['number']} was {symbol} and stays reserved ({was['reason']}): leave the retired "
                "symbol in its place and append the new one"
            )


def _check_faults(given: Definitions) -> None:
    (codes,) = (enum for enum in given.named("enum") if enum["name"] == "FaultCode")
    wrong = (set(codes["symbols"]) - set(codes.get("retired", {}))) ^ set(given.faults["device"])
    if wrong:
        raise DefinitionError(f"{', '.join(sorted(wrong))}: a fault in use belongs in fault_code.avsc and faults.json")


# Types and ranges


def names_of(record: Schema) -> list[str]:
    """Return the names of a record's fields in order."""
    return [field["name"] for field in record["fields"]]


def inner_type(kind: Any) -> Any:
    """Return the type beside null, or the type of an array's items, or the type itself."""
    if isinstance(kind, list):
        return kind[1]
    return kind["items"] if isinstance(kind, dict) and kind["type"] == "array" else kind


def name_of(kind: Any) -> str:
    """Return the name of a plain or named type."""
    return str(kind["name"] if isinstance(kind, dict) else kind).removeprefix("midspan.")


def bounds_of(record: Schema, field: Schema) -> tuple[int, int] | None:
    """Return the lowest and highest value of a number or array that a gauge sends, None for any other field.

    None also for fields that every version keeps: they are compared before the rest is trusted, never refused by range.
    """
    kind = name_of(inner_type(field["type"]))
    if kind not in RANGES or field["name"] in record.get("keeps", []) or record.get("sender") == "host":
        return None
    low, high = RANGES[kind]
    return field.get("minimum", low), field.get("maximum", high)


def range_words(field: Schema) -> str:
    """Return a field's range in words, empty if it is that of the type."""
    if "maxLength" in field:
        return f"up to {field['maxLength']} characters"
    if "minimum" not in field:
        return ""
    return f"{field['minimum']} to {field['maximum']}" if "maximum" in field else f"{field['minimum']} or more"
