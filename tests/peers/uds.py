"""Reads the messages of an ECU that speaks SAE J1979-2 with `udsoncan`, which knows ISO 14229-1 and nothing of the program:
`uds.py FOLDER`.

`FOLDER/uds.jsonl` has a line for each request, as `tests/conformance/vectors/uds.rs` writes it: request, answer, and what
the program reads in the answer. What `udsoncan` does not take apart, or reads otherwise, stands in `known_errors.py`.
"""

import json
import pathlib
import sys

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "guest" / "checks"))

import outcome  # noqa: E402
from comparison import Comparison  # noqa: E402

UDSONCAN = "udsoncan 1.26"


class Vector:
    def __init__(self, line):
        fields = json.loads(line)
        self.request, self.message = bytes.fromhex(fields["request"]), bytes.fromhex(fields["message"])
        self.reading = fields["reading"]

    def where(self):
        return f"{self.request.hex(' ')} -> {self.message.hex(' ')}"

    def is_refusal(self):
        return self.message[0] == 0x7F


def answer_of(vector):
    from udsoncan import Response

    return Response.from_payload(vector.message)


def group(vectors):
    def of(*begin):
        """Those that are answered positively, and whose request begins so."""
        return [v for v in vectors if v.request[: len(begin)] == bytes(begin) and not v.is_refusal()]

    def udsoncan_makes_the_same_requests():
        from udsoncan.services import (
            ClearDiagnosticInformation,
            DiagnosticSessionControl,
            ReadDataByIdentifier,
            ReadDTCInformation,
            RoutineControl,
            TesterPresent,
        )

        def made(request):
            service, rest = request[0], request[1:]
            dtc = int.from_bytes(rest[1:4], "big")
            if service == 0x10:
                return DiagnosticSessionControl.make_request(rest[0])
            if service == 0x14:
                return ClearDiagnosticInformation.make_request(int.from_bytes(rest, "big"))
            if service == 0x22:
                dids = [int.from_bytes(rest[at : at + 2], "big") for at in range(0, len(rest), 2)]
                return ReadDataByIdentifier.make_request(dids, None)
            if service == 0x31:
                return RoutineControl.make_request(int.from_bytes(rest[1:3], "big"), rest[0])
            if service == 0x3E:
                return TesterPresent.make_request()
            if rest[0] == 0x42:
                return ReadDTCInformation.make_request(
                    0x42, functional_group_id=rest[1], status_mask=rest[2], severity_mask=rest[3]
                )
            if rest[0] == 0x55:
                return ReadDTCInformation.make_request(0x55, functional_group_id=rest[1])
            if rest[0] == 0x04:
                return ReadDTCInformation.make_request(0x04, dtc=dtc, snapshot_record_number=rest[4])
            if rest[0] == 0x06:
                return ReadDTCInformation.make_request(0x06, dtc=dtc, extended_data_record_number=rest[4])
            return ReadDTCInformation.make_request(rest[0], status_mask=rest[1])

        comparison = Comparison(UDSONCAN, "requests")
        for vector in vectors:
            subject = f"service {vector.request[0]:02X}"
            comparison.same(subject, vector.request, made(vector.request).get_payload(), vector.where())
        comparison.conclude()

    def udsoncan_reads_refusals():
        comparison = Comparison(UDSONCAN, "refusals")
        for vector in (v for v in vectors if v.is_refusal()):
            got = answer_of(vector)
            wanted = (False, vector.reading["refused"], vector.reading["code"])
            comparison.same("refusal", wanted, (got.positive, got.service.request_id(), got.code), vector.where())
        comparison.conclude()

    def udsoncan_reads_sessions_and_routines():
        from udsoncan.services import DiagnosticSessionControl, RoutineControl

        comparison = Comparison(UDSONCAN, "sessions and routines")
        for vector in of(0x10):
            got = answer_of(vector)
            DiagnosticSessionControl.interpret_response(got)
            data = got.service_data
            times = {"session": data.session_echo, "p2": data.p2_server_max, "p2_star": data.p2_star_server_max}
            comparison.same("session", vector.reading, times, vector.where())
        for vector in of(0x31):
            got = answer_of(vector)
            RoutineControl.interpret_response(got)
            data = got.service_data
            told = {
                "what": data.control_type_echo,
                "routine": data.routine_id_echo,
                "data": data.routine_status_record.hex().upper(),
            }
            comparison.same("routine", vector.reading, told, vector.where())
        for vector in of(0x14) + of(0x3E):
            comparison.same("no data", True, answer_of(vector).positive, vector.where())
        comparison.conclude()

    def udsoncan_reads_data_by_identifier():
        from udsoncan.services import ReadDataByIdentifier

        comparison = Comparison(UDSONCAN, "data")
        for vector in of(0x22):
            wanted = {did: data for did, data in vector.reading["data"]}
            config = {did: bytes_codec(len(data) // 2) for did, data in wanted.items()}
            got = answer_of(vector)
            ReadDataByIdentifier.interpret_response(got, list(wanted), config, tolerate_zero_padding=False)
            values = {did: data.hex().upper() for did, data in got.service_data.values.items()}
            comparison.same("data", wanted, values, vector.where())
        comparison.conclude()

    def udsoncan_reads_codes_by_mask():
        comparison = Comparison(UDSONCAN, "codes")
        for vector in of(0x19, 0x42):
            data = codes_of(vector, 0x42)
            # It keeps class and severity apart; of the byte it shows bits 7 to 5.
            wanted = [[code, status, severity & 0xE0] for code, status, severity in vector.reading["codes"]]
            got = [[d.id, d.status.get_byte_as_int(), d.severity.get_byte_as_int()] for d in data.dtcs]
            comparison.same("codes", wanted, got, vector.where())
            head = (data.functional_group_id, data.status_availability.get_byte_as_int(), data.dtc_format)
            comparison.same("head", (vector.reading["group"], vector.reading["available"], 4), head, vector.where())
        comparison.conclude()

    def udsoncan_reads_permanent_codes():
        from udsoncan.exceptions import InvalidResponseException

        comparison = Comparison(UDSONCAN, "permanent codes")
        for vector in of(0x19, 0x55):
            try:
                got = [[d.id, d.status.get_byte_as_int()] for d in codes_of(vector, 0x55).dtcs]
            except InvalidResponseException as error:
                got = str(error)
            comparison.same("codes", vector.reading["codes"], got, vector.where())
        comparison.conclude()

    def udsoncan_reads_freeze_frames():
        comparison = Comparison(UDSONCAN, "freeze frames")
        for vector in of(0x19, 0x04):
            frames = vector.reading["frames"]
            lengths = {did: bytes_codec(len(data) // 2) for frame in frames for did, data in frame["data"]}
            data = codes_of(vector, 0x04, didconfig=lengths, tolerate_zero_padding=False)
            (dtc,) = data.dtcs
            comparison.same("code", vector.reading["code"], [dtc.id, dtc.status.get_byte_as_int()], vector.where())
            wanted = [[frame["record"], did, data] for frame in frames for did, data in frame["data"]]
            got = [[s.record_number, s.did, s.raw_data.hex().upper()] for s in dtc.snapshots]
            comparison.same("data", wanted, got, vector.where())
        comparison.conclude()

    def udsoncan_reads_extended_data():
        comparison = Comparison(UDSONCAN, "extended data")
        for vector in of(0x19, 0x06):
            (dtc,) = codes_of(vector, 0x06, extended_data_size=4, tolerate_zero_padding=False).dtcs
            wanted = [[vector.reading["record"], vector.reading["data"]]] if vector.reading["record"] else []
            got = [[e.record_number, e.raw_data.hex().upper()] for e in dtc.extended_data]
            comparison.same("data", wanted, got, vector.where())
        comparison.conclude()

    return [
        udsoncan_makes_the_same_requests,
        udsoncan_reads_refusals,
        udsoncan_reads_sessions_and_routines,
        udsoncan_reads_data_by_identifier,
        udsoncan_reads_codes_by_mask,
        udsoncan_reads_permanent_codes,
        udsoncan_reads_freeze_frames,
        udsoncan_reads_extended_data,
    ]


def bytes_codec(length):
    """Takes so many bytes as they are."""
    from udsoncan import DidCodec

    class Bytes(DidCodec):
        def encode(self, value):
            return value

        def decode(self, payload):
            return payload

        def __len__(self):
            return length

    return Bytes


def codes_of(vector, sub_function, **settings):
    from udsoncan.services import ReadDTCInformation

    got = answer_of(vector)
    ReadDTCInformation.interpret_response(got, sub_function, **settings)
    return got.service_data


def main(folder):
    folder = pathlib.Path(folder)
    vectors = [Vector(line) for line in (folder / "uds.jsonl").read_text().splitlines()]
    outcomes = outcome.Outcomes(folder)
    for check in group(vectors):
        outcomes.check(f"vectors::{check.__name__}", check)


if __name__ == "__main__":
    main(*sys.argv[1:])
