"""What strangers' testers and the car said to each other, as tshark (Debian) puts it together and as `explain` does.

The recordings come out of the guest (`tests/guest/checks/testers.py`): scapy's scanner, can-isotp and the kernel's transport on
cars of both dialects, by identifiers of 11 and of 29 bits, several ECUs at once.
"""

import subprocess

import written

SESSIONS = ("11-bit", "29-bit", "uds-11-bit", "uds-29-bit")
# Identifiers that are ISO 15765-2, by tshark's own preferences.
IDENTIFIERS = ("iso15765.can.ids:0x7df,0x7e0-0x7ef", "iso15765.can.extended_ids:0x18da0000-0x18dbffff")


def put_together(path):
    """Each message by the number of its last frame, by tshark: identifier and bytes."""
    fields = ["frame.number", "can.id", "iso15765.message_type", "iso15765.reassembled.length", "data.data"]
    command = ["tshark", *(word for ids in IDENTIFIERS for word in ("-o", ids)), "-d", "iso15765.subdissector,data"]
    command += ["-r", str(path), "-Y", "data", "-T", "fields", *(word for field in fields for word in ("-e", field))]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert ran.returncode == 0, f"{' '.join(command)}: {ran.stderr}"
    messages = {}
    for line in ran.stdout.splitlines():
        number, identifier, kind, length, data = line.split("\t")
        # Of a message in pieces tshark shows the first ones too.
        if int(kind, 0) == 0 or length:
            messages[int(number)] = (int(identifier), bytes.fromhex(data))
    return messages


def identifier_of(role):
    """The identifier behind the words of `explain`, which names an ECU by that of its answers; ISO 15765-4."""
    sender, _, receiver = role.partition(" to ")
    if sender != "tester":
        return int(sender, 16)
    ecu = int(receiver, 16)
    return ecu - 8 if ecu <= 0x7FF else 0x18DA00F1 | (ecu & 0xFF) << 8


def group(program, results, figure):
    def tshark_puts_strangers_sessions_together_as_explain_does():
        whole = 0
        for session in SESSIONS:
            path = results / f"testers-{session}.pcapng"
            told = written.explained(program, path)["message"]
            ours = {said["last_frame"]: (identifier_of(said["role"]), bytes.fromhex(said["bytes"])) for said in told}
            theirs = put_together(path)
            differ = [(n, ours.get(n), theirs.get(n)) for n in sorted(ours | theirs) if ours.get(n) != theirs.get(n)]
            assert not differ, f"{path}: frame, by explain, by tshark: {differ[:5]}"
            long = [said for said in ours.values() if len(said[1]) > 7]
            assert len(long) >= 4, f"{path}: {len(long)} messages of several frames"
            whole += len(ours)
        figure("messages of strangers' sessions put together by tshark as by explain", whole, "messages")

    return [tshark_puts_strangers_sessions_together_as_explain_does]
