"""Disturbances on a vcan, begun by `twotrip tell`, as plain SocketCAN programs see them.

Sources: linux/can/error.h and Linux Documentation/networking/can.rst (error message frames go to sockets that ask for them,
CAN_RAW_ERR_FILTER; vcan passes on what a process writes, measured), python-can of PyPI as a reader that asks for them, the
kernel's ISO-TP socket (wrong sequence number: EILSEQ, Documentation/networking/iso15765-2.rst).
"""

import contextlib
import errno
import pathlib
import time

import can
import frames
import kernel_tester
import program

INTERFACE = "vcan0"
ERROR_FLAG = 0x20000000
# Class bits of linux/can/error.h.
CONTROLLER, PROTOCOL, BUS_OFF, BUS_ERROR, RESTARTED = 0x04, 0x08, 0x40, 0x80, 0x100
SPEED = b"\x01\x0c"


def group(twotrip):
    @contextlib.contextmanager
    def opening():
        with program.car(twotrip, program.QUICK, INTERFACE) as car:
            yield car

    def ask(bus, timeout=2.0):
        """An answer to `01 0C`, and after how many seconds."""
        asked = time.monotonic()
        answer = bus.ask(SPEED, identifier=frames.PHYSICAL, timeout=timeout)
        return answer, time.monotonic() - asked

    def plain():
        """A socket as most programs open it: no error message frames."""
        return frames.Bus(INTERFACE, filters=[(frames.ANSWER, 0x7FF)])

    def frames_are_lost_and_late(car):
        with plain() as bus:
            car.tell("disturb drop 7E8 once")
            assert ask(bus, 0.5)[0] is None, "the answer was to be lost"
            assert ask(bus)[0][:2] == b"\x41\x0c"
            car.tell("disturb delay 7E8 400 ms once")
            answer, seconds = ask(bus)
            assert answer[:2] == b"\x41\x0c" and seconds >= 0.4, f"{answer} after {seconds} s"
            car.tell("disturb off")

    def error_frames_reach_who_asks_for_them(car):
        with can.Bus(INTERFACE, interface="socketcan") as listener, plain() as bus:
            car.tell("disturb bus-error 7E8 3 times")
            answer, _ = ask(bus)
            assert answer[:2] == b"\x41\x0c", "its controller repeats what was destroyed"
            assert not bus.collect(0.3), "a socket that did not ask for errors got one"
            heard = errors(listener, 3)
            assert all(identifier & (PROTOCOL | BUS_ERROR) == PROTOCOL | BUS_ERROR for identifier, _ in heard), heard
            # Each adds eight to the transmit error counter, data byte 6.
            assert [data[6] for _, data in heard] == [8, 16, 24], heard
            car.tell("disturb error-passive")
            ((identifier, data),) = errors(listener, 1)
            assert identifier & CONTROLLER and data[1] & 0x20, "error-passive as transmitter"
            assert ask(bus)[0], "it still takes part"
            car.tell("disturb off")

    def a_controller_off_the_bus_comes_back(car):
        with can.Bus(INTERFACE, interface="socketcan") as listener, plain() as bus:
            errors(listener, 0)
            car.tell("disturb bus-off 7E8 1500 ms")
            assert ask(bus, 0.3)[0] is None, "the frame that it left with is lost"
            assert ask(bus, 0.2)[0] is None, "it hears nothing"
            time.sleep(1.5)
            assert ask(bus)[0], "it is back"
            states = [identifier & (BUS_OFF | RESTARTED) for identifier, _ in errors(listener, 2)]
            assert states == [BUS_OFF, RESTARTED], states

    def the_interface_stays_up_where_the_car_is_gone(car):
        with plain() as bus:
            car.tell("disturb interface-down 2 s")
            begun = time.monotonic()
            assert ask(bus, 0.3)[0] is None, "the car is gone"
            state = pathlib.Path(f"/sys/class/net/{INTERFACE}/flags").read_text()
            assert int(state, 16) & 1, f"the interface is down: flags {state}"
            time.sleep(max(0.0, begun + 2.3 - time.monotonic()))
            assert ask(bus)[0], "the car is back"
            assert "interface is down" not in car.output()

    def an_ecu_asks_for_time_and_is_busy(car):
        with plain() as bus:
            car.tell("disturb response-pending 7E8 1 s once")
            first, _ = ask(bus)
            assert first == b"\x7f\x01\x78", first
            got = bus.receive(5.0)
            assert got and got[1][1:3] == b"\x41\x0c", got
            car.tell("disturb busy 7E8 once")
            answers = [ask(bus)[0] for _ in range(2)]
            assert answers[0] == b"\x7f\x01\x21" and answers[1][:2] == b"\x41\x0c", answers

    def the_kernels_transport_sees_a_wrong_sequence_number(car):
        with kernel_tester.asking(INTERFACE) as tester:
            tester.settimeout(5.0)
            car.tell("disturb wrong-sequence 7E8 once")
            tester.send(b"\x09\x02")
            try:
                answer = tester.recv(4095)
            except OSError as error:
                assert error.errno == errno.EILSEQ, error
            else:
                raise AssertionError(f"taken for whole: {answer.hex(' ')}")
            time.sleep(0.3)
            tester.send(b"\x09\x02")
            assert tester.recv(4095)[:3] == b"\x49\x02\x01"

    return (
        "disturbances",
        opening,
        [
            frames_are_lost_and_late,
            error_frames_reach_who_asks_for_them,
            a_controller_off_the_bus_comes_back,
            the_interface_stays_up_where_the_car_is_gone,
            an_ecu_asks_for_time_and_is_busy,
            the_kernels_transport_sees_a_wrong_sequence_number,
        ],
    )


def errors(listener, count):
    """The next `count` error message frames as (class bits, data); python-can asks the kernel for all of them."""
    heard = []
    end = time.monotonic() + 3.0
    while time.monotonic() < end and (len(heard) < count or count == 0):
        message = listener.recv(0.2)
        if message is None and count == 0:
            break
        if message is not None and message.is_error_frame:
            heard.append((message.arbitration_id & ~ERROR_FLAG, bytes(message.data)))
    assert len(heard) >= count, f"{len(heard)} of {count} error frames: {heard}"
    return heard
