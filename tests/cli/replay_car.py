"""A stranger's transport asks a recorded car: package `can-isotp` of PyPI, on the embedded bus.

It knows nothing of this program; the bus is joined by the format in crates/host/src/bus/local/mod.rs. Called with the bus's
socket and its name.
"""

import os
import select
import socket
import struct
import sys
import time

import isotp

RECORD = struct.Struct("<IBB2x64s")
EXTENDED = 0x80000000


class Bus:
    def __init__(self, path, name):
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.socket.connect(path)
        self.socket.sendall(b"TWOTRIP\x01" + name.encode().ljust(64, b"\0"))
        self.socket.recv(72, socket.MSG_WAITALL)

    def send(self, message):
        identifier = message.arbitration_id | (EXTENDED if message.is_extended_id else 0)
        self.socket.sendall(RECORD.pack(identifier, len(message.data), 0, bytes(message.data)))

    def receive(self, timeout):
        if not select.select([self.socket], [], [], timeout)[0]:
            return None
        identifier, length, _, data = RECORD.unpack(self.socket.recv(72, socket.MSG_WAITALL))
        extended = bool(identifier & EXTENDED)
        return isotp.CanMessage(identifier & 0x1FFFFFFF, data=data[:length], dlc=length, extended_id=extended)


def ask(bus, address, request, replies, **params):
    """Asks physically; says how long the replies took."""
    params = {"tx_padding": 0x00, "blocksize": 0, "stmin": 0, **params}
    errors = []
    stack = isotp.TransportLayer(bus.receive, bus.send, address, errors.append, params)
    stack.start()
    try:
        begun = time.monotonic()
        stack.send(bytes.fromhex(request))
        for wanted in replies:
            got = stack.recv(block=True, timeout=5)
            assert got is not None and bytes(got).hex(" ") == wanted, f"{request}: {got and bytes(got).hex(' ')}"
        took = time.monotonic() - begun
        if not replies:
            got = stack.recv(block=True, timeout=0.3)
            assert got is None, f"{request}: {bytes(got).hex(' ')}"
        assert not errors, errors
        return took
    finally:
        stack.stop()


bus = Bus(sys.argv[1], sys.argv[2])
engine = isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=0x7E8, txid=0x7E0)
gearbox = isotp.Address(isotp.AddressingMode.NormalFixed_29bits, target_address=0x18, source_address=0xF1)
LONG = bytes(range(0x40, 0x40 + 60)).hex(" ")

# Everything at once, in blocks of two, and with 20 ms between the frames: seven gaps at least in eight frames.
ask(bus, engine, "22 f1 90", ["62 f1 90 " + LONG])
ask(bus, engine, "22 f1 90", ["62 f1 90 " + LONG], blocksize=2)
took = ask(bus, engine, "22 f1 90", ["62 f1 90 " + LONG], stmin=20)
assert took >= 7 * 0.020, took
# A question of several frames, with response pending before the answer: 40 ms and 300 ms after it.
took = ask(bus, engine, "2e f1 90 " + LONG, ["7f 2e 78", "6e f1 90"])
assert took >= 0.3, took
ask(bus, gearbox, "22 f1 8c", ["62 f1 8c " + LONG], blocksize=3, stmin=1)
# Not what was asked then.
ask(bus, engine, "2e f1 90 " + LONG.replace("7b", "00"), [])
ask(bus, engine, "22 f1 8c", [])
print("agreed")
os._exit(0)
