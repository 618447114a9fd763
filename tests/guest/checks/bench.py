"""`--on-a-bench`: the guard of a bus with a wire, on a vxcan pair whose far end stands in for what is connected.

The guard is the same on every CAN interface for which it is asked for; that a physical one is refused without the flag is
a test of the interface's kind (crates/host/src/bus/interface.rs), since no adapter can be had here. Identifiers: ISO 15765-4.
"""

import contextlib
import json
import pathlib
import subprocess
import tempfile
import threading
import time

import frames
import pcapng
import program

CAR, FAR = "vb0", "vb1"


class Bench:
    def __init__(self, twotrip):
        self.twotrip = str(twotrip)

    def refused(self, *words, interface=CAR, expect=3):
        """Runs a command that must refuse; what it said."""
        command = [self.twotrip, *words, "--bus", interface]
        ran = subprocess.run(command, capture_output=True, text=True, timeout=60)
        assert ran.returncode == expect, f"{command}: exit {ran.returncode}\n{ran.stdout}{ran.stderr}"
        assert "ready" not in ran.stdout, ran.stdout
        return ran.stderr


class Node(threading.Thread):
    """A node at the far end: sends `period`ically, or answers each frame of `question` that says `asked` by `answer`."""

    def __init__(self, send=None, period=0.1, question=None, asked=b"", answer=None):
        super().__init__(daemon=True)
        self.bus = frames.Bus(FAR)
        self.to_send, self.period, self.question, self.answer = send, period, question, answer
        self.asked = asked
        self.heard = []
        self.stop = threading.Event()

    def run(self):
        while not self.stop.is_set():
            if self.to_send:
                self.bus.send(*self.to_send)
            frame = self.bus.receive(self.period)
            if frame is None:
                continue
            self.heard.append(frame)
            if self.question is not None and frame[0] == self.question and self.asked in frame[1]:
                self.bus.send(*self.answer)

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self.stop.set()
        self.join()
        self.bus.close()


