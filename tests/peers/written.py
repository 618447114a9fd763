"""The program's recordings in the eyes of tshark (Debian), editcap and mergecap (the same), and scapy (PyPI).

`loop.pcapng` comes out of the guest (`tests/guest/checks/recordings.py`); `explain --json` says what the program reads.
"""

import collections
import json
import subprocess

import messages


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

    def tshark_reads_recordings_as_explain_does():
        frames = 0
        for name in ("loop.pcapng", "kinds.pcapng"):
            ours, theirs = same_frames(results / name)
            frames += len(theirs)
            told = {comment["text"] for comment in ours["comment"]}
            for row in theirs:
                if "car: " in row[5]:
                    # Several comments of a packet come joined by commas.
                    assert any(text in row[5] for text in told), row
        # Single values, codes and the VIN, by its ISO 15765 and OBD-II layers, in the words of `explain`.
        path = results / "loop.pcapng"
        said = {message["last_frame"]: message["text"] for message in explained(program, path)["message"]}
        compared = 0
        for number, vin, rpm, speed, coolant in _tshark(
            path,
            [
                "frame.number",
                "obd-ii.VIN",
                "obd-ii.mode01_engine_rpm",
                "obd-ii.mode01_vehicle_speed",
                "obd-ii.mode01_engine_coolant_temp",
            ],
        ):
            text = said.get(int(number))
            if vin:
                assert text.endswith(vin), (vin, text)
            for value, unit in ((rpm, "rpm"), (speed, "km/h"), (coolant, "°C")):
                if value:
                    assert text.endswith(f" {float(value):g} {unit}"), (value, text)
            compared += any((vin, rpm, speed, coolant))
        assert compared >= 4, f"only {compared} values"
        data = {row[0] for row in _tshark(path, ["data.data"], "data")}
        assert any(text.startswith("1 confirmed code: P0455") for text in said.values())
        assert "43010455" in data, data
        figure("frames of recordings read by tshark as by explain", frames, "frames")

    def scapy_reads_recordings_as_explain_does():
        from scapy.contrib.automotive.obd.obd import OBD
        from scapy.utils import rdpcap

        path = results / "loop.pcapng"
        ours = explained(program, path, "--level", "frames")["frame"]
        theirs = rdpcap(str(path))
        assert len(theirs) == len(ours)
        for frame, packet in zip(ours, theirs):
            assert packet.identifier == int(frame["id"], 16), (frame, packet)
            assert bytes(packet.data) == bytes.fromhex(frame["data"]), (frame, packet)
        compared = 0
        for message in explained(program, path)["message"]:
            if message["role"] != "7E8 to tester":
                continue
            raw = bytes.fromhex(message["bytes"])
            layer = OBD(raw)
            if raw[0] in (0x43, 0x47, 0x4A):
                codes = [str(code) for code in message["text"].split() if code[0] in "PCBU" and len(code) == 5]
                assert len(layer.dtcs) == len(codes) == raw[1], (message, layer)
                for dtc, code in zip(layer.dtcs, codes):
                    read = "PCBU"[dtc.location] + f"{dtc.code1:X}{dtc.code2:X}{dtc.code3:X}{dtc.code4:X}"
                    assert read == code, (message, layer)
                compared += 1
            elif raw[:2] == b"\x49\x02":
                vin = layer.data_records[0].vehicle_identification_numbers[0].decode("ascii")
                assert message["text"].endswith(vin) and messages.check_digit(vin) == vin[8], (message, vin)
                compared += 1
            elif raw[:2] == b"\x41\x0c":
                value = float(layer.data_records[0].data)
                assert message["text"].endswith(f" {value:g} rpm"), (message, value)
                compared += 1
        assert compared >= 5, f"only {compared} messages"
        figure("messages of a recording read by scapy as by explain", compared, "messages")

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
