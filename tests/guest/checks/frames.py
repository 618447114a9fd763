"""Raw CAN frames through the kernel's CAN_RAW socket, with the kernel's time of each frame.

Layouts from Linux `include/uapi/linux/can.h`: `can_frame` is 16 bytes (id with flags, length, 3 unused, 8 data).
"""

import contextlib
import pathlib
import select
import signal
import socket
import struct
import subprocess
import sys
import time

FUNCTIONAL = 0x7DF  # ISO 15765-4: requests to every ECU, 11-bit
PHYSICAL = 0x7E0  # requests and flow control to the engine ECU
ANSWER = 0x7E8  # its answers
EXTENDED = socket.CAN_EFF_FLAG
REMOTE = socket.CAN_RTR_FLAG

_CLASSIC = struct.Struct("=IB3x8s")
_FLEXIBLE = struct.Struct("=IBB2x64s")


def padded(message, padding=0x00):
    """A single frame of `message`, filled to the eight bytes that ISO 15765-4 wants."""
    assert 1 <= len(message) <= 7
    return bytes([len(message), *message]).ljust(8, bytes([padding]))


class Bus:
    """A raw socket bound to one interface. Sees every classic frame but its own."""

    def __init__(self, interface, filters=None, flexible=False):
        self.socket = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
        if filters is not None:
            packed = b"".join(struct.pack("=II", identifier, mask) for identifier, mask in filters)
            self.socket.setsockopt(socket.SOL_CAN_RAW, socket.CAN_RAW_FILTER, packed)
        if flexible:
            self.socket.setsockopt(socket.SOL_CAN_RAW, socket.CAN_RAW_FD_FRAMES, 1)
        # 4 MiB: the default holds some 220 frames (measured on 6.1), fewer than one burst of these checks.
        so_rcvbufforce = 33
        self.socket.setsockopt(socket.SOL_SOCKET, so_rcvbufforce, 4 << 20)
        self.socket.bind((interface,))

    def send(self, identifier, data, length=None):
        length = len(data) if length is None else length
        self.socket.send(_CLASSIC.pack(identifier, length, data.ljust(8, b"\0")))

    def send_flexible(self, identifier, data, flags=0x04):
        self.socket.send(_FLEXIBLE.pack(identifier, len(data), flags, data.ljust(64, b"\0")))

    def receive(self, timeout):
        """The next frame as (identifier, data), or None when `timeout` seconds pass without one."""
        ready, _, _ = select.select([self.socket], [], [], max(0.0, timeout))
        if not ready:
            return None
        record = self.socket.recv(72)
        identifier, length, data = _CLASSIC.unpack_from(record)
        return identifier, record[8 : 8 + length] if len(record) == 72 else data[:length]

    def collect(self, quiet, limit=10.0):
        """All frames until `quiet` seconds pass without one."""
        frames = []
        end = time.monotonic() + limit
        while time.monotonic() < end:
            frame = self.receive(quiet)
            if frame is None:
                break
            frames.append(frame)
        return frames

    def ask(self, message, identifier=FUNCTIONAL, timeout=2.0):
        """Sends a single-frame request, returns the single-frame answer of 7E8 or None after `timeout` seconds."""
        self.send(identifier, padded(message))
        end = time.monotonic() + timeout
        while (left := end - time.monotonic()) > 0:
            frame = self.receive(left)
            if frame is None:
                return None
            got, data = frame
            if got == ANSWER and 1 <= data[0] <= 7:
                return bytes(data[1 : 1 + data[0]])
        return None

    def close(self):
        self.socket.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()


@contextlib.contextmanager
def recording(interface, path):
    """Records the interface into a capture file while the block runs."""
    command = [sys.executable, "-u", str(pathlib.Path(__file__).with_name("recorder.py")), interface, str(path)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    line = process.stdout.readline()
    assert line == "recording\n", f"recorder said {line!r}"
    try:
        yield
    finally:
        process.send_signal(signal.SIGTERM)
        assert process.wait(30) == 0, "the recorder lost frames"
