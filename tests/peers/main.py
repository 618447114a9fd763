"""Reads what the guest recorded with tools that know nothing of the program: `main.py PROGRAM RESULTS COUNTED [NAME ...]`.

RESULTS is the folder of the guest whose clock is time, COUNTED that of the one whose clock counts instructions.

Outside sources: tshark (Debian; its `iso15765` and `obd-ii` dissectors), scapy (PyPI; its `isotp` and `obd` layers).
Their known errors stand in `known_errors.py`, each with its reason.
"""

import pathlib
import statistics
import subprocess
import sys

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "guest" / "checks"))

import capture  # noqa: E402
import messages  # noqa: E402
import outcome  # noqa: E402
from comparison import Comparison  # noqa: E402
from scalings import ENCODED, SCALINGS, scaling_of  # noqa: E402
import strangers  # noqa: E402
import written  # noqa: E402

CAPTURES = ("kernel_tester.pcap", "python_client.pcap")
P2_SECONDS = 0.050  # ISO 15765-4: the answer begins within 50 ms of the request's end


def tshark(path, subdissector, display, fields):
    """Rows of fields, by tshark. Identifiers are bound to ISO 15765 by its own preference."""
    command = ["tshark", "-o", "iso15765.can.ids:0x7df,0x7e0-0x7ef", "-d", f"iso15765.subdissector,{subdissector}"]
    command += ["-r", str(path), "-Y", display, "-T", "fields"]
    for field in fields:
        command += ["-e", field]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert ran.returncode == 0, f"{' '.join(command)}: {ran.stderr}"
    return [line.split("\t") for line in ran.stdout.splitlines()]


def scapy_messages(path):
    """Messages of 7E8 put together by scapy's ISO-TP layer, decoded by its OBD layer, in order."""
    from scapy.config import conf

    conf.verb = 0
    import scapy.layers.can  # noqa: F401 registers link type 227
    from scapy.contrib.automotive.obd.obd import OBD
    from scapy.contrib.isotp import ISOTPMessageBuilder
    from scapy.utils import rdpcap

    builder = ISOTPMessageBuilder(rx_id=[0x7E8])
    for packet in rdpcap(str(path)):
        if packet.identifier == 0x7E8:
            builder.feed(packet)
    return [OBD(bytes(message.data)) for message in builder]


def code_of(dtc):
    """Five places of a code as scapy's OBD_DTC holds them."""
    return f"{'PCBU'[dtc.location]}{dtc.code1:X}{dtc.code2:X}{dtc.code3:X}{dtc.code4:X}"


