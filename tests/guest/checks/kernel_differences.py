"""Where the kernel's ISO 15765-2 (CAN_ISOTP, net/can/isotp.c) and this program part, and where they only seem to.

A raw socket plays the same frames to both: to the car on one interface, to a kernel socket on another. Each check names a
trait of the kernel, and holds both to what they do: if either changes, this list is wrong. What the standard wants is
beside it, "(from memory)" where no public source confirms it. Traits that only a program's socket can show, not the
bus (K13, K14 in part, K19), are shown there.
"""

import contextlib
import errno
import functools
import select
import socket
import struct
import subprocess
import time

import frames
import program

CAR, LENIENT, LEGISLATED, KERNEL = "vcan0", "vcan2", "vcan3", "vcan1"
SOL_CAN_ISOTP, CAN_ISOTP_OPTS = 106, 1
TX_PADDING = 0x0004
# N_Cr of the kernel is 1 s, and here the car's too.
AFTER_N_CR = 1.4
# The machine is slow and its speed swings: a check is made anew when it failed, for a frame may have missed its time.
TRIES = 4


def _kernel_socket(flags=TX_PADDING, interface=KERNEL, receive=frames.PHYSICAL, send=frames.ANSWER):
    peer = socket.socket(socket.AF_CAN, socket.SOCK_DGRAM, socket.CAN_ISOTP)
    peer.setsockopt(SOL_CAN_ISOTP, CAN_ISOTP_OPTS, struct.pack("=II4B", flags, 0, 0, 0, 0, 0))
    peer.bind((interface, receive, send))
    peer.settimeout(2.0)
    return peer


class Ecu:
    """Either ECU, seen by a raw socket; `messages` is what the kernel's application got."""

    def __init__(self, interface, peer=None):
        self.interface = interface
        self.bus = frames.Bus(interface)
        self.peer = peer

    def send(self, text, identifier=frames.PHYSICAL):
        head, dots, pad = text.partition("..")
        data = bytes.fromhex(head)
        self.bus.send(identifier, data.ljust(8, bytes.fromhex(pad) if pad.strip() else b"\0") if dots else data)

    def hears(self, quiet=0.15):
        """Data of the frames on 7E8 until it is quiet."""
        return [data for identifier, data in self.bus.collect(quiet) if identifier == frames.ANSWER]

    def after(self, *texts, quiet=0.15):
        self.hears(0.05)
        for text in texts:
            self.send(text)
        return self.hears(quiet)

    def spread(self, count, quiet):
        """Seconds from the first to the last of so many consecutive frames, numbered from 1."""
        times = []
        while len(times) < count:
            frame = self.bus.receive(quiet)
            assert frame is not None, f"{self.interface}: {len(times)} of {count} frames"
            if frame[0] == frames.ANSWER and frame[1][0] == 0x20 | (len(times) + 1):
                times.append(time.monotonic())
        return times[-1] - times[0]

    def message(self):
        """The next message that the kernel's application gets, or None."""
        _clear_error(self.peer)
        ready, _, _ = select.select([self.peer], [], [], 0.3)
        return self.peer.recv(5000) if ready else None


class Both:
    def __init__(self, car, lenient, legislated, kernel):
        self.car = car
        self.lenient = lenient
        self.legislated = legislated
        self.kernel = kernel


def flow_control(heard):
    """Flow status of each flow control heard."""
    return [data[0] & 0x0F for data in heard if data[0] >> 4 == 3]


def consecutive(heard):
    """Sequence numbers of the consecutive frames heard."""
    return [data[0] & 0x0F for data in heard if data[0] >> 4 == 2]


REFUSED = bytes.fromhex("037F051100000000")  # the car has got a whole message of service $05


