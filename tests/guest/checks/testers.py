"""Strangers' testers read all codes of a car, in both dialects and on either size of identifiers, while the car records.

Sources: scapy's OBD scanner over its own transport and over the kernel's, package can-isotp over python-can (all PyPI), and
the kernel's ISO 15765-2 sockets (net/can/isotp.c) with nothing above. What they read is held against the car's memory; the
analysers (`tests/peers/strangers.py`) read the recordings afterwards.
"""

import concurrent.futures
import contextlib
import json
import logging
import pathlib
import socket
import tempfile
import time

import can
import isotp

import frames
import program
import two_ecus

INTERFACE = "vcan3"
# Services of the three lists of codes (SAE J1979), and the field of the car's snapshot with the same.
LISTS = {0x03: "confirmed", 0x07: "pending", 0x0A: "permanent"}
# SAE J1979-2: codes of the emissions system by status mask ($08 confirmed, $04 pending), and permanent ones.
UDS_LISTS = {"19423308FF": "confirmed", "19423304FF": "pending", "195533": "permanent"}
PATIENCE, TRIES = 2.0, 3
# The scanner asks for many things that a car does not have, and each is answered by silence.
UNSUPPORTED = 0.3
# The several-ecus car: engine, transmission and body ECU on 29 bits (ISO 15765-4).
THREE = ((0x18DA10F1, 0x18DAF110), (0x18DA18F1, 0x18DAF118), (0x18DA40F1, 0x18DAF140))


def code_of(high, low):
    """Five places of a code from its two bytes, SAE J2012."""
    return f"{'PCBU'[high >> 6]}{high >> 4 & 3}{high & 15:X}{low:02X}"


def codes_in(answer):
    """The codes of an answer to $03, $07, $0A."""
    assert len(answer) == 2 + 2 * answer[1], answer.hex(" ")
    return {code_of(*answer[place : place + 2]) for place in range(2, len(answer), 2)}


def uds_codes_in(answer):
    """The codes of an answer to $19 $42 (a severity before each) or $19 $55 (none); ISO 14229-1."""
    first, code, size = (6, 1, 5) if answer[:2] == b"\x59\x42" else (5, 0, 4)
    assert answer[0] == 0x59 and (len(answer) - first) % size == 0, answer.hex(" ")
    return {code_of(*answer[place + code : place + code + 2]) for place in range(first, len(answer), size)}


def snapshot(car):
    """What the car's memory holds, by the control socket."""
    with socket.socket(socket.AF_UNIX) as control:
        control.settimeout(PATIENCE)
        control.connect(car.control)
        control.sendall(b'{"snapshot": true}\n')
        for line in control.makefile():
            said = json.loads(line)
            if "snapshot" in said:
                return {name: set(said["snapshot"][name]) for name in LISTS.values()}
    raise AssertionError("the control socket says nothing")


def ask(tester, request):
    """The answer to a request, which is put again where none comes."""
    for _ in range(TRIES):
        if (answer := tester.ask(request)) is not None:
            return bytes(answer)
    raise AssertionError(f"{type(tester).__name__}: no answer to {request.hex(' ')}")


class KernelTester:
    """The kernel's transport and nothing else."""

    def __init__(self, request, answer):
        self.socket = two_ecus.kernel_tester(INTERFACE, request, answer)
        self.socket.settimeout(PATIENCE)

    def ask(self, request):
        self.socket.send(request)
        try:
            return self.socket.recv(4095)
        except TimeoutError:
            return None

    def close(self):
        self.socket.close()


class PackageTester:
    """can-isotp over python-can."""

    def __init__(self, request, answer):
        self.bus = can.Bus(interface="socketcan", channel=INTERFACE)
        mode = isotp.AddressingMode.Normal_29bits if answer > 0x7FF else isotp.AddressingMode.Normal_11bits
        address = isotp.Address(mode, rxid=answer, txid=request)
        self.stack = isotp.CanStack(self.bus, address=address, params={"tx_padding": 0x00, "blocksize": 0, "stmin": 0})
        self.stack.start()

    def ask(self, request):
        self.stack.send(request)
        return self.stack.recv(block=True, timeout=PATIENCE)

    def close(self):
        self.stack.stop()
        self.bus.shutdown()


