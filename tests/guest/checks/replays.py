"""Recordings sent again on the kernel's CAN: order, times, a full queue, the guard of a bus with a wire.

The recordings are written here, in the older capture format with nanoseconds and link type 227 (tcpdump.org), and what arrives is
read off a CAN_RAW socket with the kernel's time of each frame: nothing of the program judges itself. The queue is that of
`link`. How late frames are is a figure to be read, beside a bare `clock_nanosleep` loop; that none is early has to be met.
"""

import contextlib
import json
import random
import select
import socket
import statistics
import struct
import subprocess
import threading
import time

import frames
from bench import Node

INTERFACE, NEAR, FAR = "vcan1", "vb0", "vb1"
SO_RCVBUFFORCE, SO_TIMESTAMPNS = 33, 35
DAY = 1_790_000_000_000_000_000
TURNS, FRAMES, GAP = 3, 600, 1500


def write(path, recording):
    """Frames as (nanoseconds since the first, identifier with flags, data)."""
    with open(path, "wb") as capture:
        capture.write(struct.pack("<IHHiIII", 0xA1B23C4D, 2, 4, 0, 0, 72, 227))
        for after, identifier, data in recording:
            record = struct.pack(">IB3x8s", identifier, len(data), data)
            seconds, nanoseconds = divmod(DAY + after, 1_000_000_000)
            capture.write(struct.pack("<IIII", seconds, nanoseconds, len(record), len(record)) + record)


def numbered(count, gap):
    """So many frames of all classic kinds, `gap` nanoseconds apart or as `gap` draws them."""
    after = 0
    for number in range(count):
        identifier = (0x123, 0x98DAF110, 0x40000321)[number % 3]
        yield after, identifier, b"" if identifier & 0x40000000 else struct.pack(">Q", number)
        after += gap() if callable(gap) else gap


class Listener(threading.Thread):
    """Everything on an interface: kernel's nanoseconds since 1970, identifier with flags, data."""

    def __init__(self, interface):
        super().__init__(daemon=True)
        self.can = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
        self.can.setsockopt(socket.SOL_SOCKET, SO_RCVBUFFORCE, 8 << 20)
        self.can.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
        self.can.bind((interface,))
        self.heard, self.stop = [], threading.Event()

    def run(self):
        while select.select([self.can], [], [], 0.2)[0] or not self.stop.is_set():
            if not select.select([self.can], [], [], 0)[0]:
                continue
            record, control, _, _ = self.can.recvmsg(72, 64)
            seconds, nanoseconds = struct.unpack("=qq", control[0][2][:16])
            identifier, length, data = struct.unpack_from("=IB3x8s", record)
            remote = identifier & 0x40000000
            self.heard.append((seconds * 1_000_000_000 + nanoseconds, identifier, b"" if remote else data[:length]))

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self.stop.set()
        self.join()
        self.can.close()


def replayed(twotrip, path, *options, expect=0):
    """What a replay says at its end, as JSON, and its complaints."""
    command = [str(twotrip), "replay", str(path), "--json", *options]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert ran.returncode == expect, f"{command}: exit {ran.returncode}\n{ran.stdout}{ran.stderr}"
    said = [json.loads(line) for line in ran.stdout.splitlines()]
    return (said[-1] if said else None), ran.stderr


def slept(tools):
    """Median lateness of a bare loop, microseconds."""
    command = [str(tools / "bare-sleep"), str(FRAMES), str(GAP)]
    ran = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(ran.stdout.split()[0])


def counted_group(twotrip, tools, results, figure):
    """In the guest whose clock counts instructions: what is late there is late by work, whatever the machine does."""

    @contextlib.contextmanager
    def opening():
        path = results / "to-be-replayed.pcap"
        yield path
        path.unlink()

    def frames_are_as_late_as_a_bare_sleep(path):
        dice = random.Random(7)
        write(path, numbered(FRAMES, lambda: dice.choice((300_000, GAP * 1000, 3 * GAP * 1000))))
        end, _ = replayed(twotrip, path, "--bus", INTERFACE)
        assert end["sent"] == FRAMES, end
        ours, bare = end["lateness"], slept(tools)
        figure("counted in instructions: median lateness of a bare clock_nanosleep loop", f"{bare:.0f}", "us")
        figure("counted in instructions: median lateness of a replay", f"{ours['median_us']:.0f}", "us")
        figure("counted in instructions: 99 of 100 frames are within", f"{ours['p99_us']:.0f}", "us")
        assert ours["median_us"] <= 1.2 * bare, f"{ours} against {bare} us of a bare loop"

    return "counted_replays", opening, [frames_are_as_late_as_a_bare_sleep]


