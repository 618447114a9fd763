"""Reads messages made from the program's tables with tshark and scapy: `vectors.py FOLDER`.

`FOLDER/vectors.jsonl` has a line for each message, as `tests/conformance/vectors` writes it: the message, and what the
program reads in it. Both tools' known errors stand in `known_errors.py`; what a tool does not take apart at all is
listed there too, since a later version may.
"""

import json
import pathlib
import subprocess
import sys
import xml.etree.ElementTree

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "guest" / "checks"))

import capture  # noqa: E402
import outcome  # noqa: E402
from comparison import Comparison  # noqa: E402

TSHARK, SCAPY = "tshark 4.0", "scapy 2.8"


class Vector:
    def __init__(self, line):
        fields = json.loads(line)
        self.kind, self.subject, self.reading = fields["kind"], fields["subject"], fields["reading"]
        self.message = bytes.fromhex(fields["message"])

    def where(self):
        return self.message.hex(" ")


def near_shown(wanted, got):
    """As near as three decimals, which is what scapy keeps."""
    return abs(wanted - got) <= 0.000501 + abs(wanted) * 1e-9


# --- tshark ---------------------------------------------------------------------------------------------------------


def tshark_readings(folder, vectors):
    """The fields that tshark's OBD dissector finds in each answer, as (name, shown text), in order."""
    path = folder / "vectors.pcap"
    ends = capture.write_messages(path, [vector.message for vector in vectors])
    command = ["tshark", "-o", "iso15765.can.ids:0x7df,0x7e0-0x7ef", "-d", "iso15765.subdissector,obd-ii"]
    command += ["-r", str(path), "-Y", "can.id==0x7e8", "-T", "pdml"]
    ran = subprocess.run(command, capture_output=True, timeout=300)
    assert ran.returncode == 0, f"{' '.join(command)}: {ran.stderr.decode()}"
    found = {}
    for packet in xml.etree.ElementTree.fromstring(ran.stdout).iter("packet"):
        number = int(packet.find("./proto[@name='frame']/field[@name='frame.number']").get("show"))
        obd = packet.find("./proto[@name='obd-ii']")
        fields = [] if obd is None else [(f.get("name"), f.get("show")) for f in obd.iter("field") if f.get("name")]
        complaints = [f.get("show") for f in packet.iter("field") if f.get("name") == "_ws.expert.message"]
        found[number] = (fields, complaints)
    return [found[end] for end in ends]


def values_of(fields):
    """The values of service $01 among fields, in the order of their places."""
    leave_out = ("pid", "oxygen_sensor_id")
    values = []
    for name, shown in fields:
        if name.startswith("obd-ii.mode01_") and not name.endswith(leave_out):
            values.append(float(int(shown, 16) if shown.startswith("0x") else shown))
    return values


# --- scapy ----------------------------------------------------------------------------------------------------------


def scapy_fields(layer):
    """What scapy finds in a layer of bits: a dictionary by place (first bit, bits) of value and field."""
    from scapy.fields import BitField

    found, bit = {}, 0
    for field in layer.fields_desc:
        bits = field.size if isinstance(field, BitField) else round(field.sz * 8)
        if not field.name.startswith("reserved"):
            found[bit, bits] = (layer.getfieldval(field.name), field)
        bit += bits
    return found


# Names of monitors as scapy has them, by those of the program.
GROUPS = {
    "misfire": "misfire",
    "fuel-system": "fuelSystem",
    "components": "components",
    "catalyst": "catalyst",
    "heated-catalyst": "heatedCatalyst",
    "evap": "evaporativeSystem",
    "secondary-air": "secondaryAirSystem",
    "particulate-filter": "acSystemRefrigerant",
    "oxygen-sensor": "oxygenSensor",
    "oxygen-sensor-heater": "oxygenSensorHeater",
    "egr": "egr",
}


