"""A small reader and writer of pcapng files with link type 227, by draft-ietf-opsawg-pcapng and LINKTYPE_CAN_SOCKETCAN: little-endian,
nanoseconds. A block cut short at the end ends the file; anything else that is wrong raises."""

import dataclasses
import pathlib
import struct


@dataclasses.dataclass
class Frame:
    interface: str
    seconds: float
    nanoseconds: int
    direction: str
    dropped: int
    raw: int
    data: bytes
    kind: str
    comments: list

    @property
    def identifier(self):
        return self.raw & 0x1FFFFFFF


@dataclasses.dataclass
class Recording:
    sections: list
    frames: list


def _options(blob):
    place = 0
    while place + 4 <= len(blob):
        code, length = struct.unpack_from("<HH", blob, place)
        if code == 0:
            return
        yield code, blob[place + 4 : place + 4 + length]
        place += 4 + (length + 3) // 4 * 4


def _kind(raw, flags):
    if raw & 0x20000000:
        return "error"
    if raw & 0x40000000:
        return "remote"
    return {0: "data", 4: "fd", 5: "brs"}[flags]


def read(path):
    blob = pathlib.Path(path).read_bytes()
    recording, interfaces, place = Recording([], []), [], 0
    while place + 12 <= len(blob):
        kind, length = struct.unpack_from("<II", blob, place)
        assert length >= 12 and length % 4 == 0, f"byte {place}: length {length}"
        if place + length > len(blob):
            break
        assert struct.unpack_from("<I", blob, place + length - 4)[0] == length, f"byte {place}: two lengths"
        body = blob[place + 8 : place + length - 4]
        place += length
        if kind == 0x0A0D0D0A:
            assert body[:8] == bytes.fromhex("4d3c2b1a01000000"), body[:8].hex()
            recording.sections.append([value.decode() for code, value in _options(body[16:]) if code == 1])
            interfaces = []
        elif kind == 1:
            assert struct.unpack_from("<H", body)[0] == 227
            options = dict(_options(body[8:]))
            assert options[9] == b"\x09", "nanoseconds"
            interfaces.append(options[2].decode())
        elif kind == 6:
            interface, high, low, captured, _ = struct.unpack_from("<IIIII", body)
            packet = body[20 : 20 + captured]
            options = list(_options(body[20 + (captured + 3) // 4 * 4 :]))
            values = dict(options)
            raw, size, flags = struct.unpack_from(">IBB", packet)
            what = _kind(raw, flags)
            at = high << 32 | low
            recording.frames.append(
                Frame(
                    interfaces[interface],
                    at / 1e9,
                    at,
                    {1: "in", 2: "out"}[struct.unpack("<I", values[2])[0] & 3],
                    struct.unpack("<Q", values.get(4, bytes(8)))[0],
                    raw,
                    b"" if what == "remote" else packet[8 : 8 + size],
                    what,
                    [value.decode() for code, value in options if code == 1],
                )
            )
        else:
            assert kind == 5, f"block {kind:x}"
    return recording


def write(path, said, interface="can0"):
    """Writes a recording of one interface: `(seconds, identifier word, data)` of each frame."""

    def block(kind, body):
        length = struct.pack("<I", len(body) + 12)
        return struct.pack("<I", kind) + length + body + length

    name = interface.encode()
    name += b"\0" * (-len(name) % 4)
    options = struct.pack("<HH", 2, len(interface)) + name + struct.pack("<HHB3xHH", 9, 1, 9, 0, 0)
    blocks = [block(0x0A0D0D0A, struct.pack("<IHHq", 0x1A2B3C4D, 1, 0, -1))]
    blocks.append(block(1, struct.pack("<HHI", 227, 0, 0) + options))
    for seconds, identifier, data in said:
        at = 1_764_000_000_000_000_000 + round(seconds * 1e9)
        packet = struct.pack(">IBBH", identifier, len(data), 0, 0) + data
        head = struct.pack("<IIIII", 0, at >> 32, at & 0xFFFFFFFF, len(packet), len(packet))
        blocks.append(block(6, head + packet + b"\0" * (-len(packet) % 4)))
    pathlib.Path(path).write_bytes(b"".join(blocks))
