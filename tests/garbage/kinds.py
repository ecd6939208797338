"""Kinds of garbage: each spoils something in a sound folder and says which commands are to be tried on it."""

import json
import re
import sqlite3
from contextlib import closing
from io import BytesIO

import fastavro
from midspan.archive import avro_container, raw_run_codec
from midspan.wire.schema import raw_run_schema, record_source
from places import DATA

from garbage import doors, spoil

BOTH = doors.READERS + doors.WRITERS


# Databases


def _settled(folder):
    """Fold the log of the database into its file, and return the file."""
    with closing(sqlite3.connect(folder / "results.db")) as database:
        database.execute("PRAGMA journal_mode = DELETE")
    return folder / "results.db"


def store_bytes(folder, random):
    """Damage the bytes of a database."""
    path = _settled(folder)
    path.write_bytes(random.choice(spoil.BYTES)(path.read_bytes(), random))
    return BOTH


def store_instead(folder, random):
    """Replace the database by something else."""
    path = _settled(folder)
    spoil.instead(path, random)
    return BOTH


def _without_triggers(database):
    for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        database.execute(f"DROP TRIGGER {name}")


def _tables(database):
    return [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]


def store_values(folder, random):
    """Put a value of another type, or an absurd one, into a column: SQLite keeps whatever it is given."""
    with closing(sqlite3.connect(folder / "results.db")) as database, database:
        database.execute("PRAGMA ignore_check_constraints = ON")
        _without_triggers(database)
        for _ in range(random.choice((1, 3))):
            table = random.choice(_tables(database))
            column = random.choice([row[1] for row in database.execute(f"PRAGMA table_info({table})")])
            wild = random.choice(
                [value for value in spoil.ABSURD if not isinstance(value, list | dict) and abs_(value) < 2**63]
            )
            some = (
                ""
                if random.random() < 0.5
                else f" WHERE rowid IN (SELECT rowid FROM {table} ORDER BY random() LIMIT 3)"
            )
            try:
                database.execute(f"UPDATE OR REPLACE {table} SET {column} = ?{some}", (wild,))
            except sqlite3.Error:
                continue
    return BOTH


def abs_(value):
    """Return the absolute value of a whole number, 0 for anything else."""
    return abs(value + 1 if value == -(2**63) else value) if isinstance(value, int) else 0


JSON_COLUMNS = (
    ("results", "full"),
    ("decisions", "reasons"),
    ("nights", "plan"),
    ("steps", "watched"),
    ("sets", "limits"),
    ("calibrations", "content"),
    ("checks", "reasons"),
)


def store_json(folder, random):
    """Damage JSON in a column, or let it say something else."""
    with closing(sqlite3.connect(folder / "results.db")) as database, database:
        _without_triggers(database)
        table, column = random.choice(JSON_COLUMNS)
        rows = database.execute(f"SELECT rowid, {column} FROM {table} WHERE {column} IS NOT NULL").fetchall()
        for row, text in rows if random.random() < 0.6 else random.sample(rows, 1):
            database.execute(
                f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (spoil.text_of_json(text, random), row)
            )
    return BOTH


def store_tables(folder, random):
    """Take away a column, a row or a table; or leave another program's or version's tables."""
    with closing(sqlite3.connect(folder / "results.db")) as database, database:
        _without_triggers(database)
        database.execute("PRAGMA foreign_keys = OFF")
        table = random.choice(_tables(database))
        match random.choice(("table", "column", "name", "rows", "version", "program", "bare")):
            case "table":
                database.execute(f"DROP TABLE {table}")
            case "column":
                names = [row[1] for row in database.execute(f"PRAGMA table_info({table})") if not row[5]]
                if names:
                    column = random.choice(names)
                    for (index,) in database.execute(
                        "SELECT name FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
                    ).fetchall():
                        database.execute(f"DROP INDEX {index}")
                    try:
                        database.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
                    except sqlite3.Error:
                        database.execute(f"ALTER TABLE {table} RENAME COLUMN {column} TO strange")
            case "name":
                database.execute(f"ALTER TABLE {table} RENAME TO strange")
            case "rows":
                database.execute(f"DELETE FROM {table}")
            case "version":
                database.execute(f"PRAGMA user_version = {random.choice((0, 1, 2, 3, 4, 6, 2**31 - 1, -1))}")
            case "program":
                database.execute(f"PRAGMA application_id = {random.choice((0, 1))}")
            case "bare":
                for name in _tables(database):
                    database.execute(f"DROP TABLE {name}")
                    database.execute(f"CREATE TABLE {name} (x)")
    return BOTH


