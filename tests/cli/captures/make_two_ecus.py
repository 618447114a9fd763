"""Writes two-ecus.pcapng: two ECUs answer one request, long messages interleaved, one of them wrong. Made up by hand.

Big-endian and in microseconds, as other programs may write it: draft-ietf-opsawg-pcapng, LINKTYPE_CAN_SOCKETCAN.
"""

import struct

FRAMES = """
0       7DF 02 01 00 00 00 00 00 00
4000    7E8 06 41 00 98 18 00 01 00
5000    7E9 06 41 00 80 00 00 01 00
60000   7DF 01 03 00 00 00 00 00 00
64000   7E9 04 43 01 07 30 00 00 00
66000   7E8 10 08 43 03 01 71 03 00
67000   7E0 30 00 00 00 00 00 00 00
68000   7E8 21 03 01 00 00 00 00 00
130000  7DF 02 09 0A 00 00 00 00 00
133000  7E8 10 17 49 0A 01 45 43 4D
133500  7E9 10 17 49 0A 01 54 43 4D
134000  7E0 30 00 00 00 00 00 00 00
134500  7E1 30 00 00 00 00 00 00 00
135000  7E9 21 00 2D 54 72 61 6E 73
135500  7E8 21 00 2D 45 6E 67 69 6E
136000  7E9 22 6D 69 73 73 69 6F 6E
136500  7E8 23 65 43 6F 6E 74 72 6F
137000  7E9 23 00 00 00 00 00 00 00
200000  7DF 01 04 00 00 00 00 00 00
290000  7E8 01 44 00 00 00 00 00 00
"""


def block(kind, body):
    length = struct.pack(">I", len(body) + 12)
    return struct.pack(">I", kind) + length + body + length


def option(code, value):
    return struct.pack(">HH", code, len(value)) + value + b"\0" * (-len(value) % 4)


blocks = [block(0x0A0D0D0A, struct.pack(">IHHq", 0x1A2B3C4D, 1, 0, -1))]
blocks.append(block(1, struct.pack(">HHI", 227, 0, 0) + option(2, b"can0") + option(0, b"")))
for line in FRAMES.split("\n"):
    if words := line.split():
        at = 1_764_000_000_000_000 + int(words[0])
        data = bytes.fromhex("".join(words[2:]))
        packet = struct.pack(">IBBH", int(words[1], 16), len(data), 0, 0) + data
        fields = struct.pack(">IIIII", 0, at >> 32, at & 0xFFFFFFFF, len(packet), len(packet))
        blocks.append(block(6, fields + packet))
with open("two-ecus.pcapng", "wb") as file:
    file.write(b"".join(blocks))
