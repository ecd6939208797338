"""What can stand in a file instead of what should: damage to any bytes, absurd values, and foreign things."""

import json
import os

ABSURD = (
    None,
    True,
    "",
    "x",
    "0",
    "nan",
    "x" * 5000,
    "\x1b[31mred\x07",
    "\u202egnp",
    "\ud7ff\u0000",
    b"\xff\xfe",
    [],
    {},
    [[]],
    {"a": 1},
    0,
    -1,
    2**31,
    2**63 - 1,
    -(2**63),
    10**30,
    0.5,
    1e308,
    -1e308,
    1e-320,
    float("inf"),
    float("nan"),
)
DEEP = 100_000
LITERALS = (
    "",
    "null",
    "[]",
    "{}",
    '"x"',
    "1",
    "NaN",
    "[NaN]",
    "1e400",
    '{"a"',
    "[" * DEEP,
    '{"a":' * DEEP,
    "9" * 5000,
    "\x00",
    "true",
)


def bits(data, random):
    """Return the bytes with a few bits flipped."""
    data = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 8, 60))):
        if data:
            data[random.randrange(len(data))] ^= 1 << random.randrange(8)
    return bytes(data)


def cut(data, random):
    """Return the bytes without an end."""
    return data[: random.randrange(len(data) + 1)]


def blank(data, random):
    """Return the bytes with a page of zeros, as a disk leaves it."""
    page = random.choice((512, 4096))
    start = random.randrange(0, max(1, len(data)), page)
    return data[:start] + bytes(min(page, len(data) - start)) + data[start + page :]


def noise(data, random):
    """Return the bytes with a piece of noise."""
    start = random.randrange(len(data) + 1)
    some = random.randbytes(random.choice((1, 16, 700, 4096)))
    return data[:start] + some + data[start + len(some) :]


def twice(data, random):
    """Return the bytes with a piece repeated."""
    start = random.randrange(len(data) + 1)
    end = min(len(data), start + random.choice((1, 40, 4096)))
    return data[:end] + data[start:]


BYTES = (bits, cut, blank, noise, twice)


def nest(value, random):
    """Return a nest of plain values with a leaf or branch replaced by something absurd."""
    if isinstance(value, dict) and value and random.random() < 0.8:
        key = random.choice(sorted(value))
        if random.random() < 0.15:
            return {name: inner for name, inner in value.items() if name != key}
        return value | {key: nest(value[key], random)}
    if isinstance(value, list) and value and random.random() < 0.8:
        i = random.randrange(len(value))
        return (
            [*value[:i], nest(value[i], random), *value[i + 1 :]]
            if random.random() < 0.7
            else value[:i] + value[i + 1 :]
        )
    wild = random.choice(ABSURD)
    return wild.decode("latin-1") if isinstance(wild, bytes) else wild


def text_of_json(text, random):
    """Return JSON that is damaged, or whole with an absurd value."""
    return random.choice(LITERALS) if random.random() < 0.4 else json.dumps(nest(json.loads(text), random))


def instead(path, random):
    """Return something else in place of a file."""
    path.unlink(missing_ok=True)
    kind = random.choice(("folder", "empty", "text", "noise", "link to nothing", "endless", "long"))
    if kind == "folder":
        path.mkdir()
    elif kind == "link to nothing":
        path.symlink_to("nowhere")
    elif kind == "endless":
        path.symlink_to("/dev/zero")
    elif kind == "long":
        with path.open("wb") as file:
            os.truncate(file.fileno(), 1 << 33)
    else:
        path.write_bytes({"empty": b"", "text": b"shaft,spine\n1,500\n"}.get(kind) or random.randbytes(3000))
