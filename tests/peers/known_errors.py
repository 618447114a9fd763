"""What the readers are known to read wrong, or not at all, by tool and kind of check, each with the reason.

An entry whose subject is now read right, or does not occur any more, fails, so that it goes. A subject that ends in `raw`
is left as bytes, one in `length` or `places` has other lengths or places of bits, one in `rounded` a rounded scale.
"""


def each(kind, numbers, reason):
    """One entry for each of the numbers, such as `PID 66 raw`."""
    name, _, what = kind.partition(" ")
    return {f"{name} {number} {what}".rstrip(): reason for number in numbers.split()}


# Parameters that tshark's table does not have. $4F to $58 it has by name; it wants one data byte for $55 to $58, as
# an older text has them, where two are sent.
_TSHARK_RAW = each(
    "PID raw",
    "01 13 1D 1E 41 4F 50 54 55 56 57 58 5F 64 65 66 67 68 69 6A 6B 6C 6D 6E 6F 70 71 72 73 74 75 76 77 78 79 7A 7B 7C "
    "7D 7E 7F 81 82 83 84 85 86 87 88 89 8A 8B 8C 8D 8E 8F 90 91 92 93 94 98 99 9A 9B 9C 9D 9E 9F A1 A2 A3 A4 A5 A6 A7 "
    "A8 A9 AA",
    "shows the bytes without values",
)

_SCAPY_PARAMETERS = {
    **each("PID length", "10", "takes one of the two bytes of the air flow; J1979, tshark and public lists have two"),
    **each("PID rounded", "24 25 26 27 28 29 2A 2B 34 35 36 37 38 39 3A 3B 44", "has the printed 0.0000305 for 2/65536"),
    **each("PID byte C", "34 35 36 37 38 39 3A 3B", "leaves the -128 of the current out; tshark and public lists have it"),
    **each("PID places", "65", "older edition: no recommended gear"),
    **each("PID length", "6D 6E", "ends after the first of two systems; public lists have both"),
    **each("PID length", "70 71", "leaves the control status out; public lists have it"),
    **each("PID length", "83 8C 8F", "older edition; a public encyclopedia has 9, 17 and 7 bytes"),
    **each("PID byte B", "74", "1 rpm a count, with which a turbine's speed would not fit; a public list has 10"),
    **each("PID byte D", "74", "as in byte B"),
    **each("PID byte B", "7A 7B", "offset -327.68 where others have two's complement, over the same range"),
    **each("PID raw", "7F", "three times eight bytes, where public lists have three times four"),
    **each("PID places", "81 82", "one timer of eight bytes, where two of four are meant (from memory)"),
    **each(
        "PID raw",
        "84 85 86 87 88 89 8A 8B 8C 8D 8E 8F 90 91 92 93 94 98 99 9A 9B 9C 9D 9E 9F A1 A2 A3 A4 A5 A6 A7 A8 A9 AA",
        "leaves the bytes as they are",
    ),
    **each("PID bytes C and D", "41", "mirrors the bits of bytes C and D; J1979 and public lists have catalyst in bit 0"),
}

KNOWN_ERRORS = {
    # On recordings of the car (`main.py`).
    ("tshark 4.0", "values"): {
        **each("PID", "54 64 66 67 6C", "shows the bytes without values"),
    },
    ("tshark 4.0", "shape"): {
        "ECU name": "ends the text at the first zero byte and calls the rest stray; the name is `ECM`, zero, ...",
    },
    ("scapy 2.8", "values"): {
        "PID 10": "takes one of the two bytes of the air flow; J1979, tshark and public lists have two",
    },
    ("scapy 2.8", "readiness"): {
        "evap bits of PID 01": "mirrors the bits of bytes C and D; J1979 and public lists have catalyst in bit 0",
    },
    # On a recording, beside the words of `explain` (`written.py`).
    ("tshark 4.0", "recordings"): {
        **each("PID", "54 64 66 67 6C", "shows the bytes without values"),
    },
    ("scapy 2.8", "recordings"): {
        "PID 10": "takes one of the two bytes of the air flow; J1979, tshark and public lists have two",
        "PID 15": "reads FF, which says that the sensor is not used for trim, as 99.2 %",
        **each("PID", "66 67 68 69 6C", "gives values to the zeros of sensors that the first byte says are not there"),
        **{f"mask {base} of 46 raw": "has no layer for this mask" for base in ("C0", "E0")},
    },
    # On messages made from the program's tables (`vectors.py`).
    ("tshark 4.0", "parameters"): {
        **_TSHARK_RAW,
        **each("PID", "14 15 16 17 18 19 1A 1B", "shows the voltage, not the trim in the second byte"),
    },
    ("tshark 4.0", "masks"): {
        f"mask {base:02X} of {service:02X} raw": "takes masks of service $01 alone apart, up to $C0"
        for base in range(0, 0x100, 0x20)
        for service in (0x41, 0x42, 0x46, 0x48, 0x49)
        if service != 0x41 or base == 0xE0
    },
    ("tshark 4.0", "information"): {
        "ECU name": "ends the text at the first zero byte",
    },
    ("tshark 4.0", "shape of vectors"): {
        "ECU name": "ends the text at the first zero byte and calls the rest stray",
    },
    ("scapy 2.8", "parameters"): {
        **_SCAPY_PARAMETERS,
        **each("PID bytes C and D", "01", "mirrors the bits of bytes C and D; J1979 and public lists have catalyst in bit 0"),
    },
    ("scapy 2.8", "frozen parameters"): _SCAPY_PARAMETERS,
    ("scapy 2.8", "masks"): {
        f"mask {base:02X} of {service:02X} raw": "has no layer for this mask"
        for service, first in ((0x41, 0xE0), (0x42, 0xE0), (0x46, 0xC0), (0x48, 0x20), (0x49, 0x20))
        for base in range(first, 0x100, 0x20)
    },
    ("scapy 2.8", "units"): each(
        "UASID", "3A 3B 3C 3D 3E 3F 41 87 99 AD AE FB FC", "not in its table: raw numbers (the program has it from memory)"
    ),
    ("scapy 2.8", "monitors"): {
        **each("MID raw", "31", "left out of its table; public lists have EGR bank 1 there"),
        **each("MID raw", "AE AF B2 B3", "not in its table; one public list has cylinders 13 and 14, the rest is from memory"),
        **each("MID", "B0 B1", "has the particulate filters here, where one public list has cylinders 15 and 16"),
    },
    ("scapy 2.8", "other answers"): {
        "TID 01": "takes tests of service $08 for the oxygen sensor tests of service $05, in volts",
    },
    ("udsoncan 1.26", "permanent codes"): {
        "codes": "wants five bytes a code, a severity first, as $42 has them; ISO 14229-1 has four (from memory)",
    },
}