def scapy_compare(comparison, vector, layer, records):
    """A parameter's fields by scapy against the program's, place by place. What is wrong about it stands in the subject:
    its length, places of fields, or a rounded scale; else the values themselves, by the byte they begin in."""
    from scapy.fields import ScalingField, StrFixedLenField
    from scapy.packet import Raw

    subject = vector.subject
    short = records > 1  # what is left over it takes for another record
    comparison.same(f"{subject} length", 1, records, f"{vector.where()}: records")
    is_raw = isinstance(layer, Raw) or any(isinstance(field, StrFixedLenField) for field in layer.fields_desc)
    comparison.same(f"{subject} raw", False, is_raw, vector.where())
    if is_raw:
        return
    found = scapy_fields(layer)
    for reading in vector.reading:
        place, wanted = (reading["bit"], reading["bits"]), reading["value"]
        if reading["kind"] == "readiness":
            compare_readiness(comparison, vector, layer, wanted)
            continue
        if wanted is None:
            continue  # not used: scapy has no notion of it
        if place not in found:
            what = "length" if short else "places"
            comparison.same(f"{subject} {what}", place, sorted(found), f"{vector.where()}: place of {reading}")
            continue
        got, field = found[place]
        if isinstance(field, ScalingField):
            got = float(got)
            what = subject if len(vector.reading) == 1 else f"{subject} byte {chr(ord('A') + place[0] // 8)}"
            resolution = reading.get("resolution", field.scaling)
            near = near_shown(wanted, got) and abs(field.scaling - resolution) <= 1e-4 * resolution
            rounded = abs(wanted - got) <= 0.0006 + 1e-3 * abs(wanted) and abs(field.scaling - resolution) <= 1e-3 * resolution
            if near or not rounded:
                comparison.note(what, near, wanted, got, f"{vector.where()}: {resolution} or {field.scaling} a count")
            else:
                comparison.same(f"{subject} rounded", resolution, field.scaling, vector.where())
        elif reading["kind"] == "code":
            comparison.same(subject, wanted, code_of(got), vector.where())
        else:
            comparison.same(subject, int(wanted), int(got), vector.where())


def compare_readiness(comparison, vector, layer, wanted):
    if wanted["compression"]:
        return  # scapy has the names of spark ignition alone
    for state, fields in (
        ("supported", ("continuous_tests_supported", "once_per_trip_tests_supported")),
        ("incomplete", ("continuous_tests_ready", "once_per_trip_tests_ready")),
    ):
        got = {name for field in fields for name in str(layer.getfieldval(field)).split("+") if name}
        got = {name.replace("fuel_system", "fuelSystem") for name in got}
        names = {GROUPS[name] for name in wanted[state]}
        continuous = {"misfire", "fuelSystem", "components"}
        comparison.same(vector.subject, sorted(names & continuous), sorted(got & continuous), vector.where())
        subject = f"{vector.subject} bytes C and D"
        comparison.same(subject, sorted(names - continuous), sorted(got - continuous), vector.where())


def code_of(dtc):
    """Five places of a code as scapy's OBD_DTC holds them."""
    return f"{'PCBU'[dtc.location]}{dtc.code1:X}{dtc.code2:X}{dtc.code3:X}{dtc.code4:X}"


def members_of(flags):
    """Numbers in the names of set flags: `MID39+MID3B`."""
    return sorted(int(name[-2:], 16) for name in str(flags).split("+") if name)


