"""A stranger's UDS client walks the loop on a car of SAE J1979-2: PyPI's `udsoncan` over the kernel's ISO-TP socket
(`CAN_ISOTP`, ISO 15765-2).

Both know nothing of this program. The car is the shipped `loose-fuel-cap` on the vehicle `compact-on-uds`.
"""

import contextlib

import frames
import program

# Emissions system: functional group, and the group of all its codes (`udsoncan`, a public help page).
EMISSIONS, ALL_CODES = 0x33, 0xFFFF33
CONFIRMED, PENDING = 0x08, 0x04
# P0455 with the failure type of a leak (from memory).
LEAK = 0x04557A


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

    return (
        "uds_client",
        opening,
        [
            opens_a_session_and_keeps_it,
            reads_data,
            reads_the_codes,
            reads_the_freeze_frames,
            clears_with_the_engine_off_alone,
        ],
    )
