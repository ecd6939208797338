"""Compare the device's frames, records and blocks with the golden vectors, under CPython or MicroPython.

`python tests/device/vectors_on_device.py protocol device` prints a line for each difference, then the number of
comparisons. It uses only what MicroPython has.
"""

import json
import sys

sys.path.insert(0, sys.argv[2] + "/rehearsal")  # stands in for modules of MicroPython itself
sys.path.insert(0, sys.argv[2])

import codec
import frames
import held

PROTOCOL = sys.argv[1]
differences = []
compared = 0


def compare(what, found, wanted):
    global compared
    compared += 1
    if found != wanted:
        differences.append(f"{what}: found {found}, wanted {wanted}")


def read(name):
    with open(PROTOCOL + "/" + name) as file:
        return json.load(file)


def definition(name):
    """Return the schema of a type; midspan.EndOfShaft is in end_of_shaft.avsc."""
    words = "".join("_" + letter.lower() if letter.isupper() else letter for letter in name[len("midspan.") :])
    return read(words[1:] + ".avsc")


def device_values(record, datum):
    return [device_value(field["type"], datum[field["name"]]) for field in record["fields"]]


def device_value(kind, value):
    """Return a datum's value in the device's form: enums by number, parts as lists, fixed as bytes."""
    if isinstance(kind, list):
        return None if value is None else device_value(kind[1], value)
    if isinstance(kind, dict) and kind["type"] == "array":
        return [device_value(kind["items"], item) for item in value]
    if isinstance(kind, dict) and kind["type"] == "record":
        return device_values(kind, value)
    if kind == "midspan.Fingerprint":
        return bytes.fromhex(value)
    if not isinstance(kind, dict):
        return device_value(definition(kind), value) if "." in kind else value
    return kind["symbols"].index(value) if kind["type"] == "enum" else bytes.fromhex(value)


def frame_of(sequence, body):
    encoder = frames.Encoder()
    encoder._sequence = sequence
    encoder.raw[frames.HEAD : frames.HEAD + len(body)] = body
    out = bytearray(frames.STUFFED_MAX)
    return bytes(out[: encoder.encode(frames.HEAD + len(body), out, 0)])


def decoded(data):
    decoder = frames.Decoder()
    found = []
    for byte in data:
        end = decoder.push(byte)
        if end:
            found.append((decoder.sequence(), bytes(decoder.frame[frames.HEAD : end])))
    return found, decoder.bad


def rebuilt_block(datum):
    """Return a block as the device packs it, reading by reading, from absolute values."""
    number, first = datum["block"], datum["first"]
    store = held.Held(first + held.READINGS_MAX)
    store.begin(datum["shaft"], datum["interval_us"])
    store.blocks = store._next = number  # those before it are sent
    store.readings = store._used = store._starts[number] = first
    unusual = {item["reading"]: item["status"] for item in datum["unusual"]}
    rotate = press = count = status = 0
    for i in range(len(datum["counts"])):
        rotate += change(datum["rotate_steps"], i)
        press += change(datum["press_steps"], i)
        count += datum["counts"][i]
        for mark in datum["marks"] if i + 1 == len(datum["counts"]) else ():
            store.mark(mark)
        status = unusual.get(i, status)
        gap_us = datum["interval_us"] + datum["lateness_us"][i]
        store.add(datum["phase"], datum["tick_us"], gap_us, rotate, press, count, status)
    store.close()
    out = bytearray(frames.FRAME_MAX)
    return bytes(out[: store.write_next(datum["boot"], out, 0)]) if store.waiting() else b""


def change(column, i):
    return column[i] if i < len(column) else 0


def check_record(vector):
    body = bytes.fromhex(vector["body"])
    what = vector["what"]
    compare(what + " frame", frame_of(vector["sequence"], body), bytes.fromhex(vector["frame"]))
    unpacker = codec.Unpacker(body, 0, len(body))
    schema = definition(UNION[unpacker.branch])
    compare(what + " branch", schema["name"], vector["record"])
    if vector["record"] == "Readings":
        if vector["datum"]["counts"] and vector["datum"]["block"] < held.BLOCKS_MAX:
            compare(what + " block", rebuilt_block(vector["datum"]), body)
        return
    values = device_values(schema, vector["datum"])
    if schema["sender"] == "host":
        compare(what + " values", unpacker.values(), values)
    if vector["record"] not in ("Resend", "Program"):  # arrays, which the device only reads
        out = bytearray(frames.FRAME_MAX)
        compare(what + " body", bytes(out[: codec.pack(out, 0, unpacker.branch, values)]), body)


def refuses(body):
    try:
        codec.Unpacker(body, 0, len(body)).values()
    except codec.RecordError:
        return True
    return False


def main():
    vectors = read("vectors.json")
    for vector in vectors["records"]:
        check_record(vector)
    for vector in vectors["streams"]:
        found, bad = decoded(bytes.fromhex(vector["bytes"]))
        wanted = [(frame["sequence"], bytes.fromhex(frame["body"])) for frame in vector["frames"]]
        compare(vector["what"], found, wanted)
        compare(vector["what"] + " damaged", bad, vector["damaged"])
    for vector in vectors["foreign_bodies"]:
        compare(vector["what"], refuses(bytes.fromhex(vector["body"])), True)
    for value, text in vectors["published"]["zigzag"]["pairs"]:
        out = bytearray(10)
        compare(f"zigzag {value}", bytes(out[: codec.put_int(out, 0, value)]), bytes.fromhex(text))
    for plain, stuffed in vectors["published"]["cobs"]["pairs"]:
        raw = bytes.fromhex(plain)
        out = bytearray(64)
        compare("cobs " + plain, bytes(out[: frames.stuff(raw, len(raw), out, 0)]), bytes.fromhex(stuffed + "00"))


UNION = read("message.avsc")
main()
for line in differences:
    print(line)
print("compared", compared)
