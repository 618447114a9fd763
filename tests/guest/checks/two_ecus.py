"""Two testers of two ECUs at once: the kernel's ISO 15765-2 sockets (net/can/isotp.c), one an ECU, on either size of identifiers.

Both sockets pay flow control by themselves; their answers interleave on one vcan. A third party, package python-can of PyPI,
sends the requests to all and watches the order of the frames.
"""

import contextlib
import pathlib
import socket
import struct
import tempfile

import can

import frames
import program

# The engine ECU, and a body ECU that is only listed: by identifiers of 11 and of 29 bits (ISO 15765-4, from memory).
SIZES = {
    "11-bit": (0x7DF, (0x7E0, 0x7E8), (0x7E3, 0x7EB)),
    "29-bit": (0x18DB33F1, (0x18DA10F1, 0x18DAF110), (0x18DA40F1, 0x18DAF140)),
}
ROUNDS = 25
ENGINE_NAME = b"\x49\x0a\x01ECM\x00-EngineControl\x00\x00"
BODY_NAME = b"\x49\x0a\x01BCM\x00-BodyControl\x00\x00\x00\x00"

# linux/can/isotp.h: struct can_isotp_options and the flag that pads what is sent; ISO 15765-4 wants eight bytes.
SOL_CAN_ISOTP, CAN_ISOTP_OPTS, CAN_ISOTP_TX_PADDING = 106, 1, 0x0004

# Confirmed codes that the body ECU begins with: listed, and so not physical. It begins to answer half a
# millisecond before the engine ECU, whose frames win the bus and come in between: had they begun together, the lower identifier
# would have sent all of its answer first.
ECUS = """
[[ecu]]
role = "engine"
reply-delay = "5.5 ms"

[[ecu]]
role = "listed"
acronym = "BCM"
name = "BodyControl"
calibration = "TWOTRIP-BODY-001"
request = "7E3"
address = "40"
reply-delay = "5 ms"
confirmed = "U0164 B1234 U0155 U0184"
"""


def kernel_tester(interface, request, answer):
    tester = socket.socket(socket.PF_CAN, socket.SOCK_DGRAM, socket.CAN_ISOTP)
    options = struct.pack("=IIBBBB", CAN_ISOTP_TX_PADDING, 0, 0, 0x00, 0, 0)
    tester.setsockopt(SOL_CAN_ISOTP, CAN_ISOTP_OPTS, options)
    long = 0x80000000 if answer > 0x7FF else 0
    tester.bind((interface, answer | long, request | long))
    tester.settimeout(2.0)
    return tester


def vehicle(folder):
    """The compact car with a second ECU in a file of its own."""
    source = pathlib.Path(__file__).resolve().parents[3] / "scenarios" / "vehicles" / "compact-2.0.toml"
    file = folder / "two-ecus.toml"
    file.write_text(source.read_text() + ECUS)
    return str(file)


class Pair:
    def __init__(self, interface, size):
        self.functional, *ecus = SIZES[size]
        self.extended = self.functional > 0x7FF
        self.answers = [answer for _, answer in ecus]
        self.testers = [kernel_tester(interface, *ecu) for ecu in ecus]
        self.bus = can.Bus(interface="socketcan", channel=interface)

    def ask(self, request):
        """To all; what each ECU's tester took, and the identifiers of their frames in order."""
        while self.bus.recv(0) is not None:
            pass
        data = frames.padded(bytes.fromhex(request))
        self.bus.send(can.Message(arbitration_id=self.functional, data=data, is_extended_id=self.extended))
        taken = [tester.recv(4095) for tester in self.testers]
        order = []
        while (message := self.bus.recv(0.01)) is not None:
            if message.arbitration_id in self.answers:
                order.append(message.arbitration_id)
        return taken, order

    def close(self):
        for tester in self.testers:
            tester.close()
        self.bus.shutdown()


def group(twotrip, figure):
    @contextlib.contextmanager
    def opening():
        yield None

    @contextlib.contextmanager
    def pair(size):
        with tempfile.TemporaryDirectory() as folder:
            own = vehicle(pathlib.Path(folder))
            options = ("--vehicle", own, "--identifiers", size)
            with program.car(twotrip, program.QUICK, "vcan3", *options) as car:
                two = Pair("vcan3", size)
                try:
                    yield car, two
                finally:
                    two.close()

    def interleave(size):
        with pair(size) as (_, two):
            mixed = 0
            for _ in range(ROUNDS):
                names, order = two.ask("09 0A")
                assert names == [ENGINE_NAME, BODY_NAME], names
                assert len(order) == 8, f"two answers of four frames each: {order}"
                changes = sum(1 for one, next in zip(order, order[1:]) if one != next)
                mixed += changes > 1
            figure(f"two ECUs, {size}: answers that interleaved", mixed, f"of {ROUNDS}")
            assert mixed > 0, "in no round did the frames of the two ECUs interleave"
            codes, _ = two.ask("03")
            assert codes[0] == bytes.fromhex("43 02 03 01 03 02"), codes[0].hex(" ")
            assert codes[1] == bytes.fromhex("43 04 C1 64 92 34 C1 55 C1 84"), codes[1].hex(" ")
            # A clear of one leaves the other alone.
            two.testers[1].send(b"\x04")
            assert two.testers[1].recv(4095) == b"\x44"
            codes, _ = two.ask("03")
            assert [len(answer) for answer in codes] == [6, 2], codes

    def two_interleave_on_11_bits(_):
        interleave("11-bit")

    def two_interleave_on_29_bits(_):
        interleave("29-bit")

    return (
        "two_ecus",
        opening,
        [two_interleave_on_11_bits, two_interleave_on_29_bits],
    )
