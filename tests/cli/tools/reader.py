"""A tool under test: reads the confirmed codes of a car on an embedded bus, and prints them. Well, or in one of the ways in which tools go wrong.

    reader.py BUS [MANNER]
"""

import sys
import time

sys.path.insert(0, sys.path[0] + "/../../../crates/cli/python")
import twotrip


def ask(bus, manner, *request):
    """The answer of the first ECU that answers a request to all; ISO 15765-2 with normal addressing."""
    bus.send(twotrip.Frame(0x7DF, bytes([len(request), *request]).ljust(8, b"\0")))
    message, length, end = b"", None, time.monotonic() + 2
    while length is None or len(message) < length:
        frame = bus.receive(end - time.monotonic())
        if frame is None:
            return None
        if not 0x7E8 <= frame.id <= 0x7EF:
            continue
        kind = frame.data[0] >> 4
        if kind == 0:
            return frame.data[1 : 1 + frame.data[0]]
        if kind == 1:
            length, message = (frame.data[0] & 0x0F) << 8 | frame.data[1], frame.data[2:]
            if manner != "no-flow-control":
                bus.send(twotrip.Frame(frame.id - 8, b"\x30\0\0".ljust(8, b"\0")))
        elif kind == 2:
            message += frame.data[1:]
    return message[:length]


def codes(answer):
    for high, low in zip(answer[2::2], answer[3::2]):
        yield f"{'PCBU'[high >> 6]}{high >> 4 & 3}{high & 15:X}{low:02X}"


def main(name, manner="well"):
    if manner == "hangs":
        print("waiting", flush=True)
        time.sleep(1000)
    with twotrip.LocalBus(name) as bus:
        if manner == "clears":
            ask(bus, manner, 0x04)
        answer = ask(bus, manner, 0x03)
    if answer is None:
        print("no answer")
        return 0 if manner == "says-nothing" else 4
    found = list(codes(answer))
    if manner == "imagines":
        found.append("P0ABC")
    print("codes:", *found)
    return 0


sys.exit(main(*sys.argv[1:]))
