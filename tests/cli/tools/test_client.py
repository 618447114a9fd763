"""The Python client, the pytest fixture and the interface for python-can against the program; `TWOTRIP` says where that is."""

import os
import signal
import subprocess
import sys
import threading
import time

import can
import isotp
import pytest
import twotrip

CODES = pytest.mark.car("codes-on-demand", "--timing", "fast")
VIN = b"0TW00TRP3A0000042"


@CODES
def test_the_car_is_ready_told_and_looked_at(car):
    assert car.bus.startswith("local:py-") and car.ready["ecus"][0]["response"] == "7E8"
    assert car.snapshot()["confirmed"] == ["P0301", "P0302"]
    (outcome,) = car.tell("expect confirmed P0301")
    assert outcome.ok and "P0301" in outcome.text
    with pytest.raises(twotrip.NotDone, match="not as expected"):
        car.tell("expect no confirmed")
    with pytest.raises(twotrip.NotDone, match="expected: "):
        car.tell("drive udfs")
    assert not car.tell("expect no confirmed", check=False)[0].ok
    assert car.tell("monitors")[0].detail
    progress = []
    car.control.tell("drive udds", lambda text, fraction: progress.append(fraction))
    # A fast computer has no progress to tell of.
    assert all(0 < fraction <= 1 for fraction in progress)
    # It would be counted against the car.
    car.stop()
    assert car.events[-1]["event"] == "end" and car.events[-1]["expectations_met"] is False
    car.stop = lambda: 0


@CODES
def test_frames_go_both_ways(car):
    with car.join() as bus:
        bus.send(twotrip.Frame(0x7DF, bytes([1, 3, 0, 0, 0, 0, 0, 0])))
        assert bus.receive(5) == twotrip.Frame(0x7E8, bytes.fromhex("0643020301030200"))
        assert bus.receive(0.05) is None
        assert bus.receive(0) is None
        # An error frame, a long identifier: others hear them as they are.
        with car.join() as other:
            for frame in [
                twotrip.Frame(0x18DA10F1, b"\x01", extended=True),
                twotrip.Frame(0x123, b"", remote=True),
                twotrip.Frame(0x123, bytes(range(12)), fd=True),
            ]:
                other.send(frame)
                assert bus.receive(5) == frame
    with pytest.raises(twotrip.TwotripError, match="no car hosts local:nobody"):
        twotrip.LocalBus("nobody")


@CODES
def test_one_thread_sends_while_another_receives(car):
    """python-can allows it (its documentation, "Thread safety", of a bus with one sender and one receiver), and isotp does it."""
    heard = []
    with car.join() as bus, car.join() as other:

        def listen():
            until = time.monotonic() + 60
            while len(heard) < 3000 and time.monotonic() < until:
                frame = bus.receive(0.0005)
                if frame is not None and frame.id == 0x123:
                    heard.append(frame.data)

        listener = threading.Thread(target=listen)
        listener.start()
        for number in range(3000):
            bus.send(twotrip.Frame(0x321, number.to_bytes(2, "big")))
            other.send(twotrip.Frame(0x123, number.to_bytes(2, "big")))
        listener.join()
    assert heard == [number.to_bytes(2, "big") for number in range(3000)]


@CODES
def test_what_happens_is_heard(car):
    with twotrip.Control(car.control_path) as control:
        events = control.events()
        car.tell("key off")
        heard = [next(events) for _ in range(3)]
        assert {"key off", "begins `key off`"} <= {line.get("text") for line in heard}, heard


@CODES
def test_a_stranger_reads_the_car_through_python_can(car):
    with can.Bus(interface="twotrip", channel=car.bus) as bus:
        assert {"interface": "twotrip", "channel": car.bus} in can.detect_available_configs("twotrip")
        address = isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=0x7E8, txid=0x7E0)
        stack = isotp.CanStack(bus, address=address, params={"tx_padding": 0, "blocksize": 0, "stmin": 0})
        stack.start()
        try:
            bus.send(can.Message(arbitration_id=0x7DF, data=bytes.fromhex("0209020000000000"), is_extended_id=False))
            assert stack.recv(block=True, timeout=5) == b"\x49\x02\x01" + VIN
        finally:
            stack.stop()
    with can.Bus(interface="twotrip", channel=car.bus, can_filters=[{"can_id": 0x7E9, "can_mask": 0x7FF}]) as bus:
        bus.send(can.Message(arbitration_id=0x7DF, data=bytes.fromhex("0103000000000000"), is_extended_id=False))
        assert bus.recv(0.3) is None, "filtered"
    with pytest.raises(can.CanInitializationError, match="nobody"):
        can.Bus(interface="twotrip", channel="local:nobody")


def test_a_car_that_cannot_be_says_why():
    with pytest.raises(twotrip.TwotripError, match="no scenario `no-such-car` is built in"):
        twotrip.Car("no-such-car")
    with pytest.raises(twotrip.TwotripError):
        twotrip.Car("healthy", program="/nonexistent/twotrip")


def test_no_car_outlives_its_process():
    script = "import os, sys, twotrip; print(twotrip.Car('codes-on-demand').pid, flush=True); os.kill(os.getpid(), 9)"
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=120)
    assert ran.returncode == -signal.SIGKILL, ran.stderr
    process = int(ran.stdout)
    end = time.monotonic() + 60
    while time.monotonic() < end:
        try:
            with open(f"/proc/{process}/stat") as stat:
                if stat.read().rpartition(")")[2].split()[0] == "Z":
                    return
        except OSError:
            return
        time.sleep(0.05)
    os.kill(process, signal.SIGKILL)
    raise AssertionError("the car is still there")
