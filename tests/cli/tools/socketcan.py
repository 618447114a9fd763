"""A tool under test that knows nothing of this program: asks for the confirmed codes over a bare SocketCAN socket, prints them.

    socketcan.py INTERFACE
"""

import socket
import struct
import sys

FRAME = struct.Struct("<IB3x8s")
bus = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
bus.bind((sys.argv[1],))
bus.settimeout(10)
bus.send(FRAME.pack(0x7DF, 8, b"\x01\x03"))
while True:
    identifier, length, data = FRAME.unpack(bus.recv(16))
    if identifier == 0x7E8:
        break
assert data[0] < 8 and data[1] == 0x43, data.hex(" ")
print("codes:", *("P" + data[2 * n + 3 : 2 * n + 5].hex().upper() for n in range(data[2])))
