"""What a bus does to an ECU besides asking politely: floods, foreign frames, odd frames, an interface that goes away.

Sources: the kernel's CAN_RAW sockets and vcan driver (Linux Documentation/networking/can.rst); ISO 15765-4 for who may
be answered: one identifier size, eight data bytes, the functional and the ECU's own physical identifier.
"""

import contextlib
import random
import subprocess
import time

import frames
import messages
import program

INTERFACE = "vcan0"


class Traffic:
    def __init__(self, car, bus):
        self.car = car
        self.bus = bus

    def car_answers(self, within=2.0):
        answer = self.bus.ask(b"\x01\x00", timeout=within)
        assert answer is not None and answer[:2] == b"\x41\x00", f"01 00 after it: {answer}"

    def expect_silence(self, quiet=0.3):
        heard = self.bus.collect(quiet)
        assert not heard, f"the car sent {[(hex(identifier), data.hex(' ')) for identifier, data in heard[:5]]}"
        assert self.car.is_running(), self.car.output()


def group(twotrip, results, figure):
    @contextlib.contextmanager
    def opening():
        with frames.recording(INTERFACE, results / "traffic.pcap"):
            with program.car(twotrip, "healthy", INTERFACE) as car, frames.Bus(INTERFACE) as bus:
                if bus.ask(b"\x01\x00") is None:
                    car.tell("key on")
                yield Traffic(car, bus)

    def a_hundred_requests_without_waiting(traffic):
        # Each request is another pair of PIDs, so that every answer can be told apart. A tester that follows
        # ISO 15765-4 waits; one that does not may lose answers, but gets none out of order and none late.
        bus = traffic.bus
        short = [pid for pid in messages.supported(bus.ask, 0x01) if messages.PID_LENGTH.get(pid) == 1]
        assert len(short) >= 11, f"PIDs of one byte: {bytes(short).hex(' ')}"
        pairs = [(a, b) for a in short for b in short if a != b][:100]
        sent = {}
        for pair in pairs:
            sent[pair] = time.monotonic()
            bus.send(frames.FUNCTIONAL, frames.padded(bytes([0x01, *pair])))
        answered = []
        while (frame := bus.receive(1.0)) is not None:
            identifier, data = frame
            assert identifier == frames.ANSWER and data[:2] == b"\x05\x41", f"{identifier:X} {data.hex(' ')}"
            answered.append((data[2], data[4]))
        places = [pairs.index(pair) for pair in answered]
        assert places == sorted(set(places)), f"answers out of order or doubled: {places}"
        assert places, "none of the hundred was answered"
        figure("answers to 100 requests sent without waiting", len(places), "answers")
        traffic.car_answers()

    def foreign_frames(traffic):
        # 2,000 frames that are none of the car's business, of both identifier sizes and every length.
        dice = random.Random(2)
        foreign = [identifier for identifier in range(0x800) if identifier not in (frames.FUNCTIONAL, frames.PHYSICAL)]
        for turn in range(2000):
            identifier = dice.choice(foreign) if turn % 2 else dice.randrange(1 << 29) | frames.EXTENDED
            traffic.bus.send(identifier, dice.randbytes(dice.randint(0, 8)))
        traffic.expect_silence()
        traffic.car_answers()

    def extended_requests_to_a_standard_car(traffic):
        # ISO 15765-4: a car answers on one identifier size. Same low bits do not make it the same identifier.
        for identifier in (0x18DB33F1, 0x18DA10F1, 0x7DF, 0x7E0):
            traffic.bus.send(identifier | frames.EXTENDED, frames.padded(b"\x01\x00"))
        traffic.expect_silence()
        traffic.car_answers()

    def frames_that_are_no_request(traffic):
        # Remote frames; fewer than eight data bytes (ISO 15765-4 wants DLC 8); single frames of length 0 and 8;
        # transport frames on the functional identifier that only a pair may use; stray flow control.
        bus = traffic.bus
        for identifier in (frames.FUNCTIONAL, frames.PHYSICAL):
            bus.send(identifier | frames.REMOTE, b"", 8)
            bus.send(identifier | frames.REMOTE, b"", 0)
            bus.send(identifier, b"")
            bus.send(identifier, b"\x02\x01\x00")
            bus.send(identifier, bytes(8))
            bus.send(identifier, b"\x08\x01\x00\x00\x00\x00\x00\x00")
            bus.send(identifier, b"\x30\x00\x00\x00\x00\x00\x00\x00")
            bus.send(identifier, b"\x21\x00\x00\x00\x00\x00\x00\x00")
        bus.send(frames.FUNCTIONAL, b"\x10\x0a\x01\x00\x20\x40\x60\x80")
        traffic.expect_silence()
        traffic.car_answers()

    def flexible_data_rate_frames(traffic):
        # CAN FD on the same interface: a classic car must not see requests in them.
        with frames.Bus(INTERFACE, flexible=True) as bus:
            for identifier in (frames.FUNCTIONAL, frames.PHYSICAL, 0x123):
                bus.send_flexible(identifier, frames.padded(b"\x01\x00"))
                bus.send_flexible(identifier, frames.padded(b"\x01\x00").ljust(64, b"\0"))
        while (frame := traffic.bus.receive(0.1)) is not None:
            assert frame[0] != frames.ANSWER, f"answered a CAN FD frame: {frame[1].hex(' ')}"
        traffic.expect_silence()
        traffic.car_answers()

    def error_frames(traffic):
        # vcan passes on an error frame that a process writes (measured); on a real bus the controller makes them.
        error_flag, bus_off = 0x20000000, 0x40
        traffic.bus.send(error_flag | bus_off, bytes(8))
        traffic.bus.send(error_flag | 0x204, bytes([0, 0x20, 0, 0, 0, 0, 127, 96]))
        traffic.expect_silence()
        traffic.car_answers()

    def abandoned_transfers(traffic):
        # A tester that starts multi-frame answers and never pays flow control: the ECU gives up after N_Bs
        # (75 ms, ISO 15765-4) and takes the next request.
        for _ in range(20):
            traffic.bus.send(frames.PHYSICAL, frames.padded(b"\x09\x02"))
        time.sleep(0.3)
        heard = traffic.bus.collect(0.3)
        assert heard and all(data[0] >> 4 == 1 for _, data in heard), f"only first frames expected: {heard}"
        traffic.car_answers()

    def interface_down_and_up(traffic):
        for pause in (0.0, 0.3, 1.5):
            subprocess.run(["ip", "link", "set", INTERFACE, "down"], check=True)
            time.sleep(pause)
            subprocess.run(["ip", "link", "set", INTERFACE, "up"], check=True)
            end = time.monotonic() + 10
            while time.monotonic() < end:
                assert traffic.car.is_running(), f"the car ended\n{traffic.car.output()}"
                with contextlib.suppress(OSError):  # the check's own socket reports the outage once
                    if traffic.bus.ask(b"\x01\x00", timeout=0.5):
                        break
            else:
                raise AssertionError(f"no answer within 10 s of the interface coming up (down for {pause} s)")
        traffic.bus.collect(0.2)
        traffic.car_answers()

    return (
        "traffic",
        opening,
        [
            a_hundred_requests_without_waiting,
            foreign_frames,
            extended_requests_to_a_standard_car,
            frames_that_are_no_request,
            flexible_data_rate_frames,
            error_frames,
            abandoned_transfers,
            interface_down_and_up,
        ],
    )