def group(results, figure):
    def tshark_reads_the_vin():
        for name, at_least in zip(CAPTURES, (200, 1)):
            vins = [row[0] for row in tshark(results / name, "obd-ii", "can.id==0x7e8 && obd-ii.VIN", ["obd-ii.VIN"])]
            assert len(vins) >= at_least and len(set(vins)) == 1, f"{name}: {len(vins)} VINs, {set(vins)}"
            assert messages.check_digit(vins[0]) == vins[0][8], vins[0]

    def tshark_reads_single_values():
        names = sorted({field for scaling in SCALINGS.values() for field in scaling.tshark})
        comparison = Comparison("tshark 4.0", "values")
        for name in CAPTURES:
            fields = ["frame.number", *(f"obd-ii.{field}" for field in names)]
            rows = {int(row[0]): dict(zip(names, row[1:])) for row in tshark(results / name, "obd-ii", "obd-ii", fields)}
            for frame, pid, data in capture.single_values(capture.read(results / name), messages.PID_LENGTH):
                if pid in ENCODED:
                    continue
                scaling = scaling_of(pid)
                row = rows.get(frame.number, {})
                got = [float(int(row[f], 16) if row[f].startswith("0x") else row[f]) for f in scaling.tshark if row.get(f)]
                comparison.compare(f"PID {pid:02X}", scaling.values(data), got, f"{name} frame {frame.number}")
        comparison.conclude()
        figure("single values compared with tshark's reading", comparison.compared, "values")

    def tshark_reads_codes():
        # Its OBD dissector leaves codes raw, so only its transport layer is asked: the message as it put it together.
        for name in CAPTURES:
            rows = tshark(results / name, "data", "can.id==0x7e8", ["data.data"])
            read = {row[0] for row in rows}
            for wanted in ("43010455", "47010455", "4a010455", "4202000455", "44", "4300", "4700", "4202000000"):
                assert wanted in read, f"{name}: no message {wanted}"

    def tshark_finds_nothing_malformed():
        comparison = Comparison("tshark 4.0", "shape")
        for name in CAPTURES:
            fields = ["frame.number", "obd-ii.ecu_name", "_ws.expert.message"]
            for number, ecu_name, complaint in tshark(results / name, "obd-ii", "can.id==0x7e8", fields):
                subject = "ECU name" if ecu_name else "frame"
                comparison.compare(subject, [0], [float(bool(complaint))], f"{name} frame {number}: {complaint}")
        comparison.conclude()

    def scapy_reads_the_vin():
        for name in CAPTURES:
            vins = set()
            for message in scapy_messages(results / name):
                if message.service == 0x49 and message.data_records[0].iid == 0x02:
                    vins.update(message.data_records[0].vehicle_identification_numbers)
            assert len(vins) == 1, f"{name}: {vins}"
            vin = vins.pop().decode("ascii")
            assert messages.check_digit(vin) == vin[8], vin

    def scapy_reads_single_values():
        comparison = Comparison("scapy 2.8", "values")
        for name in CAPTURES:
            for message in scapy_messages(results / name):
                if message.service != 0x41:
                    continue
                raw = bytes(message)
                pid, data = raw[1], raw[2:]
                if not pid % 0x20 or pid in ENCODED or len(data) != messages.PID_LENGTH[pid]:
                    continue
                record = message.data_records[0].payload
                got = [float(record.getfieldval(field)) for field in scaling_of(pid).scapy]
                comparison.compare(f"PID {pid:02X}", scaling_of(pid).values(data), got, f"{name} {raw.hex(' ')}")
        comparison.conclude()
        figure("single values compared with scapy's reading", comparison.compared, "values")

    def scapy_reads_codes():
        for name in CAPTURES:
            read = {0x43: [], 0x47: [], 0x4A: []}
            frozen = []
            for message in scapy_messages(results / name):
                if message.service in read:
                    read[message.service].append([code_of(dtc) for dtc in message.dtcs])
                elif message.service == 0x42 and message.data_records[0].pid == 0x02:
                    frozen.append(code_of(message.data_records[0].dtc))
            for service in (0x43, 0x47):
                assert read[service][0] == ["P0455"] and read[service][-1] == [], f"{name}: {service:X} {read[service]}"
            assert read[0x4A][0] == ["P0455"], f"{name}: {read[0x4A]}"
            assert frozen[0] == "P0455" and frozen[-1] == "P0000", f"{name}: {frozen}"
        assert read[0x4A][-1] == [], f"python_client: permanent codes at the end of the loop: {read[0x4A]}"

    def scapy_reads_readiness():
        comparison = Comparison("scapy 2.8", "readiness")
        for message in scapy_messages(results / "python_client.pcap"):
            raw = bytes(message)
            if message.service != 0x41 or raw[1] != 0x01:
                continue
            status = message.data_records[0].payload
            assert (int(status.mil), status.dtc_count) == (raw[2] >> 7, raw[2] & 0x7F), raw.hex(" ")
            evap = "evaporativeSystem"
            got = [
                float(evap in str(status.once_per_trip_tests_supported)),
                float(evap in str(status.once_per_trip_tests_ready)),
            ]
            comparison.compare("evap bits of PID 01", [raw[4] >> 2 & 1, raw[5] >> 2 & 1], got, raw.hex(" "))
        comparison.conclude()

    def answers_begin_within_p2():
        # By the kernel's times of both frames. The guest is an emulated machine that the one around it may hold up:
        # one answer in a hundred may therefore be late, and the slowest is reported.
        for name in CAPTURES:
            delays, asked = [], None
            for frame in capture.read(results / name):
                if frame.identifier in (0x7DF, 0x7E0) and capture.single_frame_payload(frame):
                    asked = frame.seconds
                elif frame.identifier == 0x7E8 and frame.data[0] >> 4 in (0, 1) and asked is not None:
                    delays.append(frame.seconds - asked)
                    asked = None
            judge(name, delays)

    def flood_answers_begin_within_p2():
        # A hundred requests at once, each for a pair of PIDs of its own: an answer not begun in time is not given.
        delays, asked = [], {}
        for frame in capture.read(results / "traffic.pcap"):
            message = capture.single_frame_payload(frame)
            if message is None or len(message) not in (3, 5):
                continue
            if frame.identifier == 0x7DF and message[0] == 0x01:
                asked[message[1], message[2]] = frame.seconds
            elif frame.identifier == 0x7E8 and message[0] == 0x41 and (message[1], message[3]) in asked:
                delays.append(frame.seconds - asked.pop((message[1], message[3])))
        judge("flood", delays)

    def judge(name, delays):
        assert delays, f"{name}: no answers"
        figure(f"request to answer, {name}: median", f"{statistics.median(delays) * 1000:.2f}", "ms")
        figure(f"request to answer, {name}: slowest of {len(delays)}", f"{max(delays) * 1000:.2f}", "ms")
        late = [delay for delay in delays if delay > P2_SECONDS]
        assert len(late) <= len(delays) / 100, f"{name}: {len(late)} of {len(delays)} answers later than 50 ms: {late[:5]}"

    return [
        tshark_reads_the_vin,
        tshark_reads_single_values,
        tshark_reads_codes,
        tshark_finds_nothing_malformed,
        scapy_reads_the_vin,
        scapy_reads_single_values,
        scapy_reads_codes,
        scapy_reads_readiness,
        answers_begin_within_p2,
        flood_answers_begin_within_p2,
    ]


def checks(program, results, counted, figure):
    return group(results, figure) + written.group(program, results, figure) + strangers.group(program, counted, figure)


def main(program, results, counted, *wanted):
    program, results, counted = map(pathlib.Path, (program, results, counted))
    outcomes = outcome.Outcomes(results, wanted)
    for check in checks(program, results, counted, outcomes.figure):
        name = f"analysers::{check.__name__}"
        if outcomes.is_wanted(name):
            outcomes.check(name, check)


if __name__ == "__main__":
    main(*sys.argv[1:])