def group(twotrip, tools, results, figure):
    path = results / "to-be-replayed.pcap"

    @contextlib.contextmanager
    def opening():
        subprocess.run(["ip", "link", "add", NEAR, "type", "vxcan", "peer", "name", FAR], check=True)
        subprocess.run(["ip", "link", "set", NEAR, "txqueuelen", "10"], check=True)
        for end in (NEAR, FAR):
            subprocess.run(["ip", "link", "set", end, "up"], check=True)
        try:
            yield
        finally:
            subprocess.run(["ip", "link", "delete", NEAR], check=True)
            path.unlink(missing_ok=True)

    def replay(*options, expect=0):
        return replayed(twotrip, path, *options, expect=expect)

    def frames_arrive_in_their_order_and_never_early(_):
        dice = random.Random(7)
        ours, bare, kernel = [], [], []
        for _turn in range(TURNS):
            recording = list(numbered(FRAMES, lambda: dice.choice((300_000, GAP * 1000, 3 * GAP * 1000))))
            write(path, recording)
            with Listener(INTERFACE) as listener:
                end, _ = replay("--bus", INTERFACE)
            assert end["reason"] == "complete" and end["sent"] == FRAMES, end
            assert [frame[1:] for frame in listener.heard] == [frame[1:] for frame in recording]
            for (at, *frame), (after, *_) in zip(listener.heard, recording):
                late = at - end["due_from_unix_ns"] - after
                assert late >= 0, f"{frame} is {-late} ns early"
                kernel.append(late / 1000)
            # Whoever listens takes the one processor as well: measured is beside nobody, as the bare loop is.
            end, _ = replay("--bus", INTERFACE)
            ours.append(end["lateness"]["median_us"])
            bare.append(slept(tools))
        ours, bare = statistics.median(ours), statistics.median(bare)
        figure("median lateness of a bare clock_nanosleep loop", f"{bare:.0f}", "us")
        figure("median lateness of a replay when it hands a frame over", f"{ours:.0f}", "us")
        figure("the same by the kernel's time of the frame, with a listener", f"{statistics.median(kernel):.0f}", "us")
        figure("replay against the bare loop (goal 1.2)", f"{ours / bare:.2f}", "times")

    def a_full_queue_is_waited_for(_):
        # 512 kbit/s of 16 bytes a frame: 4000 a second, of which ten fit in the queue (tc-tbf(8)).
        bucket = ["tbf", "rate", "512kbit", "burst", "32", "limit", "160"]
        subprocess.run(["tc", "qdisc", "replace", "dev", NEAR, "root", *bucket], check=True)
        recording = list(numbered(1000, 1000))
        write(path, recording)
        with Listener(FAR) as listener:
            end, _ = replay("--bus", NEAR, "--pace", "max", "--bit-rate", "none")
            time.sleep(0.2)
        subprocess.run(["tc", "qdisc", "delete", "dev", NEAR, "root"], check=True)
        assert [frame[1:] for frame in listener.heard] == [frame[1:] for frame in recording]
        assert end["sent"] == 1000 and end["waits_for_room"] > 20, end

    def a_bench_in_use_gets_no_frame(_):
        write(path, numbered(10, 1_000_000))
        with Node(send=(0x123, b"\x01\x02")) as node:
            _, said = replay("--bus", NEAR, "--on-a-bench", expect=3)
            assert "the bus is in use" in said and "123#01 02" in said, said
            assert not node.heard, f"sent: {node.heard}"

    def somebody_else_later_stops_the_frames(_):
        write(path, numbered(10, 1_000_000))
        command = [str(twotrip), "replay", str(path), "--bus", NEAR, "--on-a-bench", "--loop", "0"]
        with frames.Bus(FAR) as bus:
            process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
            # On either size of identifiers both dialects are asked, before anything is sent.
            heard = [bus.receive(20.0) for _ in range(5)]
            assert [identifier for identifier, _ in heard] == [0x7DF, 0x7DF, 0x98DB33F1, 0x98DB33F1, 0x123], heard
            # What testers send belongs on a bench.
            bus.send(0x7E0, frames.padded(b"\x01\x00"))
            time.sleep(0.1)
            assert process.poll() is None
            bus.send(0x3E9, b"\x00")
            output, errors = process.communicate(timeout=20)
            bus.collect(0.0)
            assert not bus.collect(0.2), "sent afterwards"
        assert process.returncode == 3, f"exit {process.returncode}: {output}{errors}"
        assert "foreign traffic" in errors and "3E9#00" in errors, errors
        assert "broken off after" in output and " passes" in output, output

    return "replays", opening, [
        frames_arrive_in_their_order_and_never_early,
        a_full_queue_is_waited_for,
        a_bench_in_use_gets_no_frame,
        somebody_else_later_stops_the_frames,
    ]
