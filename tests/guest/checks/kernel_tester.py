"""The Linux kernel's own ISO 15765-2 implementation (socket type CAN_ISOTP, net/can/isotp.c) as the tester.

An outside source for the transport: flow control, sequence numbers and lengths are the kernel's, not ours. It pads as
ISO 15765-4 wants only when told to (TX_PADDING). A physical pair is one socket; a functional request is a second one
that only sends (SF_BROADCAST), the answer then comes to the first.
"""

import contextlib
import socket
import struct
import threading
import time

import frames
import messages
import program

SOL_CAN_ISOTP, CAN_ISOTP_OPTS, CAN_ISOTP_LL_OPTS = 106, 1, 5
TX_PADDING, SF_BROADCAST = 0x0004, 0x0800


def _socket(flags, receive, send, interface):
    peer = socket.socket(socket.AF_CAN, socket.SOCK_DGRAM, socket.CAN_ISOTP)
    # can_isotp_options: flags, frame_txtime (ns), ext_address, txpad, rxpad, rx_ext_address.
    peer.setsockopt(SOL_CAN_ISOTP, CAN_ISOTP_OPTS, struct.pack("=II4B", flags, 0, 0, 0xCC, 0xCC, 0))
    peer.bind((interface, receive, send))
    peer.settimeout(2.0)
    return peer


def asking(interface):
    """The tester's end of a physical pair."""
    return _socket(TX_PADDING, frames.ANSWER, frames.PHYSICAL, interface)


@contextlib.contextmanager
def answering(interface, answers):
    """The ECU's end of a physical pair, which answers by a table while a block runs."""
    ecu = _socket(TX_PADDING, frames.PHYSICAL, frames.ANSWER, interface)
    ecu.settimeout(0.2)
    ended = threading.Event()

    def serve():
        while not ended.is_set():
            try:
                ecu.send(answers[ecu.recv(4096)])
            except TimeoutError:
                continue

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()
        ecu.close()


class KernelTester:
    def __init__(self, car, interface):
        self.car = car
        self.pair = _socket(TX_PADDING, frames.ANSWER, frames.PHYSICAL, interface)
        self.broadcast = _socket(TX_PADDING | SF_BROADCAST, 0, frames.FUNCTIONAL, interface)

    def physical(self, message):
        self.pair.send(message)
        return self._answer()

    def functional(self, message):
        self.broadcast.send(message)
        return self._answer()

    def _answer(self):
        try:
            return self.pair.recv(4096)
        except TimeoutError:
            return None

    def expect(self, request, answer):
        """Asks on the functional identifier and compares the whole answer."""
        wanted = None if answer is None else bytes.fromhex(answer)
        got = self.functional(bytes.fromhex(request))
        assert got == wanted, f"{request}: expected {answer}, got {got and got.hex(' ')}"