def group(twotrip):
    @contextlib.contextmanager
    def opening():
        with contextlib.ExitStack() as stack:
            def start(interface, *options):
                options = ("--timing", "fast", "--pace", "0", *options)
                return stack.enter_context(program.car(twotrip, "codes-on-demand", interface, *options))

            car = start(CAR, "--timers", "generic")
            start(LENIENT, "--timers", "generic", "--dlc", "lenient")
            start(LEGISLATED)
            peer = stack.enter_context(_kernel_socket())
            ecus = [Ecu(CAR), Ecu(LENIENT), Ecu(LEGISLATED), Ecu(KERNEL, peer)]
            for ecu in ecus:
                stack.callback(ecu.bus.close)
            yield Both(*ecus)
            assert car.is_running()

    def sender(both):
        """Makes both send a first frame of 43 bytes; gives the pair."""
        both.car.hears(0.05)
        both.car.send("02 09 08 ..")
        both.kernel.hears(0.05)
        _clear_error(both.kernel.peer)
        # Not to wait for flow control: a socket with a message under way would block.
        both.kernel.peer.setblocking(False)
        both.kernel.peer.send(bytes(43))
        both.kernel.peer.settimeout(2.0)
        for ecu in (both.car, both.kernel):
            heard = ecu.hears(0.05)
            assert [data[0] >> 4 for data in heard] == [1], f"{ecu.interface}: {heard}"
        return both.car, both.kernel

    def k01_the_kernel_does_not_pad_unless_told(both):
        # ISO 15765-4: every frame has eight bytes (from memory). The car pads always.
        with contextlib.closing(_kernel_socket(0, KERNEL, 0x7E1, 0x7E9)) as plain:
            with frames.Bus(KERNEL) as bus:
                bus.send(0x7E1, bytes.fromhex("1008050000000000"))
                assert bus.receive(1.0) == (0x7E9, b"\x30\x00\x00"), "flow control of the kernel has three bytes"
                bus.send(0x7E1, bytes.fromhex("2101020000000000"))
                plain.recv(16)
        assert both.car.after("10 08 05 00 00 00 00 00", "21 01 02 ..") == [bytes.fromhex("3000000000000000"), REFUSED]
        # And so a strict ECU does not hear an unpadded tester; a lenient one does.
        assert both.car.after("02 01 00") == []
        assert both.lenient.after("02 01 00")[0][:3] == b"\x06\x41\x00"

    def k02_the_kernel_waits_a_second(both):
        # N_Bs of ISO 15765-4 is 75 ms, of ISO 15765-2 1000 ms.
        assert both.legislated.after("02 09 08 ..", quiet=0.05)[0][0] == 0x10
        _, kernel = sender(both)
        time.sleep(0.3)
        assert consecutive(kernel.after("30 00 00 ..")) == [1, 2, 3, 4, 5, 6]
        assert consecutive(both.legislated.after("30 00 00 ..")) == []

    def k03_the_kernel_takes_first_frames_of_6_and_7_bytes(both):
        # ISO 15765-2: FF_DL below 8 is ignored.
        for length in range(1, 8):
            text = f"10 0{length} 05 00 00 00 00 00"
            assert both.car.after(text) == [], text
            assert flow_control(both.kernel.after(text)) == ([0] if length >= 6 else []), text
        # Leave nothing half done behind.
        both.kernel.after("21 00 ..")
        both.kernel.message()

    def k04_the_kernel_takes_short_escape_frames(both):
        # ISO 15765-2:2016: an escape with a length that needs none is ignored (from memory).
        text = "10 00 00 00 00 14 05 00"
        assert both.car.after(text) == []
        assert flow_control(both.kernel.after(text)) == [0]
        both.kernel.after("21 00 ..", "22 00 ..", "23 00 ..")
        assert len(both.kernel.message() or b"") == 20

    def k05_length_zero_is_the_escape_for_both(both):
        text = "10 00 05 0C 0D 05 04 06"
        assert flow_control(both.car.after(text)) == [2]
        assert flow_control(both.kernel.after(text)) == [2]

    def k06_the_kernel_stops_its_timer_at_a_short_consecutive_frame(both):
        # ISO 15765-2 (from memory): the frame is ignored and N_Cr goes on.
        for ecu in (both.lenient, both.kernel):
            assert flow_control(ecu.after("10 14 05 00 00 00 00 00", "21 00 00")) == [0]
        time.sleep(AFTER_N_CR)
        assert both.lenient.after("21 00 ..", "22 00 ..") == []
        both.kernel.after("21 00 ..", "22 00 ..")
        assert len(both.kernel.message() or b"") == 20, "the kernel would wait for ever"

    def k07_a_new_message_takes_the_place_of_a_half_one_for_both(both):
        assert flow_control(both.car.after("10 14 05 00 00 00 00 00", "10 08 05 00 00 00 00 00")) == [0, 0]
        assert both.car.after("21 01 02 ..") == [REFUSED]
        assert flow_control(both.kernel.after("10 14 05 00 00 00 00 00", "10 08 05 00 00 00 00 00")) == [0, 0]
        both.kernel.after("21 01 02 ..")
        assert len(both.kernel.message() or b"") == 8, "no error is told, the old message is gone"

    def k08_flow_control_counts_only_while_awaited_for_both(both):
        for ecu in sender(both):
            ecu.send("30 00 1E ..")
            time.sleep(0.04)
            ecu.send("32 00 00 ..")
            assert consecutive(ecu.hears(0.3)) == [1, 2, 3, 4, 5, 6], ecu.interface

    def k09_the_kernel_keeps_what_a_wait_said(both):
        # ISO 15765-2: block size and STmin of a WAIT mean nothing. The kernel keeps those of the first flow control.
        car, kernel = sender(both)
        assert consecutive(car.after("31 01 00 ..", "30 00 00 ..")) == [1, 2, 3, 4, 5, 6]
        assert consecutive(kernel.after("31 01 00 ..", "30 00 00 ..")) == [1]
        for _ in range(5):
            kernel.after("30 00 00 ..", quiet=0.02)

    def k10_both_wait_as_often_as_they_are_told(both):
        for ecu in sender(both):
            for _ in range(12):
                ecu.send("31 00 00 ..")
                time.sleep(0.01)
            assert consecutive(ecu.after("30 00 00 ..")) == [1, 2, 3, 4, 5, 6], ecu.interface

    def k11_reserved_values_of_flow_control_for_both(both):
        # STmin 80 is 127 ms; flow status 3 ends the transfer.
        for ecu in sender(both):
            ecu.send("30 00 80 ..")
            assert ecu.spread(6, quiet=1.0) >= 0.95 * 5 * 0.127, ecu.interface
        for ecu in sender(both):
            assert consecutive(ecu.after("33 00 00 ..", "30 00 00 ..")) == [], ecu.interface
        _clear_error(both.kernel.peer)

    def k12_neither_is_faster_than_st_min(both):
        for ecu in sender(both):
            ecu.send("30 00 14 ..")
            assert ecu.spread(6, quiet=1.0) >= 0.95 * 5 * 0.020, ecu.interface

    def k13_while_a_message_leaves(both):
        # A second message: the kernel's socket does not take it, the car drops the request and goes on.
        car, kernel = sender(both)
        try:
            kernel.peer.setblocking(False)
            kernel.peer.send(bytes(43))
        except BlockingIOError:
            pass
        else:
            raise AssertionError("the kernel took a second message")
        finally:
            kernel.peer.settimeout(2.0)
        assert car.after("02 01 00 ..") == []
        for ecu in (car, kernel):
            assert consecutive(ecu.after("30 00 00 ..")) == [1, 2, 3, 4, 5, 6], ecu.interface

    def k14_each_kernel_socket_answers(both):
        with contextlib.closing(_kernel_socket()) as second:
            assert flow_control(both.kernel.after("10 08 05 00 00 00 00 00")) == [0, 0]
            both.kernel.after("21 00 ..")
            second.recv(16)
            both.kernel.message()
        assert flow_control(both.car.after("10 08 05 00 00 00 00 00", "21 00 ..")) == [0]

    def k15_the_kernel_takes_longer_messages(both):
        # Legislated messages need no escape form; the car takes 4095 bytes. The kernel: 8300 from 6.4 on, 66000 before.
        assert flow_control(both.car.after("10 00 00 00 10 00 05 00")) == [2]
        assert flow_control(both.kernel.after("10 00 00 00 10 00 05 00")) == [0]
        for ecu in (both.car, both.kernel):
            assert flow_control(ecu.after("10 00 7F FF FF FF 05 00")) == [2], ecu.interface

    def k16_4095_bytes_need_no_escape(both):
        peer = both.kernel.peer
        for length, head in ((4095, "1F FF"), (4096, "10 00 00 00 10 00")):
            both.kernel.hears(0.05)
            peer.setblocking(False)
            peer.send(bytes(length))
            peer.settimeout(2.0)
            heard = both.kernel.hears(0.1)
            assert heard[0].startswith(bytes.fromhex(head)), heard
            both.kernel.after("32 00 00 ..")
            _clear_error(peer)

    def k17_functional_identifiers_are_nothing_special_to_the_kernel(both):
        # ISO 15765-4: single frames only on 7DF.
        first = "10 08 05 00 00 00 00 00"
        with contextlib.closing(_kernel_socket(receive=frames.FUNCTIONAL)):
            both.kernel.hears(0.05)
            both.kernel.send(first, frames.FUNCTIONAL)
            assert flow_control(both.kernel.hears()) == [0]
        both.car.hears(0.05)
        both.car.send(first, frames.FUNCTIONAL)
        assert both.car.hears() == []
        # FD frames are invisible to both.
        for ecu in (both.car, both.kernel):
            with frames.Bus(ecu.interface, flexible=True) as flexible:
                flexible.send_flexible(frames.PHYSICAL, bytes.fromhex(first))
            assert ecu.hears() == [], ecu.interface

    def k18_each_frame_follows_the_one_before(both):
        # The kernel waits for its own frame to come back, the car for the queue to have taken it: on a bus without a
        # bit rate the same.
        for ecu in sender(both):
            assert consecutive(ecu.after("30 00 00 ..")) == [1, 2, 3, 4, 5, 6], ecu.interface
        # On a virtual one with a slow queue the frame comes back at once all the same: the kernel goes on, and frames
        # that find no room are lost. The car tries each again until it is taken (N_As, 1000 ms).
        with _slow_pair() as (near, far):
            options = ("--timing", "fast", "--pace", "0", "--timers", "generic")
            with program.car(twotrip, "codes-on-demand", near, *options), frames.Bus(far) as bus:
                bus.send(frames.PHYSICAL, bytes.fromhex("0209080000000000"))
                heard = _slow_answer(bus)
                assert consecutive(heard) == [1, 2, 3, 4, 5, 6], f"the car: {heard}"
            with contextlib.closing(_kernel_socket(interface=near)) as peer, frames.Bus(far) as bus:
                peer.send(bytes(43))
                heard = _slow_answer(bus)
                assert 1 <= len(consecutive(heard)) < 6, f"the kernel: {heard}"

    def k19_a_fallen_interface_is_an_error_to_a_socket(both):
        for ecu in (both.car, both.kernel):
            for state in ("down", "up"):
                subprocess.run(["ip", "link", "set", ecu.interface, state], check=True)
        try:
            both.kernel.peer.recv(16)
        except OSError as error:
            assert error.errno == errno.ENETDOWN, error
        else:
            raise AssertionError("the kernel's socket noticed nothing")
        for ecu in (both.car, both.kernel):
            ecu.bus.close()
            ecu.bus = frames.Bus(ecu.interface)
        end = time.monotonic() + 10
        while not both.car.after("02 01 00 .."):
            assert time.monotonic() < end, "the car does not come back"

    checks = [
        k01_the_kernel_does_not_pad_unless_told,
        k02_the_kernel_waits_a_second,
        k03_the_kernel_takes_first_frames_of_6_and_7_bytes,
        k04_the_kernel_takes_short_escape_frames,
        k05_length_zero_is_the_escape_for_both,
        k06_the_kernel_stops_its_timer_at_a_short_consecutive_frame,
        k07_a_new_message_takes_the_place_of_a_half_one_for_both,
        k08_flow_control_counts_only_while_awaited_for_both,
        k09_the_kernel_keeps_what_a_wait_said,
        k10_both_wait_as_often_as_they_are_told,
        k11_reserved_values_of_flow_control_for_both,
        k12_neither_is_faster_than_st_min,
        k13_while_a_message_leaves,
        k14_each_kernel_socket_answers,
        k15_the_kernel_takes_longer_messages,
        k16_4095_bytes_need_no_escape,
        k17_functional_identifiers_are_nothing_special_to_the_kernel,
        k18_each_frame_follows_the_one_before,
        k19_a_fallen_interface_is_an_error_to_a_socket,
    ]
    return ("kernel_differences", opening, [_patient(check) for check in checks])


