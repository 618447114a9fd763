"""The program's recordings in the eyes of tshark (Debian), editcap and mergecap (the same), and scapy (PyPI).

`loop.pcapng` comes out of the guest (`tests/guest/checks/recordings.py`); `explain --json` says what the program reads.
"""

import collections
import json
import subprocess

import messages
import vectors
from comparison import Comparison
from scalings import ENCODED, SCALINGS, scaling_of


def explained(program, path, *options):
    """The objects of `explain --json`, by kind."""
    command = [str(program), "explain", str(path), "--json", *options]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert ran.returncode == 0, f"{' '.join(command)}: {ran.stdout}{ran.stderr}"
    by_kind = collections.defaultdict(list)
    for line in ran.stdout.splitlines():
        found = json.loads(line)
        by_kind[found["kind"]].append(found)
    return by_kind


def _tshark(path, wanted, protocol="obd-ii"):
    command = ["tshark", "-o", "iso15765.can.ids:0x7df,0x7e0-0x7ef", "-d", f"iso15765.subdissector,{protocol}"]
    command += ["-r", str(path), "-T", "fields"]
    for field in wanted:
        command += ["-e", field]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert ran.returncode == 0, f"{' '.join(command)}: {ran.stderr}"
    return [line.split("\t") for line in ran.stdout.splitlines()]


def _nanoseconds(text):
    seconds, _, fraction = text.partition(".")
    return int(seconds) * 10**9 + int(fraction.ljust(9, "0")[:9])


# Parameters that `explain` says in words: states and kinds.
WORDS = {*ENCODED, 0x03, 0x12, 0x1C, 0x51}


def _numbers(text):
    """Every number in a text, and by how much it may be off as it is shown."""
    found = []
    for word in text.replace(",", " ").replace(";", " ").split():
        try:
            word = word.rstrip("°")
            found.append((float(word), 0.51 * 10.0 ** -len(word.partition(".")[2])))
        except ValueError:
            pass  # another word
    return found


def _is_near(value):
    return lambda shown: abs(shown[0] - value) <= shown[1] + abs(value) * 1e-3


def _compare_by_scapy(comparison, raw, text):
    """One reply: what scapy's OBD layer reads in it stands in the words of `explain`. Returns its service."""
    from scapy.contrib.automotive.obd.obd import OBD
    from scapy.fields import ScalingField

    layer, service = OBD(raw), raw[0]
    where = f"{raw.hex(' ')}: {text}"
    if service in (0x43, 0x47, 0x4A):
        codes = [word for word in text.split() if word[0] in "PCBU" and len(word) == 5 and word[1:].isalnum()]
        comparison.same("codes", codes, [vectors.code_of(dtc) for dtc in layer.dtcs], where)
    elif service == 0x44:
        comparison.same("cleared", True, text.endswith("cleared"), where)
    elif service == 0x7F:
        comparison.same("refusal", True, f"${layer.request_service_id:02X}" in text, where)
    elif service == 0x49 and raw[1] % 0x20:
        record = layer.data_records[0].payload
        names = {2: "vehicle_identification_numbers", 4: "calibration_identifications", 0x0A: "ecu_names"}
        if raw[1] in names:
            read = [item.replace(b"\0", b"").decode("ascii") for item in getattr(record, names[raw[1]])]
        elif raw[1] == 6:
            read = [item.hex().upper() for item in record.calibration_verification_numbers]
        else:
            read = [str(count) for count in record.data]
        missing = [item for item in read if item not in text]
        comparison.same(f"InfoType {raw[1]:02X}", [], missing, where)
    elif service in (0x41, 0x42, 0x46, 0x48, 0x49):
        name, kind = {0x46: ("mid", "MID"), 0x48: ("tid", "TID"), 0x49: ("iid", "InfoType")}.get(service, ("pid", "PID"))
        subject = ""
        for record in layer.data_records:
            if subject == "PID 10":
                break  # of which it leaves a byte over: what follows is shifted
            number = record.getfieldval(name)
            subject = f"{kind} {number:02X}"
            if (service, number) == (0x42, 0x02):
                comparison.same(subject, True, vectors.code_of(record.dtc) in text or raw[-2:] == b"\0\0", where)
            elif number % 0x20 == 0:
                flags = [record.payload.getfieldval(field.name) for field in getattr(record.payload, "fields_desc", [])]
                if not flags or isinstance(flags[0], bytes):
                    comparison.same(f"mask {number:02X} of {service:02X} raw", False, True, where)
                    continue
                members = [f"{member:02X}" for member in vectors.members_of(flags[0]) if member != number + 0x20]
                said = [word for word in text.replace(",", " ").split() if len(word) == 2 and word.upper() == word]
                comparison.same(f"mask {number:02X} of {service:02X}", members, [m for m in members if m in said], where)
            else:
                fields = getattr(record.payload, "fields_desc", [])
                scaled = [field.name for field in fields if isinstance(field, ScalingField)]
                read = [float(record.payload.getfieldval(name)) for name in scaled]
                found = [value for value in read if any(map(_is_near(value), _numbers(text)))]
                comparison.same(subject, read, found, where)
    return service