OLD = DATA / "e0bd664" / "results.db"


def store_of_old(folder, random):
    """Damage a database of an earlier version, which is upgraded when it is opened."""
    path = _settled(folder)
    path.write_bytes(OLD.read_bytes())
    random.choice((store_bytes, store_values, store_json, store_json, store_tables))(folder, random)
    return BOTH


# Archives


def archive_bytes(folder, random):
    """Damage the bytes of an archive."""
    path = folder / "readings.avro"
    path.write_bytes(random.choice(spoil.BYTES)(path.read_bytes(), random))
    return doors.ARCHIVE


def archive_instead(folder, random):
    """Replace the archive by something else."""
    spoil.instead(folder / "readings.avro", random)
    return doors.ARCHIVE


NUMBERS = (0, 1, -1, 2**15, 2**31 - 1, -(2**31), 1000)


def archive_values(folder, random):
    """Put a record with a right checksum and absurd values between sound records; the rest must be read."""
    path = folder / "readings.avro"
    with path.open("rb") as file:
        header = avro_container.read_header(file, "x")
        blocks = [part.datums for part in avro_container.walk(file, header, raw_run_codec.is_guarded)]
    record = fastavro.schemaless_reader(BytesIO(blocks[1]), raw_run_schema(), None)
    record["started_ms"] = 1_700_000_000_000
    for _ in range(random.choice((1, 1, 2))):
        _absurd(record, random)
    blocks[1] = _guarded(record)
    path.write_bytes(
        avro_container.header_bytes(raw_run_schema(), header.marker)
        + b"".join(avro_container.block_bytes(block, header.marker) for block in blocks)
    )
    return doors.ARCHIVE


def _guarded(record):
    from zlib import crc32

    schema = json.loads(json.dumps(record_source("RawRun")))
    for field in schema["fields"]:
        if field["name"] == "started_ms":
            field["type"] = "long"
    out = BytesIO()
    fastavro.schemaless_writer(out, fastavro.parse_schema(schema), record | {"crc32": None})
    bare = out.getvalue()[:-1]
    return bare + b"\x02" + crc32(bare).to_bytes(4, "little")


