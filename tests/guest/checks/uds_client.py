"""A stranger's UDS client walks the loop on a car of SAE J1979-2: PyPI's `udsoncan` over the kernel's ISO-TP socket
(`CAN_ISOTP`, ISO 15765-2).

Both know nothing of this program. The car is the shipped `loose-fuel-cap` on the vehicle `compact-on-uds`; then one with two
ECUs, `compact-on-uds-transmission`, on either size of identifiers.
"""

import contextlib
import pathlib
import tempfile

import can

import frames
import program

# Emissions system: functional group, and the group of all its codes (`udsoncan`, a public help page).
EMISSIONS, ALL_CODES = 0x33, 0xFFFF33
CONFIRMED, PENDING = 0x08, 0x04
# P0455 with the failure type of a leak (from memory).
LEAK = 0x04557A
# P0118, the voltage of the coolant sensor too high; P0753, shift solenoid A, an electrical failure (from memory).
COOLANT, SOLENOID = 0x011817, 0x075301
# Engine and transmission ECU: requests to all, then request and answer of each (ISO 15765-4, from memory).
SIZES = {
    "11-bit": (0x7DF, (0x7E0, 0x7E8), (0x7E1, 0x7E9)),
    "29-bit": (0x18DB33F1, (0x18DA10F1, 0x18DAF110), (0x18DA18F1, 0x18DAF118)),
}
ROUNDS = 25
# Two trips with a broken wire at either ECU.
TWO_CODES = """
version = 1
title = "a code in each ECU"
vehicle = "compact-on-uds-transmission"
[story]
before = '''
defect wiring shift-solenoid-a open
defect wiring coolant-sensor open
drive 30 km/h for 20 s, stop
stop
soak 1 h
drive 30 km/h for 20 s, stop
stop
'''
"""


def two_ecus(folder):
    """The shipped car with two ECUs, and a story for it. The transmission ECU begins to answer half a millisecond before the engine
    ECU, whose frames then win the bus and come in between."""
    shipped = pathlib.Path(__file__).resolve().parents[3] / "scenarios" / "vehicles" / "compact-on-uds-transmission.toml"
    text = shipped.read_text()
    for role, delay in (("engine", 5.5), ("transmission", 5)):
        named = f'role = "{role}"'
        assert named in text, named
        text = text.replace(named, f'reply-delay = "{delay} ms"\n{named}')
    vehicle, story = folder / "two.toml", folder / "story.toml"
    vehicle.write_text(text)
    story.write_text(TWO_CODES)
    return str(story), "--vehicle", str(vehicle)


class Tester:
    """`udsoncan` over one of the kernel's sockets to each ECU; what goes to all is sent by python-can, who watches too."""

    def __init__(self, interface, size):
        import isotp
        from udsoncan.connections import IsoTPSocketConnection

        self.functional, *self.ecus = SIZES[size]
        self.extended = size == "29-bit"
        mode = isotp.AddressingMode.Normal_29bits if self.extended else isotp.AddressingMode.Normal_11bits
        self.connections = []
        for request, answer in self.ecus:
            connection = IsoTPSocketConnection(interface, isotp.Address(mode, rxid=answer, txid=request))
            connection.tpsock.set_opts(txpad=0x00)
            connection.tpsock.set_fc_opts(stmin=0, bs=0)
            self.connections.append(connection)
        self.bus = can.Bus(interface="socketcan", channel=interface)

    @contextlib.contextmanager
    def clients(self):
        """One on each socket, which can be opened once only."""
        from udsoncan.client import Client

        settings = {"p2_timeout": 5, "use_server_timing": False}
        try:
            with contextlib.ExitStack() as stack:
                yield [stack.enter_context(Client(each, config=settings)) for each in self.connections]
        finally:
            self.bus.shutdown()

    def ask(self, request):
        """To all; what each ECU's socket took, and the identifiers of their frames in order."""
        while self.bus.recv(0) is not None:
            pass
        data = frames.padded(bytes.fromhex(request))
        self.bus.send(can.Message(arbitration_id=self.functional, data=data, is_extended_id=self.extended))
        taken = [connection.wait_frame(timeout=2) for connection in self.connections]
        order = []
        while (message := self.bus.recv(0.01)) is not None:
            if message.arbitration_id in [answer for _, answer in self.ecus]:
                order.append(message.arbitration_id)
        return taken, order


def supported(connection):
    """Bytes of each parameter that the car has: by its masks, and one question each."""
    lengths, base = {}, 0x00
    while base is not None:
        mask = int.from_bytes(ask(connection, bytes([0x22, 0xF4, base]))[3:], "big")
        for place in range(31):
            if mask >> (31 - place) & 1:
                number = base + 1 + place
                lengths[0xF400 + number] = len(ask(connection, bytes([0x22, 0xF4, number]))) - 3
        base = base + 0x20 if mask & 1 else None
    return lengths


def ask(connection, request):
    connection.send(request)
    answer = connection.wait_frame(timeout=2)
    assert answer is not None and answer[0] == request[0] + 0x40, f"{request.hex(' ')}: {answer}"
    return answer


def raw(length):
    """Takes so many bytes as a number."""
    from udsoncan import DidCodec

    class Number(DidCodec):
        def encode(self, value):
            return value.to_bytes(length, "big")

        def decode(self, payload):
            return int.from_bytes(payload, "big")

        def __len__(self):
            return length

    return Number


