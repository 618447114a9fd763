"""The recorder on the kernel's CAN: what it loses and counts, what it keeps when it is killed, every kind of frame.

Sources: draft-ietf-opsawg-pcapng and LINKTYPE_CAN_SOCKETCAN, read by `pcapng.py`, which shares nothing with the program;
Linux Documentation/networking/can.rst for what CAN_RAW and vcan do.
"""

import collections
import contextlib
import random
import signal
import socket
import struct
import subprocess
import time

import frames
import kernel_tester
import pcapng
import messages
import program

INTERFACE, SECOND = "vcan1", "vcan2"
FLOOD = 200_000
RATE, RATED = 30_000, 60_000
KILLS = 20


class Recorder:
    """`twotrip record` while a block runs; afterwards `frames`, of which each has its interface, and `said`."""

    def __init__(self, twotrip, path, buses, *options):
        self.path = path
        named = [word for bus in buses for word in ("--bus", bus)]
        command = [str(twotrip), "record", str(path), *named, *options]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        line = self.process.stdout.readline()
        assert line.startswith("recording "), f"{' '.join(command)}: {line!r} {self.process.stderr.read()}"

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        self.said, errors = self.process.communicate(timeout=60)
        assert self.process.returncode == 0, f"exit {self.process.returncode}: {self.said}{errors}"
        self.frames = pcapng.read(self.path).frames

    def kill(self):
        self.process.kill()
        self.process.communicate()


class Floods:
    """Recordings of numbered frames as fast as they come."""

    def __init__(self, twotrip, tools, results):
        self.twotrip, self.tools, self.results = twotrip, tools, results

    def flooded(self, name, count, *options):
        path = self.results / name
        with Recorder(self.twotrip, path, [INTERFACE]) as recorder:
            flood = [str(self.tools / "frame-flood"), INTERFACE, str(count), *options]
            ran = subprocess.run(flood, capture_output=True, text=True, timeout=300)
            assert ran.returncode == 0, ran.stderr
            # What the kernel holds is still to be read.
            time.sleep(3.0)
        path.unlink()
        return recorder.frames, float(ran.stdout)


def missing(got):
    """Frames not there between those that are, and the losses that are told before each."""
    numbers = [struct.unpack(">Q", frame.data)[0] for frame in got]
    assert numbers == sorted(set(numbers)), "out of order, or twice"
    for frame, number in zip(got, numbers):
        assert frame.identifier == number % 0x700, f"{frame} is not frame {number}"
    gaps, before = [], -1
    for frame, number in zip(got, numbers):
        gaps.append((number - before - 1, frame.dropped))
        before = number
    return gaps, before


def counted_group(twotrip, tools, results, figure):
    """In the guest whose clock counts instructions, 500 million a second: there it does not matter what the machine does."""

    @contextlib.contextmanager
    def opening():
        yield Floods(twotrip, tools, results)

    def thirty_thousand_frames_a_second_are_all_there(floods):
        got, took = floods.flooded("rated.pcapng", RATED, str(RATE))
        lost = RATED - len(got)
        figure(f"counted in instructions: frames lost at {RATED / took:.0f} frames/s (goal 0)", lost, "frames")
        gaps, _ = missing(got)
        assert took <= 1.01 * RATED / RATE, f"the frames took {took} s: that rate was not reached"
        assert lost == 0, f"{lost} of {RATED} frames lost, {sum(gap for gap, _ in gaps)} of them before the last"

    return "counted_recordings", opening, [thirty_thousand_frames_a_second_are_all_there]


