"""A stranger's client walks the loop: packages `python-can` (bus) and `can-isotp` (transport) of PyPI.

Both know nothing of this program. The car is the shipped `loose-fuel-cap`; the repair and the drive are told to it as a
user would, by `twotrip tell`.
"""

import contextlib

import can
import isotp

import frames
import messages
import program


class Client:
    def __init__(self, car, interface):
        self.car = car
        self.bus = can.Bus(interface="socketcan", channel=interface)
        address = isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=frames.ANSWER, txid=frames.PHYSICAL)
        # can-isotp does not pad by default, and asks for blocks of 8; ISO 15765-4 wants eight bytes and no blocks.
        self.stack = isotp.CanStack(self.bus, address=address, params={"tx_padding": 0x00, "blocksize": 0, "stmin": 0})
        self.stack.start()

    def ask(self, request, timeout=2.0):
        """A functional request: a single frame on 7DF. The transport package takes the answer."""
        while self.stack.available():
            self.stack.recv()
        data = frames.padded(bytes.fromhex(request))
        self.bus.send(can.Message(arbitration_id=frames.FUNCTIONAL, data=data, is_extended_id=False))
        answer = self.stack.recv(block=True, timeout=timeout)
        return None if answer is None else bytes(answer)

    def expect(self, request, answer):
        got = self.ask(request)
        assert got == bytes.fromhex(answer), f"{request}: expected {answer}, got {got and got.hex(' ')}"

    def value(self, service, pid):
        """The first data byte or bytes of a parameter, as a number."""
        request = f"{service:02X} {pid:02X}" + (" 00" if service == 0x02 else "")
        answer = self.ask(request)
        head = bytes.fromhex(request)
        assert answer is not None and answer[1 : len(head)] == head[1:], f"{request}: {answer}"
        return int.from_bytes(answer[len(head) :], "big")

    def evap(self):
        """Whether the evaporative monitor exists and is complete: bits C2 and D2 of PID $01, SAE J1979."""
        readiness = self.ask("01 01")
        return bool(readiness[4] & 0x04), not readiness[5] & 0x04

    def close(self):
        self.stack.stop()
        self.bus.shutdown()


def group(twotrip, results, figure):
    @contextlib.contextmanager
    def opening():
        with frames.recording("vcan0", results / "python_client.pcap"):
            with program.car(twotrip, "loose-fuel-cap", "vcan0") as car:
                client = Client(car, "vcan0")
                try:
                    yield client
                finally:
                    client.close()

    def reads_the_codes(client):
        messages.vin_of(client.ask("09 02"))
        client.expect("03", "43 01 04 55")
        client.expect("07", "47 01 04 55")
        client.expect("0A", "4A 01 04 55")
        answer = client.ask("01 01")
        assert answer[2] == 0x81, f"lamp commanded, one code expected: {answer.hex(' ')}"
        exists, complete = client.evap()
        assert exists and complete, "the evaporative monitor found the leak, so it has run"

    def reads_the_freeze_frame(client):
        # The data of the moment of the leak test: a warm, running car with its tank as filled (SAE J1979 scalings).
        client.expect("02 02 00", "42 02 00 04 55")
        assert 400 <= client.value(0x02, 0x0C) / 4 <= 6000, "engine speed, rpm"
        assert 0 < client.value(0x02, 0x04) <= 255, "calculated load"
        assert 0 <= client.value(0x02, 0x05) - 40 <= 115, "coolant, degC"

    def clears_after_the_repair(client):
        client.car.tell("tighten fuel-cap")
        client.expect("04", "44")
        client.expect("03", "43 00")
        client.expect("07", "47 00")
        client.expect("0A", "4A 01 04 55")
        assert client.evap() == (True, False), "a clear sets the evaporative monitor to not complete"

    def drives_from_cold(client):
        client.car.tell("soak 9 h", "drive udds", "drive hwfet")
        # Left idling, warm: the numbers are those of any such car.
        assert 500 <= client.value(0x01, 0x0C) / 4 <= 1500, "idle speed, rpm"
        assert 70 <= client.value(0x01, 0x05) - 40 <= 115, "coolant, degC"
        assert client.value(0x01, 0x0D) == 0, "standing, km/h"
        # Every value once, for the analysers to read: here none is at rest.
        for pid in messages.supported(lambda request: client.ask(request.hex()), 0x01):
            client.value(0x01, pid)
        client.expect("04", "7F 04 22")

    def is_silent_with_the_key_off(client):
        client.car.tell("key off", "soak 1 h")
        answer = client.ask("01 00", timeout=0.5)
        assert answer is None, f"asleep, but answered {answer.hex(' ')}"
        client.car.tell("key on")

    def reads_a_clean_memory(client):
        client.expect("03", "43 00")
        client.expect("07", "47 00")
        client.expect("0A", "4A 00")
        client.expect("02 02 00", "42 02 00 00 00")
        answer = client.ask("01 01")
        assert answer[2] == 0x00, f"no lamp, no code expected: {answer.hex(' ')}"
        assert client.evap() == (True, True), "the leak test has run and passed"

    return (
        "python_client",
        opening,
        [
            reads_the_codes,
            reads_the_freeze_frame,
            clears_after_the_repair,
            drives_from_cold,
            is_silent_with_the_key_off,
            reads_a_clean_memory,
        ],
    )