def group(folder, vectors, figure):
    from scapy.config import conf

    conf.verb = 0
    from scapy.contrib.automotive.obd.obd import OBD

    answers = [vector for vector in vectors if vector.kind != "request"]
    readings = []

    def of_kind(*kinds):
        return [vector for vector in vectors if vector.kind in kinds]

    def by_tshark(*kinds):
        if not readings:
            readings.extend(tshark_readings(folder, answers))
        return [(vector, *reading) for vector, reading in zip(answers, readings) if vector.kind in kinds]

    def tshark_reads_every_parameter():
        comparison = Comparison(TSHARK, "parameters")
        for vector, fields, _ in by_tshark("parameter"):
            got = values_of(fields)
            wanted = [r["value"] for r in vector.reading if r["kind"] in ("number", "choice", "raw")]
            comparison.same(f"{vector.subject} raw", False, not got, vector.where())
            if not got:
                continue
            # A trim that is not used has no value.
            comparison.compare(vector.subject, [v for v in wanted if v is not None], got, vector.where(), near_shown)
        comparison.conclude()
        figure("parameters made and read by tshark", comparison.compared, "messages")

    def tshark_reads_masks():
        comparison = Comparison(TSHARK, "masks")
        for vector, fields, _ in by_tshark("mask"):
            service, base = vector.message[0], vector.message[1]
            name = f"obd-ii.mode0{service - 0x40:X}_supported_pid"
            got = [int(shown, 16 if shown.startswith("0x") else 10) for field, shown in fields if field == name]
            comparison.same(f"{vector.subject} raw", False, not got, vector.where())
            if got:
                # The next mask is no member by the program's count.
                members = [member for member in got if member != base + 0x20]
                comparison.same(vector.subject, vector.reading, members, vector.where())
        comparison.conclude()

    def tshark_reads_vin_and_name():
        comparison = Comparison(TSHARK, "information")
        for vector, fields, _ in by_tshark("information"):
            if vector.subject == "VIN":
                comparison.same("VIN", vector.reading, [s for n, s in fields if n == "obd-ii.VIN"], vector.where())
            elif vector.subject == "ECU name":
                wanted = [bytes.fromhex(name).decode() for name in vector.reading]
                got = [s for n, s in fields if n == "obd-ii.ecu_name"]
                comparison.same("ECU name", wanted, got, vector.where())
        comparison.conclude()

    def tshark_finds_nothing_malformed():
        comparison = Comparison(TSHARK, "shape of vectors")
        kinds = {vector.kind for vector in answers}
        for vector, _, complaints in by_tshark(*kinds):
            comparison.same(vector.subject, [], complaints, vector.where())
        comparison.conclude()

    def scapy_reads_every_parameter():
        comparison = Comparison(SCAPY, "parameters")
        for vector in of_kind("parameter"):
            records = OBD(vector.message).data_records
            scapy_compare(comparison, vector, records[0].payload, len(records))
        comparison.conclude()
        figure("parameters made and read by scapy, fields", comparison.compared, "readings")

    def scapy_reads_every_frozen_parameter():
        comparison = Comparison(SCAPY, "frozen parameters")
        for vector in of_kind("frozen parameter"):
            records = OBD(vector.message).data_records
            assert records[0].frame_no == 0, vector.where()
            if vector.subject == "PID 02":
                comparison.same("PID 02", vector.reading[0]["value"], code_of(records[0].dtc), vector.where())
            else:
                scapy_compare(comparison, vector, records[0].payload, len(records))
        comparison.conclude()

    def scapy_reads_masks():
        comparison = Comparison(SCAPY, "masks")
        for vector in of_kind("mask"):
            base = vector.message[1]
            layer = OBD(vector.message).data_records[0].payload
            flags = [layer.getfieldval(field.name) for field in getattr(layer, "fields_desc", [])]
            is_raw = isinstance(flags[0], bytes)
            comparison.same(f"{vector.subject} raw", False, is_raw, vector.where())
            if not is_raw:
                got = [member for member in members_of(flags[0]) if member != base + 0x20]
                comparison.same(vector.subject, vector.reading, got, vector.where())
        comparison.conclude()

    def scapy_reads_every_unit_of_test_results():
        comparison = Comparison(SCAPY, "units")
        for vector in of_kind("test result"):
            layer = OBD(vector.message).data_records[0].payload
            wanted = [vector.reading[name] for name in ("value", "minimum", "maximum")]
            got = [layer.getfieldval(name) for name in ("test_value", "min_limit", "max_limit")]
            comparison.compare(vector.subject, wanted, [float(value) for value in got], vector.where(), near_shown)
            assert layer.standardized_test_id == vector.reading["tid"], vector.where()
        comparison.conclude()

    def scapy_knows_every_monitor():
        comparison = Comparison(SCAPY, "monitors")
        for vector in of_kind("monitor"):
            record = OBD(vector.message).data_records[0]
            name = record.on_board_monitoring_ids.get(record.mid, "")
            comparison.same(f"{vector.subject} raw", False, not name, vector.where())
            if name:
                # Names are words of one's own; bank, sensor, cylinder and size in them are not.
                figures = [[c for c in words if c.isdigit()] for words in (vector.reading["name"], name)]
                comparison.same(vector.subject, *figures, f"{name}, {vector.reading['name']}")
            comparison.same(vector.subject, vector.reading["mid"], record.mid, vector.where())
        comparison.conclude()

    def scapy_reads_codes():
        for vector in of_kind("codes"):
            message = OBD(vector.message)
            got = [code_of(dtc) for dtc in message.dtcs]
            assert (message.count, got) == (len(vector.reading), vector.reading), f"{vector.where()}: {got}"

    def scapy_reads_information():
        names = {
            "VIN": "vehicle_identification_numbers",
            "calibration ids": "calibration_identifications",
            "verification numbers": "calibration_verification_numbers",
            "ECU name": "ecu_names",
        }
        for vector in of_kind("information"):
            layer = OBD(vector.message).data_records[0].payload
            assert layer.count == vector.message[2], vector.where()
            got = list(layer.getfieldval(names.get(vector.subject, "data")))
            if vector.subject == "VIN":
                got = [vin.decode() for vin in got]
            elif vector.subject in names:
                got = [item.hex().upper() for item in got]
            assert got == vector.reading, f"{vector.subject}: {vector.reading}, scapy reads {got}"

    def scapy_reads_other_answers():
        comparison = Comparison(SCAPY, "other answers")
        for vector in of_kind("cleared", "control", "refusal"):
            message = OBD(vector.message)
            if vector.kind == "cleared":
                comparison.same("cleared", 0x44, message.service, vector.where())
            elif vector.kind == "refusal":
                got = [message.request_service_id, message.response_code]
                comparison.same(vector.subject, vector.reading, got, vector.where())
                comparison.same(vector.subject, True, got[1] in message.payload.responses, vector.where())
            else:
                layer = message.data_records[0].payload
                got = [layer.getfieldval(f"data_{place}") for place in "abcde"]
                comparison.compare(vector.subject, vector.reading, got, vector.where())
        comparison.conclude()

    def scapy_reads_requests():
        for vector in of_kind("request"):
            message = OBD(vector.message)
            service = vector.message[0]
            if service == 0x02:
                got = [[record.pid, record.frame_no] for record in message.requests]
            else:
                names = {0x01: "pid", 0x06: "mid", 0x08: "tid", 0x09: "iid"}
                got = list(message.getfieldval(names[service])) if service in names else []
            assert (message.service, got) == (service, vector.reading), f"{vector.where()}: {got}"
            assert bytes(message) == vector.message, vector.where()

    return [
        tshark_reads_every_parameter,
        tshark_reads_masks,
        tshark_reads_vin_and_name,
        tshark_finds_nothing_malformed,
        scapy_reads_every_parameter,
        scapy_reads_every_frozen_parameter,
        scapy_reads_masks,
        scapy_reads_every_unit_of_test_results,
        scapy_knows_every_monitor,
        scapy_reads_codes,
        scapy_reads_information,
        scapy_reads_other_answers,
        scapy_reads_requests,
    ]


def main(folder):
    folder = pathlib.Path(folder)
    vectors = [Vector(line) for line in (folder / "vectors.jsonl").read_text().splitlines()]
    outcomes = outcome.Outcomes(folder)
    for check in group(folder, vectors, outcomes.figure):
        outcomes.check(f"vectors::{check.__name__}", check)


if __name__ == "__main__":
    main(*sys.argv[1:])
