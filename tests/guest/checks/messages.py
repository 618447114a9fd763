"""What answers of SAE J1979 must look like, written down apart from the program: lengths, codes, the VIN's check digit."""

# Data bytes of service $01 PIDs, SAE J1979-DA 2011 tables B1 and following (as repeated in public lists).
PID_LENGTH = {
    0x01: 4, 0x03: 2, 0x04: 1, 0x05: 1, 0x06: 1, 0x07: 1, 0x08: 1, 0x09: 1, 0x0A: 1, 0x0B: 1, 0x0C: 2, 0x0D: 1,
    0x0E: 1, 0x0F: 1, 0x10: 2, 0x11: 1, 0x12: 1, 0x13: 1, 0x14: 2, 0x15: 2, 0x16: 2, 0x17: 2, 0x18: 2, 0x19: 2,
    0x1A: 2, 0x1B: 2, 0x1C: 1, 0x1D: 1, 0x1E: 1, 0x1F: 2, 0x21: 2, 0x22: 2, 0x23: 2, 0x24: 4, 0x25: 4, 0x26: 4,
    0x27: 4, 0x28: 4, 0x29: 4, 0x2A: 4, 0x2B: 4, 0x2C: 1, 0x2D: 1, 0x2E: 1, 0x2F: 1, 0x30: 1, 0x31: 2, 0x32: 2,
    0x33: 1, 0x34: 4, 0x35: 4, 0x36: 4, 0x37: 4, 0x38: 4, 0x39: 4, 0x3A: 4, 0x3B: 4, 0x3C: 2, 0x3D: 2, 0x3E: 2,
    0x3F: 2, 0x41: 4, 0x42: 2, 0x43: 2, 0x44: 2, 0x45: 1, 0x46: 1, 0x47: 1, 0x48: 1, 0x49: 1, 0x4A: 1, 0x4B: 1,
    0x4C: 1, 0x4D: 2, 0x4E: 2, 0x51: 1, 0x52: 1, 0x53: 2, 0x54: 2, 0x55: 1, 0x56: 1, 0x57: 1, 0x58: 1, 0x59: 2,
    0x5A: 1, 0x5B: 1, 0x5C: 1, 0x5D: 2, 0x5E: 2, 0x61: 1, 0x62: 1, 0x63: 2, 0x64: 5, 0x65: 2,
    0x66: 5, 0x67: 3, 0x68: 7, 0x69: 7, 0x6C: 5, 0x8E: 1, 0x9D: 4, 0x9E: 2, 0xA2: 2,
}  # fmt: skip

# The gross leak of the fuel vapour system: SAE J2012 P0455, in the two bytes of a code (0x04 0x55).
GROSS_LEAK = bytes.fromhex("0455")


def mask_members(base, mask):
    """The parameters a supported-parameter mask names: bit A7 is `base` + 1, D0 is `base` + 32."""
    bits = int.from_bytes(mask, "big")
    return [base + 1 + place for place in range(32) if bits >> (31 - place) & 1]


def supported(ask, service):
    """All parameters of a service, by walking its masks. `ask` sends a request and returns the answer."""
    members = []
    for base in range(0x00, 0x100, 0x20):
        request = bytes([service, base]) if service != 0x02 else bytes([service, base, 0x00])
        answer = ask(request)
        head = bytes([service + 0x40]) + request[1:]
        assert answer is not None, f"{request.hex(' ')}: no answer, though the mask before announced one"
        assert answer[: len(head)] == head and len(answer) == len(head) + 4, f"{request.hex(' ')}: {answer.hex(' ')}"
        found = mask_members(base, answer[len(head) :])
        more = base + 0x20 in found
        members += [member for member in found if member != base + 0x20]
        if not more:
            break
    return members


def check_digit(vin):
    """The digit at place 9, 49 CFR 565.15(c): letters valued, weighted, summed modulo 11, 10 written X."""
    values = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", [1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9]))
    weights = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2]
    total = sum(weight * (int(c) if c.isdigit() else values[c]) for c, weight in zip(vin, weights))
    return "0123456789X"[total % 11]


def vin_of(answer):
    """The VIN in an answer to `09 02`; checks its shape and its check digit."""
    assert answer[:3] == bytes.fromhex("490201") and len(answer) == 20, f"not a VIN answer: {answer.hex(' ')}"
    vin = answer[3:].decode("ascii")
    assert vin[8] == check_digit(vin), f"check digit of {vin} is {check_digit(vin)}"
    return vin
