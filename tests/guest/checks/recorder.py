"""Writes every frame of an interface, with the kernel's time, into a capture file until SIGTERM.

The classic capture format with nanoseconds (magic A1B23C4D) and link type 227, SocketCAN: as `can_frame`, but with the
identifier in network byte order (tcpdump.org, LINKTYPE_CAN_SOCKETCAN). Exits with 1 if the kernel had to drop frames.
"""

import select
import signal
import socket
import struct
import sys

SO_RCVBUFFORCE, SO_TIMESTAMPNS, SO_RXQ_OVFL = 33, 35, 40


def main(interface, path):
    stop = False

    def on_signal(*_):
        nonlocal stop
        stop = True

    signal.signal(signal.SIGTERM, on_signal)
    can = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
    can.setsockopt(socket.SOL_SOCKET, SO_RCVBUFFORCE, 8 << 20)
    can.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
    can.setsockopt(socket.SOL_SOCKET, SO_RXQ_OVFL, 1)
    can.setblocking(False)
    can.bind((interface,))
    dropped = 0
    with open(path, "wb") as capture:
        capture.write(struct.pack("<IHHiIII", 0xA1B23C4D, 2, 4, 0, 0, 72, 227))
        print("recording", flush=True)
        while True:
            ready, _, _ = select.select([can], [], [], 0.05)
            if not ready:
                if stop:
                    break
                continue
            try:
                record, control, _, _ = can.recvmsg(72, 256)
            except OSError:
                continue  # the interface went down: the socket works again once it is up
            seconds = nanoseconds = 0
            for level, kind, data in control:
                if (level, kind) == (socket.SOL_SOCKET, SO_TIMESTAMPNS):
                    seconds, nanoseconds = struct.unpack("=qq", data[:16])
                elif (level, kind) == (socket.SOL_SOCKET, SO_RXQ_OVFL):
                    (dropped,) = struct.unpack("=I", data[:4])
            (identifier,) = struct.unpack_from("=I", record)
            record = struct.pack(">I", identifier) + record[4:]
            capture.write(struct.pack("<IIII", seconds, nanoseconds, len(record), len(record)) + record)
    return 1 if dropped else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2]))