def group(twotrip, tools, results, figure):
    @contextlib.contextmanager
    def opening():
        yield Floods(twotrip, tools, results)

    def a_flood_is_there_or_counted(floods):
        got, took = floods.flooded("flood.pcapng", FLOOD)
        gaps, last = missing(got)
        for gap, counted in gaps:
            assert gap == counted, f"{gap} frames are missing where {counted} are told"
        lost = sum(gap for gap, _ in gaps) + FLOOD - 1 - last
        figure(f"{FLOOD} frames in {took:.1f} s, recorded", len(got), "frames")
        # Those after the last frame that was kept can be told by no frame.
        assert len(got) + lost == FLOOD
        assert FLOOD - 1 - last < FLOOD / 10, f"the last frame kept is {last}"

    def every_kind_of_frame_on_two_buses(_):
        sent = {INTERFACE: [], SECOND: []}
        flags = {"fd": 0x04, "brs": 0x05}
        with Recorder(twotrip, results / "kinds.pcapng", [INTERFACE, SECOND]) as recorder:
            for interface in sent:
                with socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW) as can:
                    can.setsockopt(socket.SOL_CAN_RAW, socket.CAN_RAW_FD_FRAMES, 1)
                    can.bind((interface,))
                    for identifier, data, kind in (
                        (0x7DF, b"\x01\x03", "data"),
                        (0x98DB33F1, bytes(range(8)), "data"),
                        (0x123, b"", "data"),
                        (0x40000321, b"", "remote"),
                        (0x98DAF110, bytes(range(64)), "fd"),
                        (0x100, bytes(12), "brs"),
                    ):
                        if kind in flags:
                            packed = struct.pack("=IBB2x64s", identifier, len(data), flags[kind], data)
                        else:
                            packed = struct.pack("=IB3x8s", identifier, 4 if kind == "remote" else len(data), data)
                        can.send(packed)
                        sent[interface].append((identifier, data, kind))
            time.sleep(1.0)
        for interface, wanted in sent.items():
            got = [frame for frame in recorder.frames if frame.interface == interface]
            assert [(frame.raw, frame.data, frame.kind) for frame in got] == [
                (identifier, data, kind) for identifier, data, kind in wanted
            ], got
            assert all(frame.direction == "out" for frame in got), "sent from this computer"
            now = time.time()
            assert all(now - 60 < frame.seconds <= now for frame in got), "the kernel's clock"

    def a_recorder_killed_at_any_moment_loses_less_than_a_second(_):
        dice = random.Random(5)
        path = results / "killed.pcapng"
        with program.car(twotrip, "healthy", INTERFACE, "--broadcasts", "on") as car:
            car.tell("key on")
            worst = 0.0
            for turn in range(KILLS):
                recorder = Recorder(twotrip, path, [INTERFACE])
                time.sleep(1.0 + dice.random())
                killed = time.time()
                recorder.kill()
                read = pcapng.read(path)
                last = read.frames[-1].seconds
                worst = max(worst, killed - last)
                assert killed - last <= 1.0, f"killed {killed - last:.2f} s after the last frame, turn {turn}"
                assert len(read.sections) == turn + 1
        figure(f"longest loss of a killed recorder, {KILLS} kills", f"{worst:.2f}", "s")

    def the_car_records_what_is_said(_):
        path = results / "loop.pcapng"
        with program.car(twotrip, "loose-fuel-cap", INTERFACE, "--record", str(path)) as car, frames.Bus(INTERFACE) as bus:
            for request in (b"\x03", b"\x07", b"\x0a", b"\x01\x0c", b"\x01\x0d", b"\x01\x05", b"\x02\x02\x00"):
                assert bus.ask(request) is not None, request.hex()
            # One by one, which is how an analyser takes them apart; then as a tester asks.
            for pid in messages.supported(bus.ask, 0x01):
                if messages.PID_LENGTH.get(pid, 8) <= 5:
                    assert bus.ask(bytes([0x01, pid])) is not None, f"{pid:02X}"
            for what in ("vehicle", "live", "freeze-frame", "tests"):
                scan = [str(twotrip), "scan", what, "--bus", INTERFACE]
                subprocess.run(scan, check=True, timeout=120, capture_output=True)
            car.tell("tighten fuel-cap")
            # The answers that the scans were given have come here too.
            bus.collect(0.5)
            assert bus.ask(b"\x04") == b"\x44"
        read = pcapng.read(path)
        ways = collections.Counter((frame.identifier, frame.direction) for frame in read.frames)
        assert set(ways) == {(0x7DF, "in"), (0x7E0, "in"), (0x7E8, "out")}, ways
        told = [comment for frame in read.frames for comment in frame.comments]
        for words in ("done `tighten fuel-cap`", "pace live"):
            assert any(comment.endswith(words) for comment in told), f"no comment {words!r}: {told}"

    def a_recorded_tester_asks_the_kernels_transport_again(_):
        # Both halves are the kernel's in the recording, and the ECU's is in the replay: frames of requests in pieces, flow
        # control and replies in pieces are judged by net/can/isotp.c.
        path = results / "kernel.pcapng"
        vin = b"\x49\x02\x010TW00TRP3A0000042"
        answers = {
            b"\x01\x0c": b"\x41\x0c\x0c\xb0",
            b"\x09\x02": vin,
            bytes.fromhex("22 F4 0C F4 0D F4 05 F4 04"): bytes.fromhex("62 F4 0C 0C B0 F4 0D 50 F4 05 7B F4 04 40"),
            b"\x03": b"\x43\x01\x04\x55",
        }
        with kernel_tester.answering(INTERFACE, answers):
            with Recorder(twotrip, path, [INTERFACE]), kernel_tester.asking(INTERFACE) as tester:
                for request, answer in answers.items():
                    tester.send(request)
                    got = tester.recv(4096)
                    assert got == answer, got.hex(" ")
                time.sleep(1.0)
            command = [str(twotrip), "replay", str(path), "--as", "tester", "--bus", INTERFACE, "--compare", "exact"]
            ran = subprocess.run(command, capture_output=True, text=True, timeout=60)
            assert ran.returncode == 0 and "4 requests: 4 same" in ran.stdout, f"{ran.stdout}{ran.stderr}"
            answers[b"\x01\x0c"] = b"\x41\x0c\x20\xf8"
            answers[b"\x03"] = b"\x43\x00"
            ran = subprocess.run(command, capture_output=True, text=True, timeout=60)
            said = " ".join(ran.stdout.split())
            for words in ("engine speed 812 -> 2110 rpm", "confirmed code P0455 gone", "2 same, 2 different"):
                assert words in said, f"{words!r}: {ran.stdout}{ran.stderr}"
            assert ran.returncode == 1, ran.returncode

    return "recordings", opening, [
        a_flood_is_there_or_counted,
        every_kind_of_frame_on_two_buses,
        a_recorder_killed_at_any_moment_loses_less_than_a_second,
        the_car_records_what_is_said,
        a_recorded_tester_asks_the_kernels_transport_again,
    ]