def group(twotrip, results, figure):
    @contextlib.contextmanager
    def opening():
        with frames.recording("vcan0", results / "kernel_tester.pcap"):
            with program.car(twotrip, "loose-fuel-cap", "vcan0") as car:
                figure("start to ready in the guest, loose-fuel-cap", f"{car.seconds_to_ready:.2f}", "s")
                tester = KernelTester(car, "vcan0")
                try:
                    yield tester
                finally:
                    tester.pair.close()
                    tester.broadcast.close()

    def vin_200_times(tester):
        # Multi-frame: the kernel pays the flow control. Every other request is functional.
        seen = set()
        started = time.monotonic()
        for turn in range(200):
            answer = (tester.functional if turn % 2 else tester.physical)(b"\x09\x02")
            assert answer is not None, f"request {turn} of the VIN got no answer"
            seen.add(messages.vin_of(answer))
        assert len(seen) == 1, f"different VINs: {seen}"
        figure("VIN read by the kernel's ISO-TP socket, mean of 200", f"{(time.monotonic() - started) * 5:.2f}", "ms")

    def each_service_once(tester):
        # The state the story of `loose-fuel-cap` ends in: key on, engine off, one code confirmed in its second trip.
        # SAE J1979 layouts; life of the code: 13 CCR 1968.2 (d)(2.2), and a code is also pending while the
        # last driving cycle found it.
        readiness = tester.functional(b"\x01\x01")
        assert readiness[:3] == b"\x41\x01\x81", f"lamp commanded and one code expected: {readiness.hex(' ')}"
        tester.expect("02 02 00", "42 02 00 04 55")
        tester.expect("03", "43 01 04 55")
        tester.expect("07", "47 01 04 55")
        tester.expect("0A", "4A 01 04 55")
        # Monitor $39 (cap off): one test in unit $FE, 0.25 Pa a count in two's complement; the value is above its maximum.
        tester.expect("06 20", "46 20 80 00 88 B9")
        test = tester.physical(b"\x06\x39")
        assert test[:4] == b"\x46\x39\x80\xfe" and len(test) == 10, test.hex(" ")
        value, least, most = (int.from_bytes(test[i : i + 2], "big", signed=True) for i in (4, 6, 8))
        assert least == -0x8000 and value > most, f"{value} of {least} to {most}: a gross leak passes"
        # Test $01: seal the tank, key on and engine off.
        tester.expect("08 00", "48 00 80 00 00 00")
        tester.expect("08 01", "48 01 00 00 00 00 00")
        messages.vin_of(tester.functional(b"\x09\x02"))

    def every_supported_pid_has_its_length(tester):
        pids = messages.supported(tester.functional, 0x01)
        assert len(pids) >= 45, f"only {len(pids)} PIDs supported: {bytes(pids).hex(' ')}"
        for pid in pids:
            answer = tester.physical(bytes([0x01, pid]))
            assert answer is not None and answer[:2] == bytes([0x41, pid]), f"PID {pid:02X}: {answer}"
            length = messages.PID_LENGTH[pid]
            assert len(answer) == 2 + length, f"PID {pid:02X}: {len(answer) - 2} data bytes, expected {length}"

    def several_pids_in_one_request(tester):
        # SAE J1979: up to six PIDs in one request; more than five data bytes make the answer multi-frame.
        answer = tester.functional(bytes.fromhex("01 0C 0D 05 04 11 0F"))
        assert answer is not None and answer[0] == 0x41, f"{answer}"
        left, found = answer[1:], []
        while left:
            found.append(left[0])
            left = left[1 + messages.PID_LENGTH[left[0]] :]
        assert sorted(found) == [0x04, 0x05, 0x0C, 0x0D, 0x0F, 0x11], f"{answer.hex(' ')}"

    def freeze_frame_as_its_mask_says(tester):
        pids = messages.supported(tester.functional, 0x02)
        assert {0x02, 0x04, 0x05, 0x0C, 0x0D} <= set(pids), f"freeze frame holds {bytes(pids).hex(' ')}"
        for pid in pids:
            answer = tester.physical(bytes([0x02, pid, 0x00]))
            length = 2 if pid == 0x02 else messages.PID_LENGTH[pid]
            assert answer is not None and answer[:3] == bytes([0x42, pid, 0x00]), f"PID {pid:02X}: {answer}"
            assert len(answer) == 3 + length, f"PID {pid:02X}: {answer.hex(' ')}"

    def vehicle_information(tester):
        # InfoTypes $02 VIN, $04 calibration id, $06 its verification number, $08 in-use counters, $0A ECU name.
        types = messages.supported(tester.functional, 0x09)
        assert {0x02, 0x04, 0x06, 0x08, 0x0A} <= set(types), f"InfoTypes {bytes(types).hex(' ')}"
        for info, item in {0x04: 16, 0x06: 4, 0x08: 2, 0x0A: 20}.items():
            answer = tester.physical(bytes([0x09, info]))
            assert answer is not None and answer[:2] == bytes([0x49, info]), f"InfoType {info:02X}: {answer}"
            assert len(answer) == 3 + answer[2] * item, f"InfoType {info:02X}: {answer.hex(' ')}"
        assert tester.physical(b"\x09\x08")[2] in (16, 20), "16 or 20 in-use counters"

    def unsupported_is_silence_or_refused(tester):
        # ISO 15765-4: no negative response $11 to a functional request; a physical one gets it.
        tester.pair.settimeout(0.3)
        tester.expect("05 00 00", None)
        tester.expect("01 FF", None)
        tester.pair.settimeout(2.0)
        refused = tester.physical(bytes.fromhex("05 00 00"))
        assert refused == bytes.fromhex("7F 05 11"), f"{refused}"

    def clear_leaves_the_permanent_code(tester):
        # SAE J1979 $04; a permanent code is not erased by it: 13 CCR 1968.2 (d)(2.2.5).
        tester.expect("04", "44")
        tester.expect("03", "43 00")
        tester.expect("07", "47 00")
        tester.expect("02 02 00", "42 02 00 00 00")
        tester.expect("0A", "4A 01 04 55")
        readiness = tester.functional(b"\x01\x01")
        assert readiness[2] == 0, f"no lamp, no code expected: {readiness.hex(' ')}"

    def can_fd(_):
        # Frames of up to 64 bytes: tx_dl of the kernel's socket (can_isotp_ll_options: mtu, tx_dl, tx_flags) and `--can-fd`.
        for ours, kernels in ((64, 64), (64, 8), (12, 64)):
            with program.car(twotrip, "loose-fuel-cap", "vcan1", "--can-fd", str(ours)):
                with socket.socket(socket.AF_CAN, socket.SOCK_DGRAM, socket.CAN_ISOTP) as tester:
                    options = struct.pack("=II4B", TX_PADDING, 0, 0, 0xCC, 0xCC, 0)
                    tester.setsockopt(SOL_CAN_ISOTP, CAN_ISOTP_OPTS, options)
                    tester.setsockopt(SOL_CAN_ISOTP, CAN_ISOTP_LL_OPTS, struct.pack("=3B", 72, kernels, 0))
                    tester.bind(("vcan1", frames.ANSWER, frames.PHYSICAL))
                    tester.settimeout(2.0)
                    for request in (b"\x03", b"\x09\x02", b"\x09\x08", bytes.fromhex("01 0C 0D 05 04 11 0F")):
                        tester.send(request)
                        answer = tester.recv(4096)
                        assert answer[0] == request[0] | 0x40, f"TX_DL {ours}, {kernels}: {answer.hex(' ')}"
                        if request == b"\x09\x02":
                            messages.vin_of(answer)
                        if request == b"\x09\x08":
                            # More than a frame of 24 bytes holds: a first frame where it is short of that.
                            assert len(answer) == 3 + 2 * answer[2], answer.hex(" ")
                    # A message of several frames from the kernel: no service $05 on CAN, refused to whom it came from.
                    tester.send(bytes([0x05]) + bytes(range(1, 100)))
                    assert tester.recv(4096) == bytes.fromhex("7F 05 11")

    return (
        "kernel_tester",
        opening,
        [
            vin_200_times,
            each_service_once,
            every_supported_pid_has_its_length,
            several_pids_in_one_request,
            freeze_frame_as_its_mask_says,
            vehicle_information,
            unsupported_is_silence_or_refused,
            clear_leaves_the_permanent_code,
            can_fd,
        ],
    )