def group(twotrip):
    @contextlib.contextmanager
    def opening():
        subprocess.run(["ip", "link", "add", CAR, "type", "vxcan", "peer", "name", FAR], check=True)
        for end in (CAR, FAR):
            subprocess.run(["ip", "link", "set", end, "up"], check=True)
        try:
            yield Bench(twotrip)
        finally:
            subprocess.run(["ip", "link", "delete", CAR], check=True)

    def a_bus_in_use_is_refused_without_a_word(bench):
        with Node(send=(0x123, b"\x01\x02")) as node:
            said = bench.refused("run", "healthy", "--on-a-bench")
            assert "the bus is in use" in said and "123#01 02" in said and "on the wire" in said, said
            assert not node.heard, f"the car sent {node.heard}"

    def whoever_answers_the_probe_refuses_the_car(bench):
        # An ECU of SAE J1979, and one that speaks SAE J1979-2 alone.
        classic, on_uds = (b"\x01\x00", "06 41 00 BE 3E B8 13 00"), (b"\x22\xf8\x10", "04 62 F8 10 01 00 00 00")
        sizes = (frames.FUNCTIONAL, frames.ANSWER), (0x18DB33F1 | frames.EXTENDED, 0x18DAF110 | frames.EXTENDED)
        for question, identifier in sizes:
            for asked, answer in (classic, on_uds):
                with Node(question=question, asked=asked, answer=(identifier, bytes.fromhex(answer))) as node:
                    said = bench.refused("run", "healthy", "--on-a-bench")
                    assert "another ECU is on this bus" in said, said
                    assert f"{identifier & 0x1FFFFFFF:X}#{answer[:8]}" in said, said
                    probes = [frame[1] for frame in node.heard if frame[0] == question and asked in frame[1]]
                    assert probes == [frames.padded(asked)] and node.heard[-1][1] == probes[0], node.heard

    def a_silent_bench_gets_its_car(bench):
        with Node() as node:
            with program.car(twotrip, program.QUICK, CAR, "--on-a-bench", "--timing", "fast"):
                said = [frame for frame in node.heard if frame[1][:3] == b"\x02\x01\x00"]
                assert [identifier for identifier, _ in said] == [frames.FUNCTIONAL, 0x18DB33F1 | frames.EXTENDED], said
                with frames.Bus(FAR) as bus:
                    assert bus.ask(b"\x01\x00")[:2] == b"\x41\x00"
                    # Other testers, other ECUs asked: nothing foreign.
                    bus.send(0x7E3, frames.padded(b"\x01\x00"))
                    bus.send(0x18DB33F1 | frames.EXTENDED, frames.padded(b"\x01\x00"))
                    assert bus.ask(b"\x01\x00", identifier=frames.PHYSICAL)[:2] == b"\x41\x00"

    def somebody_else_later_stops_the_car(bench):
        for frame, words in (
            ((0x7E9, bytes.fromhex("06 41 00 BE 3E B8 13 00")), "a second ECU"),
            ((frames.ANSWER, bytes.fromhex("06 41 00 BE 3E B8 13 00")), "a second ECU"),
            ((0x18DAF118 | frames.EXTENDED, bytes(8)), "a second ECU"),
            ((0x3E9, b"\x00"), "foreign traffic"),
        ):
            car = program.Car(twotrip, program.QUICK, CAR, "--on-a-bench", "--timing", "fast")
            try:
                with frames.Bus(FAR) as bus:
                    assert bus.ask(b"\x01\x00"), "01 00 before it"
                    bus.send(*frame)
                    bus.send(frames.FUNCTIONAL, frames.padded(b"\x01\x00"))
                    code = car.process.wait(10)
                    heard = bus.collect(0.2)
                said = car.output()
            finally:
                car.close()
            assert code == 3, f"exit {code}: {said}"
            assert words in said and "stopped sending" in said, said
            assert not heard, f"sent afterwards: {heard}"

    def another_program_on_this_computer_counts_too(bench):
        with program.car(twotrip, program.QUICK, CAR, "--timing", "fast"):
            said = bench.refused("run", "healthy", "--on-a-bench")
        # Only after the first car has told us who it is by answering.
        assert "another program on this computer" in said and "7E8#" in said, said

    def frames_that_have_passed_are_told_apart_from_frames_queued(bench):
        # On vcan0 the kernel gives sent frames back, as a real adapter does once they have passed: then that is what
        # the car's transport goes by. A multi-frame answer depends on it for each of its frames.
        with program.car(twotrip, program.QUICK, "vcan0", "--on-a-bench", "--timing", "fast", "--json") as car:
            bench_line = [json.loads(line) for line in car.said if '"bench"' in line]
            assert bench_line == [{"event": "bench", "acknowledged": True}], car.said
            with frames.Bus("vcan0", filters=[(frames.ANSWER, 0x7FF)]) as bus:
                for _ in range(20):
                    bus.send(frames.PHYSICAL, frames.padded(b"\x09\x02"))
                    assert bus.receive(2.0)[1][:3] == b"\x10\x14\x49"
                    bus.send(frames.PHYSICAL, b"\x30\x00\x00\x00\x00\x00\x00\x00")
                    assert [bus.receive(2.0)[1][0] for _ in range(2)] == [0x21, 0x22]

    def scan_and_a_bus_without_a_wire(bench):
        with program.car(twotrip, "loose-fuel-cap", CAR):
            command = [bench.twotrip, "scan", "codes", "--bus", FAR, "--on-a-bench"]
            ran = subprocess.run(command, capture_output=True, text=True, timeout=60)
            assert ran.returncode == 0 and "P0455" in ran.stdout, f"{ran.stdout}{ran.stderr}"
        said = bench.refused("run", "healthy", "--on-a-bench", interface="local:guest")
        assert "no wire" in said, said
        time.sleep(0.1)

    def a_recorded_tester_goes_where_only_the_recorded_ecus_are(bench):
        answer = bytes.fromhex("06 41 00 BE 3E B8 13 00")
        with tempfile.TemporaryDirectory() as folder:
            tape = pathlib.Path(folder) / "tape.pcapng"
            pcapng.write(
                tape,
                [(0.0, frames.FUNCTIONAL, frames.padded(b"\x01\x00")), (0.004, frames.ANSWER, answer)],
            )
            words = ["replay", str(tape), "--as", "tester", "--on-a-bench"]
            with Node(question=frames.FUNCTIONAL, asked=b"\x01\x00", answer=(frames.ANSWER, answer)) as node:
                ran = subprocess.run([bench.twotrip, *words, "--bus", CAR], capture_output=True, text=True, timeout=60)
                assert ran.returncode == 0 and "1 request: 1 same" in ran.stdout, f"{ran.stdout}{ran.stderr}"
                # The probe, and the request.
                asked = [frame for frame in node.heard if frame == (frames.FUNCTIONAL, frames.padded(b"\x01\x00"))]
                assert len(asked) == 2, node.heard
            with Node(question=frames.FUNCTIONAL, answer=(0x7E9, answer)) as node:
                said = bench.refused(*words)
                assert "another ECU is on this bus" in said and "7E9#06 41 00" in said, said
                assert len(node.heard) == 1, f"more than the probe: {node.heard}"
            with Node(send=(0x123, b"\x01\x02")) as node:
                said = bench.refused(*words)
                assert "the bus is in use" in said and not node.heard, f"{said} {node.heard}"

    return (
        "bench",
        opening,
        [
            a_bus_in_use_is_refused_without_a_word,
            whoever_answers_the_probe_refuses_the_car,
            a_silent_bench_gets_its_car,
            somebody_else_later_stops_the_car,
            another_program_on_this_computer_counts_too,
            frames_that_have_passed_are_told_apart_from_frames_queued,
            scan_and_a_bus_without_a_wire,
            a_recorded_tester_goes_where_only_the_recorded_ecus_are,
        ],
    )