def scan(transport, request, answer):
    """scapy's OBD scanner on one ECU; the codes by list, and how many questions had an answer."""
    from scapy.contrib.automotive.obd.obd import OBD
    from scapy.contrib.automotive.obd.scanner import OBD_S03_Enumerator, OBD_S07_Enumerator, OBD_S0A_Enumerator, OBD_Scanner
    from scapy.contrib.cansocket_native import NativeCANSocket
    from scapy.contrib.isotp import ISOTPNativeSocket, ISOTPSoftSocket

    logging.getLogger("scapy.contrib.automotive").setLevel(logging.WARNING)
    settings = {"tx_id": request, "rx_id": answer, "padding": True, "basecls": OBD}
    with contextlib.ExitStack() as open_ones:
        if transport == "its own transport":
            # A filter of 11 bits that leaves the flag of the longer ones out lets those through too: this mask has it.
            can_filter = {"can_id": answer, "can_mask": 0x80000000 | 0x1FFFFFFF}
            if answer > 0x7FF:
                can_filter["can_id"] |= frames.EXTENDED
            below = NativeCANSocket(INTERFACE, can_filters=[can_filter])
            open_ones.callback(below.close)
            above = ISOTPSoftSocket(below, **settings)
        else:
            above = ISOTPNativeSocket(INTERFACE, **settings)
        open_ones.callback(above.close)
        lists = {f"OBD_S{service:02X}_Enumerator_kwargs": {"timeout": PATIENCE} for service in LISTS}
        of_lists = {0x03: OBD_S03_Enumerator, 0x07: OBD_S07_Enumerator, 0x0A: OBD_S0A_Enumerator}
        wanted, found, answered = None, {}, 0
        for _ in range(TRIES):
            scanner = OBD_Scanner(above, test_cases=wanted, timeout=UNSUPPORTED, **lists)
            scanner.scan()
            results = [result for enumerator in scanner.enumerators for result in enumerator.results]
            for _, asked, reply, _, _ in (result for result in results if result[2] is not None):
                answered += 1
                if reply.service - 0x40 in LISTS:
                    found[LISTS[asked.service]] = {code_of(*bytes(dtc)[:2]) for dtc in reply.dtcs}
            # What had no answer is scanned again.
            wanted = [cls for service, cls in of_lists.items() if LISTS[service] not in found]
            if not wanted:
                break
    return found, answered


def at_once(do, places):
    """What each of the calls `do(place)` gives, all begun at once: so the answers of the ECUs come among each other."""
    with concurrent.futures.ThreadPoolExecutor(max_workers=len(places)) as threads:
        return list(threads.map(do, places))


def group(twotrip, results, figure):
    @contextlib.contextmanager
    def opening():
        with tempfile.TemporaryDirectory() as folder:
            yield pathlib.Path(folder)

    def read_by(kind, ecus, lists, taken_apart):
        with contextlib.ExitStack() as open_ones:
            testers = []
            for ecu in ecus:
                testers.append(kind(*ecu))
                open_ones.callback(testers[-1].close)
            found = {name: set() for name in LISTS.values()}
            for request, name in lists.items():
                for answer in at_once(lambda tester: ask(tester, request), testers):
                    found[name] |= taken_apart(answer)
            return found

    def session(name, ecus, scenario, *options, scanner=None, lists=None, taken_apart=codes_in):
        lists = lists or {bytes([service]): of for service, of in LISTS.items()}
        path = results / f"testers-{name}.pcapng"
        # can-isotp pays flow control when its thread gets its turn, which in an emulated machine may be after 75 ms.
        options = ("--record", str(path), "--timers", "generic", *options)
        with program.car(twotrip, scenario, INTERFACE, *options) as car:
            holds = snapshot(car)
            assert all(holds.values()), f"a memory with codes in each list is wanted: {holds}"
            for kind in (KernelTester, PackageTester):
                found = read_by(kind, ecus, lists, taken_apart)
                assert found == holds, f"{kind.__name__} found {found}, the memory holds {holds}"
            if scanner:
                started = time.monotonic()
                each = at_once(lambda ecu: scan(scanner, *ecu), ecus)
                found = {of: set().union(*(codes.get(of, ()) for codes, _ in each)) for of in LISTS.values()}
                assert found == holds, f"scapy's scanner found {found}, the memory holds {holds}"
                answered, took = sum(count for _, count in each), time.monotonic() - started
                what = f"scapy's OBD scanner over {scanner}, {name}, {len(ecus)} ECUs at once"
                figure(f"{what}, {took:.0f} s", answered, "answers")

    def classic_on_11_bits(folder):
        # The engine ECU has three codes, the body ECU four.
        ecus = two_ecus.SIZES["11-bit"][1:]
        session("11-bit", ecus, program.QUICK, "--vehicle", two_ecus.vehicle(folder), scanner="its own transport")

    def classic_on_29_bits(_):
        session("29-bit", THREE, "several-ecus", scanner="the kernel's transport")

    def uds(name, ecus):
        lists = {bytes.fromhex(request): of for request, of in UDS_LISTS.items()}
        options = ("--vehicle", "compact-on-uds", "--identifiers", name)
        session(f"uds-{name}", ecus, program.QUICK, *options, lists=lists, taken_apart=uds_codes_in)

    def j1979_2_on_11_bits(_):
        uds("11-bit", ((frames.PHYSICAL, frames.ANSWER),))

    def j1979_2_on_29_bits(_):
        uds("29-bit", THREE[:1])

    return (
        "counted_testers",
        opening,
        [classic_on_11_bits, classic_on_29_bits, j1979_2_on_11_bits, j1979_2_on_29_bits],
    )
