"""What a run says of a tester while it runs, against what `explain` says of the run's recording afterwards: the same.

The recording has the kernel's times of all frames (Linux Documentation/networking/timestamping.rst), the run goes by those of
the frames that it reads. The tester here keeps limits of ISO 15765-4 narrowly, and breaks them narrowly; and the car is held up.
"""

import contextlib
import json
import os
import pathlib
import signal
import subprocess
import tempfile
import time

import frames
import program

INTERFACE = "vcan1"
# Nobody answers it: a service that no ECU has, to all.
SILENT = frames.padded(b"\x3f")
VIN = frames.padded(b"\x09\x02")
CONTINUE = b"\x30\x00\x00".ljust(8, b"\0")


class Tester:
    def __init__(self, bus):
        self.bus = bus

    def rest(self):
        """Everything that may still come is over."""
        time.sleep(0.2)
        self.bus.collect(0.01)

    def asks_twice(self, after):
        self.bus.send(frames.FUNCTIONAL, SILENT)
        time.sleep(after)
        self.bus.send(frames.FUNCTIONAL, SILENT)
        self.rest()

    def steers(self, after, control=CONTINUE):
        """Asks for the VIN, and pays flow control so many seconds after the first frame."""
        self.bus.send(frames.PHYSICAL, VIN)
        first = self.bus.receive(2.0)
        assert first is not None and first[1][0] == 0x10, first
        if after is not None:
            time.sleep(after)
            self.bus.send(frames.PHYSICAL, control)
        self.rest()

    def asks(self, data):
        self.bus.send(frames.FUNCTIONAL, data)
        self.rest()


def held_up(car, tester, after):
    """The car's process does not run while the tester asks twice."""
    os.kill(car.process.pid, signal.SIGSTOP)
    try:
        tester.asks_twice(after)
    finally:
        os.kill(car.process.pid, signal.SIGCONT)
    tester.rest()


def breaches(conduct):
    """How often each tester broke each rule."""
    found = {}
    for tester in conduct["testers"]:
        for breach in tester["breaches"]:
            found[tester["tester"], breach["rule"]] = breach["count"]
    return found


def group(twotrip, figure):
    @contextlib.contextmanager
    def opening():
        with tempfile.TemporaryDirectory() as folder:
            yield pathlib.Path(folder)

    def both(folder, deeds):
        """The breaches by a run's report, and by `explain` of its recording."""
        report, recording = folder / "report.json", folder / "run.pcapng"
        recording.unlink(missing_ok=True)
        options = ("--report", str(report), "--record", str(recording))
        with program.car(twotrip, program.QUICK, INTERFACE, *options) as car, frames.Bus(INTERFACE) as bus:
            deeds(car, Tester(bus))
            # What a recorder has not read yet.
            time.sleep(0.5)
        live = json.loads(report.read_text())["conduct"]
        explain = [str(twotrip), "explain", str(recording), "--json"]
        ran = subprocess.run(explain, capture_output=True, text=True, timeout=60)
        assert ran.returncode == 0, f"{ran.stdout}{ran.stderr}"
        said = [line for line in map(json.loads, ran.stdout.splitlines()) if line["kind"] == "conduct"]
        afterwards = said[0]["conduct"]
        assert live["answers"] == afterwards["answers"], (live, afterwards)
        return breaches(live), breaches(afterwards)

    def a_run_and_its_recording_give_the_same_breaches(folder):
        def deeds(_, tester):
            for pause in (0.030, 0.045, 0.048, 0.049, 0.0495, 0.0505, 0.051, 0.052, 0.055):
                tester.asks_twice(pause)
            for pause in (0.001, 0.020, 0.024, 0.026, 0.060, 0.073, 0.077, 0.100, None):
                tester.steers(pause)
            tester.steers(0.001, b"\x31\x00\x00".ljust(8, b"\0"))
            tester.steers(0.001, b"\x30\x02\x14".ljust(8, b"\0"))
            tester.asks(b"\x02\x01\x00")
            tester.asks(frames.padded(bytes.fromhex("01 00 0C")))
            tester.asks(frames.padded(b"\x04"))

        live, afterwards = both(folder, deeds)
        assert live == afterwards, f"live: {live}\nby the recording: {afterwards}"
        assert len(live) >= 6, f"the tester broke these rules alone: {live}"
        figure("counted in instructions: rules broken, the same live and by the recording", len(live), "rules")

    def a_run_that_was_held_up_accuses_nobody(folder):
        # By the clock of a process that stood still both requests come at once.
        live, afterwards = both(folder, lambda car, tester: [held_up(car, tester, 0.055) for _ in range(5)])
        assert live == afterwards, f"live: {live}\nby the recording: {afterwards}"
        # And who is in a hurry is found all the same.
        live, afterwards = both(folder, lambda car, tester: [held_up(car, tester, 0.040) for _ in range(5)])
        assert live == afterwards and live, f"live: {live}\nby the recording: {afterwards}"

    return (
        "counted_judge",
        opening,
        [a_run_and_its_recording_give_the_same_breaches, a_run_that_was_held_up_accuses_nobody],
    )