def group(twotrip):
    @contextlib.contextmanager
    def opening():
        import isotp
        from udsoncan.client import Client
        from udsoncan.connections import IsoTPSocketConnection

        with program.car(twotrip, "loose-fuel-cap", "vcan0", "--vehicle", "compact-on-uds") as car:
            address = isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=frames.ANSWER, txid=frames.PHYSICAL)
            connection = IsoTPSocketConnection("vcan0", address)
            # Frames of eight bytes, no blocks, no gaps (ISO 15765-4).
            connection.tpsock.set_opts(txpad=0x00)
            connection.tpsock.set_fc_opts(stmin=0, bs=0)
            connection.open()
            lengths = supported(connection)
            connection.close()
            settings = {
                "data_identifiers": {did: raw(length) for did, length in lengths.items()} | {0xF802: raw(17)},
                # An emulated processor is some twenty times slower than the machine around it.
                "p2_timeout": 5,
                "use_server_timing": False,
            }
            connection = IsoTPSocketConnection("vcan0", address)
            connection.tpsock.set_opts(txpad=0x00)
            connection.tpsock.set_fc_opts(stmin=0, bs=0)
            with Client(connection, config=settings) as client:
                yield client, car

    def codes(client, status):
        data = client.get_wwh_obd_dtc_by_status_mask(EMISSIONS, status, 0xE0, 0x1F).service_data
        return [dtc.id for dtc in data.dtcs]

    def opens_a_session_and_keeps_it(given):
        client, _ = given
        assert client.change_session(0x01).service_data.session_echo == 0x01
        assert client.tester_present().positive

    def reads_data(given):
        client, _ = given
        values = client.read_data_by_identifier([0xF40C, 0xF40D, 0xF405]).service_data.values
        assert values[0xF40C] == 0 and values[0xF40D] == 0, f"engine off: {values}"
        assert 0 <= values[0xF405] - 40 <= 115, f"coolant, degC: {values}"
        vin = client.read_data_by_identifier([0xF802]).service_data.values[0xF802].to_bytes(17, "big")
        assert vin == b"0TW00TR04V0000043", vin

    def reads_the_codes(given):
        client, _ = given
        assert codes(client, CONFIRMED) == [LEAK]
        assert codes(client, PENDING) == [LEAK]

    def reads_the_freeze_frames(given):
        client, _ = given
        (dtc,) = client.get_dtc_snapshot_by_dtc_number(LEAK, 0xFF).service_data.dtcs
        speeds = {s.record_number: s.data / 4 for s in dtc.snapshots if s.did == 0xF40C}
        assert set(speeds) == {0x00, 0xF0}, f"the first and the latest: {speeds}"
        assert all(400 <= speed <= 6000 for speed in speeds.values()), f"engine speed, rpm: {speeds}"

    def clears_with_the_engine_off_alone(given):
        from udsoncan.exceptions import NegativeResponseException

        client, car = given
        car.tell("start")
        try:
            client.clear_dtc(ALL_CODES)
        except NegativeResponseException as refusal:
            assert refusal.response.code == 0x22, refusal
        else:
            raise AssertionError("cleared while the engine ran")
        car.tell("stop", "key on", "tighten fuel-cap")
        assert client.clear_dtc(ALL_CODES).positive
        assert codes(client, CONFIRMED | PENDING) == []

    def two_ecus_on(size):
        with tempfile.TemporaryDirectory() as folder:
            words = two_ecus(pathlib.Path(folder))
            with program.car(twotrip, *words[:1], "vcan3", *words[1:], "--identifiers", size) as car:
                tester = Tester("vcan3", size)
                with tester.clients() as clients:
                    asks_two_ecus(car, tester, clients)

    def asks_two_ecus(car, tester, clients):
        found = [codes(client, CONFIRMED) for client in clients]
        assert found == [[COOLANT], [SOLENOID]], found
        mixed = 0
        for _ in range(ROUNDS):
            (engine, transmission), order = tester.ask("22 F8 0A")
            assert engine == b"\x62\xf8\x0aECM\x00-EngineControl\x00\x00", engine
            assert transmission == b"\x62\xf8\x0aTCM\x00-TransmisCtrl\x00\x00\x00", transmission
            assert len(order) == 8, f"two answers of four frames each: {order}"
            mixed += sum(1 for one, next in zip(order, order[1:]) if one != next) > 1
        assert mixed > 0, "in no round did the frames of the two ECUs interleave"
        car.tell("start")
        refused, _ = tester.ask("14 FF FF 33")
        assert refused == [b"\x7f\x14\x22"] * 2, refused
        car.tell("stop")
        # One alone, then both.
        assert clients[1].clear_dtc(ALL_CODES).positive
        listed, _ = tester.ask("19 42 33 08 FF")
        assert [len(answer) for answer in listed] == [11, 6], listed
        cleared, _ = tester.ask("14 FF FF 33")
        assert cleared == [b"\x54"] * 2, cleared
        assert [codes(client, CONFIRMED) for client in clients] == [[], []]

    def asks_two_ecus_on_11_bits(_):
        two_ecus_on("11-bit")

    def asks_two_ecus_on_29_bits(_):
        two_ecus_on("29-bit")

    return (
        "uds_client",
        opening,
        [
            opens_a_session_and_keeps_it,
            reads_data,
            reads_the_codes,
            reads_the_freeze_frames,
            clears_with_the_engine_off_alone,
            asks_two_ecus_on_11_bits,
            asks_two_ecus_on_29_bits,
        ],
    )
