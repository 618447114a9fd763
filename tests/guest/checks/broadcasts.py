"""The periodic messages of the car's control units, read by `python-can` of PyPI with nothing but `list broadcasts --json`.

The reader knows CAN and the list; whether it makes sense is judged by SAE J1979: what the messages say must be what the
parameters of service $01 say.
"""

import collections
import contextlib
import json
import statistics
import subprocess

import can

import frames
import messages
import program
import python_client

SECONDS = 10.0


def layout(twotrip):
    listed = subprocess.run([str(twotrip), "list", "broadcasts", "--json"], capture_output=True, text=True, check=True)
    return {message["id"]: message for message in map(json.loads, listed.stdout.splitlines())}


def value(message, signal, data):
    """A signal by its numbers, bit by bit."""
    bit, raw = signal["start_bit"], 0
    if message["byte_order"] == "little-endian":
        for place in range(signal["length"]):
            raw |= (data[(bit + place) // 8] >> (bit + place) % 8 & 1) << place
    else:
        for _ in range(signal["length"]):
            raw = raw << 1 | data[bit // 8] >> bit % 8 & 1
            bit = bit + 15 if bit % 8 == 0 else bit - 1
    if signal["signed"] and raw >> (signal["length"] - 1):
        raw -= 1 << signal["length"]
    return raw * signal["scale"] + signal["offset"]


def group(twotrip, figure):
    @contextlib.contextmanager
    def opening():
        with program.car(twotrip, "healthy", "vcan0", "--broadcasts", "on") as car:
            car.tell("drive 50 km/h for 60 s, stop")
            with can.Bus(interface="socketcan", channel="vcan0") as bus:
                yield car, bus

    def heard(bus, seconds):
        """Frames by identifier, until `seconds` of the kernel's time have passed."""
        by_id, first = collections.defaultdict(list), None
        while (message := bus.recv(2.0)) is not None:
            first = first or message.timestamp
            by_id[message.arbitration_id].append(message)
            if message.timestamp - first >= seconds:
                return by_id
        raise AssertionError(f"the bus fell silent: {dict(by_id)}")

    def python_can_decodes_them_by_the_list(opened):
        _, bus = opened
        listed = layout(twotrip)
        by_id = heard(bus, SECONDS)
        assert set(by_id) == set(listed), f"{sorted(by_id)} heard, {sorted(listed)} listed"
        said = {}
        for identifier, message in listed.items():
            got = by_id[identifier]
            assert all(frame.dlc == message["dlc"] and not frame.is_extended_id for frame in got), message["name"]
            # The emulated machine halts now and then: a message late is overwritten by its next.
            expected = SECONDS * 1000 / message["cycle_ms"]
            assert 0.5 * expected <= len(got) <= expected + 2, f"{message['name']}: {len(got)} of {expected:.0f}"
            for signal in message["signals"]:
                said[signal["name"]] = value(message, signal, got[-1].data)
            if message["cycle_ms"] <= 100:
                gaps = [after.timestamp - before.timestamp for before, after in zip(got, got[1:])]
                figure(f"{message['name']}: cycle of {message['cycle_ms']} ms, median", f"{statistics.median(gaps) * 1000:.1f}", "ms")
        with frames.Bus("vcan0") as raw:
            speed = int.from_bytes(raw.ask(b"\x01\x0c")[2:4], "big") / 4
            coolant = raw.ask(b"\x01\x05")[2] - 40
            fuel = raw.ask(b"\x01\x2f")[2] / 2.55
        assert abs(said["engine-speed"] - speed) < 60, f"{said['engine-speed']} rpm, $0C says {speed}"
        assert abs(said["coolant-temperature"] - coolant) <= 2, f"{said['coolant-temperature']} C, $05 says {coolant}"
        assert abs(said["fuel-level"] - fuel) < 2, f"{said['fuel-level']} %, $2F says {fuel}"
        assert said["output-speed"] == 0 and said["engine-runs"] == 1 and said["key"] == 1, said

    def answers_of_several_frames_come_among_them(opened):
        client = python_client.Client(opened[0], "vcan0")
        try:
            for _ in range(20):
                messages.vin_of(client.ask("09 02"))
        finally:
            client.close()

    def they_stop_with_the_key(opened):
        car, bus = opened
        car.tell("key off", "soak 1 h")
        while bus.recv(0.0) is not None:
            pass
        late = bus.recv(1.5)
        assert late is None, f"asleep, but sent {late}"

    return (
        "broadcasts",
        opening,
        [python_can_decodes_them_by_the_list, answers_of_several_frames_come_among_them, they_stop_with_the_key],
    )
