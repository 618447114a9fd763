"""Reads and writes captures, without any of the tools under comparison."""

import dataclasses
import struct


@dataclasses.dataclass
class Frame:
    number: int  # as tshark counts, from 1
    seconds: float
    identifier: int
    data: bytes


def read(path):
    """All frames of a capture as `tests/guest/checks/recorder.py` writes it."""
    blob = path.read_bytes()
    magic, _, _, _, _, _, link_type = struct.unpack_from("<IHHiIII", blob)
    assert (magic, link_type) == (0xA1B23C4D, 227), f"{path}: not a SocketCAN capture of ours"
    frames, place = [], 24
    while place < len(blob):
        seconds, nanoseconds, length, _ = struct.unpack_from("<IIII", blob, place)
        record = blob[place + 16 : place + 16 + length]
        (identifier,) = struct.unpack_from(">I", record)
        frames.append(Frame(len(frames) + 1, seconds + nanoseconds / 1e9, identifier, record[8 : 8 + record[4]]))
        place += 16 + length
    return frames


def single_frame_payload(frame):
    """The message of an ISO 15765-2 single frame, else None."""
    if len(frame.data) == 8 and 1 <= frame.data[0] <= 7:
        return frame.data[1 : 1 + frame.data[0]]
    return None


def single_values(frames, lengths):
    """Answers on 7E8 to a request for one PID of service $01: (frame, PID, data)."""
    for frame in frames:
        message = single_frame_payload(frame) if frame.identifier == 0x7E8 else None
        if message and message[0] == 0x41 and message[1] % 0x20 and len(message) == 2 + lengths.get(message[1], -9):
            yield frame, message[1], message[2:]


def write_messages(path, messages):
    """Writes answers of 7E8 as ISO 15765-2 frames, with the tester's flow control where they need it. Returns the number
    of the frame that ends each message, as tshark counts."""
    ends = []
    frames = []
    for message in messages:
        if len(message) <= 7:
            frames.append((0x7E8, bytes([len(message)]) + message))
        else:
            frames.append((0x7E8, bytes([0x10 | len(message) >> 8, len(message) & 0xFF]) + message[:6]))
            frames.append((0x7E0, bytes([0x30, 0, 0])))
            for turn, place in enumerate(range(6, len(message), 7)):
                frames.append((0x7E8, bytes([0x20 | (turn + 1) % 16]) + message[place : place + 7]))
        ends.append(len(frames))
    with open(path, "wb") as file:
        file.write(struct.pack("<IHHiIII", 0xA1B23C4D, 2, 4, 0, 0, 72, 227))
        for number, (identifier, data) in enumerate(frames):
            record = struct.pack(">IBBBB", identifier, 8, 0, 0, 0) + data.ljust(8, b"\x00")
            file.write(struct.pack("<IIII", number // 1000, number % 1000 * 1_000_000, len(record), len(record)) + record)
    return ends