def _absurd(record, random):
    name = random.choice(sorted(record.keys() - {"crc32"}))
    value, number = record[name], random.choice(NUMBERS)
    if name in ("shaft", "started_ms"):
        number = random.choice((*NUMBERS, 2**63 - 1, -(2**63), 10**15, 253_402_300_800_000, -62_135_596_800_001))
    if name == "temperature_centi":
        record[name] = random.choice((None, number))
    elif isinstance(value, str | None):
        record[name] = random.choice(("", "x" * 100_000, "\x1b[31mred\x07\n\r", "\u202egnp.exe", "\x00"))
    elif isinstance(value, bool):
        record[name] = not value
    elif isinstance(value, int):
        record[name] = number
    elif name == "segments":
        i = random.randrange(len(value))
        value[i][random.choice(("phase", "readings"))] = number
    elif name == "unusual":
        record[name] = [{"reading": random.choice((0, 5, number)), "status": number}]
    elif name == "marks":
        record[name] = random.choice(
            ([5, 5, 5], [0, 1, 2, 3], [number] * 3, [0, number, 2 * (number // 2)], [-(2**31), 2**31 - 1, 0])
        )
    else:
        _absurd_column(value, number, random)


def _absurd_column(value, number, random):
    match random.choice(("one", "all", "shorter", "none", "run")):
        case "one":
            value[random.randrange(len(value))] = number
        case "all":
            value[:] = [number] * len(value)
        case "shorter":
            del value[random.randrange(len(value)) :]
        case "none":
            value.clear()
        case "run":
            start = random.randrange(len(value))
            value[start : start + 300] = [number] * len(value[start : start + 300])


def archive_schema(folder, random):
    """Give the header a schema that is deep, huge, endless, empty or another program's, with data to fit."""
    path = folder / "readings.avro"
    with path.open("rb") as file:
        runs = list(fastavro.reader(file))
    source = json.loads(json.dumps(record_source("RawRun")))
    extra, body = random.choice(EXTRAS)
    if extra == "whole":
        text, datums = body, b""
    else:
        source["fields"].append({"name": "more", "type": extra})
        text = source if isinstance(source, str) else json.dumps(source)
        out = BytesIO()
        fastavro.schemaless_writer(out, fastavro.parse_schema(record_source("RawRun")), runs[0])
        datums = out.getvalue() + body
    meta = {"avro.codec": b"null", "avro.schema": text.encode() if isinstance(text, str) else text}
    marker = bytes(16)
    head = BytesIO()
    fastavro.schemaless_writer(
        head, avro_container._HEADER_SCHEMA, {"magic": avro_container.MAGIC, "meta": meta, "marker": marker}
    )
    path.write_bytes(head.getvalue() + avro_container.block_bytes(datums, marker))
    return doors.ARCHIVE


def _deep(depth):
    return '{"type":"array","items":' * depth + '"int"' + "}" * depth


LIST = {"type": "record", "name": "L", "fields": [{"name": "next", "type": ["null", "L"]}]}
EXTRAS = (
    ("whole", _deep(spoil.DEEP)),
    ("whole", _deep(900)),
    ("whole", _deep(200)),
    ("whole", "[" * spoil.DEEP),
    ("whole", '{"type":' * 5000 + '"int"' + "}" * 5000),
    ("whole", '"int"'),
    ("whole", "null"),
    ("whole", "[]"),
    ("whole", "1"),
    ("whole", b"\xff\xfe"),
    ("whole", '{"type":"record"}'),
    ("whole", '{"type":"record","name":"midspan.RawRun","fields":[]}'),
    ("whole", '{"type":"record","name":"midspan.RawRun","fields":1}'),
    ("whole", '{"type":"record","name":"midspan.RawRun","fields":[{"name":"shaft","type":"midspan.RawRun"}]}'),
    ("whole", '{"type":"enum","name":"midspan.RawRun","symbols":["a"]}'),
    ("whole", '{"type":"fixed","name":"midspan.RawRun","size":-1}'),
    ("whole", '{"type":"record","name":{},"fields":[]}'),
    ("whole", '{"type":["x"]}'),
    ({"type": "array", "items": "null"}, b"\xfe\xff\xff\xff\xff\xff\xff\xff\xff\x01"),
    (
        {"type": "array", "items": {"type": "record", "name": "E", "fields": []}},
        b"\xfe\xff\xff\xff\xff\xff\xff\xff\xff\x01\x00",
    ),
    (
        {"type": "array", "items": {"type": "fixed", "name": "F", "size": 0}},
        b"\xfe\xff\xff\xff\xff\xff\xff\xff\xff\x01\x00",
    ),
    ({"type": "fixed", "name": "F", "size": 1 << 40}, b"x"),
    (LIST, b"\x02" * 300 + b"\x00"),
    (LIST, b"\x02" * 2_000_000 + b"\x00"),
    ("bytes", b"\xfe\xff\xff\xff\xff\xff\xff\xff\xff\x01"),
    ("bytes", b"\x01"),
    ("int", b"\x02"),
)


# What people write


def input_bytes(folder, random):
    """Damage an input, change its encoding, or replace it."""
    name, lines = random.choice(list(doors.INPUTS.items()))
    path = _input(folder, name)
    choice = random.random()
    if choice < 0.2:
        spoil.instead(path, random)
    elif choice < 0.35:
        path.write_bytes(path.read_text().encode(random.choice(("utf-16", "utf-32", "utf-7", "cp500"))))
    elif choice < 0.5:
        path.write_bytes(
            b"".join(random.sample(path.read_bytes().splitlines(True), len(path.read_bytes().splitlines())))
        )
    else:
        path.write_bytes(random.choice(spoil.BYTES)(path.read_bytes(), random))
    return lines


def _input(folder, name):
    return next((folder / "calibration").glob("*.json")) if name == "record.json" else folder / name


WILD_TOML = (
    "nan",
    "inf",
    "-inf",
    "1e400",
    "-1e400",
    "1e-400",
    "0",
    "-1",
    "-0.0",
    "true",
    '""',
    "'x'",
    "[]",
    "{}",
    "[[1]]",
    "{a = 1}",
    "1979-05-27",
    "1979-05-27T07:32:00Z",
    "07:32:00",
    "9" * 400,
    "9" * 5000,
    "0x" + "f" * 4000,
    "[" * 50_000,
    "{a=" * 5000,
    '"' + "x" * 100_000 + '"',
    '"\\u001b[31m"',
    '"\\u202e"',
    "9223372036854775808",
    "1_000",
    "=",
    "1e308",
    "5e-324",
    "[1, 2, 3]",
    '["a"]',
)
WILD_CELL = (
    "nan",
    "inf",
    "-inf",
    "1e400",
    "1e-400",
    "0",
    "-0",
    "",
    " ",
    '"',
    '"a',
    "x" * 100_000,
    "9" * 5000,
    "\x00",
    "\x1b[31m",
    "\u202e",
    "1;2",
    "1,2",
    "true",
    "None",
    "0x10",
    "1_000",
    "½",
    "\uff11\uff12",
    "1979-05-27",
    "9999-12-31T23:59:59",
    "0001-01-01",
    "1e308",
    "-1e9",
    "\u0663",
)


def input_values(folder, random):
    """Put an absurd value into an input, a key twice, or more cells than headings."""
    name, lines = random.choice(list(doors.INPUTS.items()))
    path = _input(folder, name)
    text = path.read_text()
    for _ in range(random.choice((1, 1, 2))):
        if name.endswith(".json"):
            text = spoil.text_of_json(text, random) if text.strip().startswith("{") else text
        elif name.endswith(".toml"):
            text = _wild_toml(text, random)
        else:
            text = _wild_table(text, random)
    path.write_text(text, "utf-8")
    return lines


def _wild_toml(text, random):
    lines = text.splitlines()
    keys = [i for i, line in enumerate(lines) if re.match(r"\s*\w+ *=", line)]
    if not keys:
        return text
    i = random.choice(keys)
    key, wild = lines[i].split("=")[0], random.choice(WILD_TOML)
    match random.choice(("value", "value", "value", "twice", "gone", "key", "dotted")):
        case "value":
            lines[i] = f"{key}= {wild}"
        case "twice":
            lines.insert(i, lines[i])
        case "gone":
            del lines[i]
        case "key":
            lines[i] = f'"{random.choice(("x" * 5000, chr(27) + "[31m", "a b", ""))}" = 1'.replace(chr(27), "\\u001b")
        case "dotted":
            lines[i] = ".".join(["a"] * 3000) + " = 1"
    return "\n".join(lines) + "\n"


def _wild_table(text, random):
    rows = [line.split(",") for line in text.splitlines()]
    picked = random.choice(rows)
    wild = random.choice(WILD_CELL)
    match random.choice(("cell", "cell", "column", "more", "fewer", "remark", "many")):
        case "cell":
            picked[random.randrange(len(picked))] = wild
        case "column":
            i = random.randrange(len(rows[0]))
            for row in rows[1:]:
                row[min(i, len(row) - 1)] = wild
        case "more":
            picked.append(wild)
        case "fewer" if len(picked) > 1:
            picked.pop()
        case "remark":
            picked[0] = "#" + picked[0]
        case _:
            rows += rows[1:] * 30
    return "\n".join(",".join(row) for row in rows) + "\n"


KINDS = (
    store_bytes,
    store_instead,
    store_values,
    store_json,
    store_tables,
    store_of_old,
    archive_bytes,
    archive_instead,
    archive_values,
    archive_schema,
    input_bytes,
    input_values,
)