def group(program, results, figure):
    def same_frames(path, resolution=1):
        """tshark and the program agree on every frame: number, instant, direction, identifier, length, comments."""
        ours = explained(program, path, "--level", "frames")
        names = ["frame.number", "frame.time_epoch", "frame.packet_flags_direction", "can.id", "can.len", "frame.comment"]
        theirs = _tshark(path, names)
        assert len(theirs) == len(ours["frame"]), f"{path}: {len(theirs)} packets, {len(ours['frame'])} frames explained"
        for frame, row in zip(ours["frame"], theirs):
            number, epoch, direction, identifier, length, _ = row
            assert int(number) == frame["frame"], row
            assert _nanoseconds(epoch) // resolution == frame["unix_ns"] // resolution, (row, frame)
            if direction:
                assert {"0x00000001": "in", "0x00000002": "out"}[direction] == frame["direction"], (row, frame)
            assert int(identifier, 0) == int(frame["id"], 16), (row, frame)
            assert int(length, 0) == frame["length"], (row, frame)
        return ours, theirs

    def to_show():
        """The recording with stand-ins."""
        path = results / "to-show.pcapng"
        path.unlink(missing_ok=True)
        command = [str(program), "explain", str(results / "loop.pcapng"), "--redact", str(path)]
        ran = subprocess.run(command, capture_output=True, text=True, timeout=300)
        assert ran.returncode == 0, f"{' '.join(command)}: {ran.stdout}{ran.stderr}"
        return path

    def tshark_reads_recordings_as_explain_does():
        frames, vins = 0, []
        for path in (results / "loop.pcapng", results / "kinds.pcapng", to_show()):
            ours, theirs = same_frames(path)
            frames += len(theirs)
            told = {comment["text"] for comment in ours["comment"]}
            for row in theirs:
                if "car: " in row[5]:
                    # Several comments of a packet come joined by commas.
                    assert any(text in row[5] for text in told), row
        # Single values, codes and the VIN, by its ISO 15765 and OBD-II layers, in the words of `explain`.
        names = sorted({field for scaling in SCALINGS.values() for field in scaling.tshark})
        comparison = Comparison("tshark 4.0", "recordings")
        for path in (results / "loop.pcapng", results / "to-show.pcapng"):
            said = {message["last_frame"]: message for message in explained(program, path)["message"]}
            for number, vin, *row in _tshark(path, ["frame.number", "obd-ii.VIN", *(f"obd-ii.{name}" for name in names)]):
                message = said.get(int(number))
                if vin:
                    assert message["text"].endswith(f" {vin}"), (vin, message)
                    assert messages.check_digit(vin) == vin[8], vin
                    vins.append(vin)
                read = [float(int(value, 16) if value.startswith("0x") else value) for value in row if value]
                raw = bytes.fromhex(message["bytes"]) if message else b""
                if raw[:1] == b"\x41" and len(raw) == 2 + messages.PID_LENGTH.get(raw[1], 0) and raw[1] not in WORDS:
                    found = [near for near in read if any(map(_is_near(near), _numbers(message["text"])))]
                    wanted = scaling_of(raw[1]).values(raw[2:]) if not read else read
                    comparison.same(f"PID {raw[1]:02X}", wanted, found, message)
            data = {row[0] for row in _tshark(path, ["data.data"], "data")}
            assert any(message["text"].startswith("1 confirmed code: P0455") for message in said.values())
            assert "43010455" in data, data
        comparison.conclude()
        assert comparison.compared >= 40 and len(set(vins)) == 2, f"{comparison.compared} values, VINs {vins}"
        assert vins[0].encode() not in (results / "to-show.pcapng").read_bytes()
        figure("frames of recordings read by tshark as by explain", frames, "frames")
        figure("values of a recording read by tshark as by explain", comparison.compared, "values")

    def scapy_reads_recordings_as_explain_does():
        import scapy.layers.can  # noqa: F401 registers link type 227
        from scapy.utils import rdpcap

        comparison = Comparison("scapy 2.8", "recordings")
        for path in (results / "loop.pcapng", to_show()):
            ours = explained(program, path, "--level", "frames")["frame"]
            theirs = rdpcap(str(path))
            assert len(theirs) == len(ours)
            for frame, packet in zip(ours, theirs):
                assert packet.identifier == int(frame["id"], 16), (frame, packet)
                assert bytes(packet.data) == bytes.fromhex(frame["data"]), (frame, packet)
            services = set()
            for message in explained(program, path)["message"]:
                if message["role"] == "7E8 to tester":
                    services.add(_compare_by_scapy(comparison, bytes.fromhex(message["bytes"]), message["text"]))
            # A full session: every service that the car has, but for on-board tests and controls.
            assert services >= {0x41, 0x42, 0x43, 0x44, 0x47, 0x49, 0x4A}, services
        comparison.conclude()
        figure("readings of a recording by scapy as by explain", comparison.compared, "readings")

    def recordings_of_other_writers_are_explained():
        loop, kinds = results / "loop.pcapng", results / "kinds.pcapng"
        whole = explained(program, loop)["message"]

        def other(name, tool, words):
            made = results / name
            command = [tool, *(str(made) if word == "OUT" else str(word) for word in words)]
            ran = subprocess.run(command, capture_output=True, text=True, timeout=60)
            assert ran.returncode == 0, f"{' '.join(command)}: {ran.stderr}"
            return made

        microseconds = other("micro.pcap", "editcap", ["-F", "pcap", loop, "OUT"])
        nanoseconds = other("nano.pcap", "editcap", ["-F", "nsecpcap", loop, "OUT"])
        rewritten = other("again.pcapng", "tshark", ["-r", loop, "-w", "OUT"])
        for path, resolution in ((microseconds, 1000), (nanoseconds, 1), (rewritten, 1)):
            same_frames(path, resolution)
            texts = [message["text"] for message in explained(program, path)["message"]]
            assert texts == [message["text"] for message in whole], path
        merged = other("merged.pcapng", "mergecap", ["-w", "OUT", loop, kinds])
        same_frames(merged)
        names = {found["interface"] for found in explained(program, merged)["interface"]}
        assert {"vcan1", "vcan2"} <= names, names
        cut = other("cut.pcapng", "editcap", ["-r", loop, "OUT", "5-20"])
        assert len(explained(program, cut, "--level", "frames")["frame"]) == 16

    return [
        tshark_reads_recordings_as_explain_does,
        scapy_reads_recordings_as_explain_does,
        recordings_of_other_writers_are_explained,
    ]