def _patient(check):
    @functools.wraps(check)
    def checked(both):
        for left in reversed(range(TRIES)):
            try:
                return check(both)
            except (AssertionError, OSError):
                if not left:
                    raise
                # What is half done on either side runs out, and what the kernel had to tell of it is heard.
                time.sleep(AFTER_N_CR)
                for ecu in (both.car, both.lenient, both.legislated, both.kernel):
                    ecu.hears(0.05)
                while both.kernel.message() is not None:
                    pass

    return checked


@contextlib.contextmanager
def _slow_pair():
    """A vxcan pair whose near end sends 62 frames a second and keeps three waiting (tc-tbf(8), 16 bytes a frame)."""
    near, far = "vk0", "vk1"
    bucket = ["tbf", "rate", "8kbit", "burst", "32", "limit", "48"]
    subprocess.run(["ip", "link", "add", near, "type", "vxcan", "peer", "name", far], check=True)
    try:
        for end in (near, far):
            subprocess.run(["ip", "link", "set", end, "up"], check=True)
        subprocess.run(["tc", "qdisc", "replace", "dev", near, "root", *bucket], check=True)
        yield near, far
    finally:
        subprocess.run(["ip", "link", "delete", near], check=True)


def _slow_answer(bus):
    """Waits for a first frame, lets all the rest come at once; the data of the frames after it."""
    first = bus.receive(5.0)
    assert first is not None and first[1][0] >> 4 == 1, f"first frame expected, got {first}"
    bus.send(frames.PHYSICAL, bytes.fromhex("3000000000000000"))
    return [data for identifier, data in bus.collect(0.5) if identifier == frames.ANSWER]


def _clear_error(peer):
    """A transfer that failed leaves its error at the socket."""
    peer.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
