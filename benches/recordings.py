"""What it costs to read, explain and write recordings, beside what tshark takes for the same file in the same run.

    python3 benches/recordings.py [--frames 5000000] [--turns 3] [--cut 500000] [--as-built]

Makes a recording of so many frames (a simulated car that drives, scanned and watched by a tester), explains it at
message level and lets tshark print its fields with the ISO 15765 and OBD-II layers. `explain` has two threads, tshark
one: the ratio by the clock holds on an idle machine with two processors, the one by processor time on a busy one too.
Each is the best of so many turns. `--cut` gives tshark only the first so many frames: its frames a second are the
same. The memory of `explain` is measured with that file and with one ten times as long, fed through a pipe.

Builds the release profile. Needs tshark, which it installs as root. Fails on nothing: it measures.
"""

import argparse
import datetime
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

ROOT = pathlib.Path(__file__).resolve().parent.parent
TARGET = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"
TSHARK = ["-o", "iso15765.can.ids:0x7df,0x7e0-0x7ef", "-d", "iso15765.subdissector,obd-ii", "-T", "fields"]
FIELDS = [
    "frame.number",
    "frame.time_epoch",
    "can.id",
    "iso15765.message_type",
    "obd-ii.mode",
    "obd-ii.mode01_engine_rpm",
    "obd-ii.mode01_vehicle_speed",
    "obd-ii.mode01_engine_coolant_temp",
    "obd-ii.VIN",
]


def run(command, stdin=None):
    """Seconds of the processor, seconds of the clock, and the most memory resident at a time, KiB."""
    begun = time.monotonic()
    child = subprocess.Popen(command, stdin=stdin, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    most = 0
    while True:
        # The kernel's own figure for a child counts the memory of this program, which it was forked from.
        try:
            status = pathlib.Path(f"/proc/{child.pid}/status").read_text()
        except OSError:
            status = ""
        for line in status.splitlines():
            if line.startswith("VmHWM:"):
                most = max(most, int(line.split()[1]))
        pid, code, usage = os.wait4(child.pid, os.WNOHANG)
        if pid:
            break
        time.sleep(0.02)
    child.returncode = os.waitstatus_to_exitcode(code)
    assert child.returncode == 0, f"{command}: exit status {child.returncode}"
    return usage.ru_utime + usage.ru_stime, time.monotonic() - begun, most


def make(frames, path):
    subprocess.run([TARGET / "recording", "make", str(frames), path], check=True)


def million(rate):
    return f"{rate / 1e6:.2f} million"


def row(what, goal, measured):
    print(f"| {what} | {goal} | {measured} |", flush=True)


def verdict(met):
    return "**met**" if met else "**not met**"


def install_tshark():
    if not shutil.which("tshark") and os.geteuid() == 0:
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        command = ["apt-get", "-o", "DPkg::Lock::Timeout=300", "install", "--yes", "--no-install-recommends", "tshark"]
        subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=False)
    if not shutil.which("tshark"):
        sys.exit("no tshark, and it cannot be installed: apt-get install tshark")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=int, default=5_000_000)
    parser.add_argument("--turns", type=int, default=3)
    parser.add_argument("--cut", type=int, default=0, help="tshark reads so many frames only")
    parser.add_argument("--as-built", action="store_true", help="build nothing")
    options = parser.parse_args()
    install_tshark()
    build = ["cargo", "build", "--quiet", "--release", "--package", "twotrip-cli", "--package", "twotrip-benches", "--bins"]
    if not options.as_built:
        subprocess.run(build, cwd=ROOT, check=True)
    program = TARGET / "twotrip"

    load = ", ".join(f"{load:.1f}" for load in os.getloadavg())
    print(f"{datetime.date.today()}, load {load} on {os.cpu_count()} processors, {options.frames} frames\n")
    row("what", "goal", "measured")
    row("---", "---", "---")
    with tempfile.TemporaryDirectory() as folder:
        path = f"{folder}/long.pcapng"
        make(options.frames, path)
        theirs, theirs_path = options.frames, path
        if options.cut:
            theirs, theirs_path = options.cut, f"{folder}/cut.pcapng"
            make(theirs, theirs_path)
        forms = {"text": [], "`--json`": ["--json"]}
        best = {}
        memory = 0
        for _ in range(options.turns):
            for form, more in forms.items():
                processor, clock, most = run([program, "explain", path, *more])
                before = best.get(form, (processor, clock))
                best[form] = (min(before[0], processor), min(before[1], clock))
                memory = max(memory, most)
        peer, peer_clock, peer_memory = run(
            ["tshark", *TSHARK, "-r", theirs_path, *(word for field in FIELDS for word in ("-e", field))]
        )
        peer_rate = theirs / peer
        clock_rate = theirs / peer_clock
        goal = "50 times the frames a second of `tshark -T fields` with the same layers"
        for form, (processor, clock) in best.items():
            rate, by_clock = options.frames / processor, options.frames / clock
            row(
                f"read and explain, messages, {form}",
                goal,
                f"by the clock {million(by_clock)} frames a second, {by_clock / clock_rate:.1f} times:"
                f" {verdict(by_clock >= 50 * clock_rate)}; by processor time {million(rate)}, {rate / peer_rate:.1f} times",
            )
        feeder = subprocess.Popen(
            [TARGET / "recording", "make", str(10 * options.frames), "/dev/stdout"], stdout=subprocess.PIPE
        )
        _, _, ten_times = run([program, "explain", "/dev/stdin"], stdin=feeder.stdout)
        feeder.stdout.close()
        assert feeder.wait() == 0
        row(
            "memory of that, peak resident, a file ten times as long",
            "the same",
            f"{memory} KiB, {ten_times} KiB: {verdict(ten_times < 1.1 * memory)}",
        )
        rates = subprocess.run([TARGET / "recording", "rates", path], check=True, capture_output=True, text=True)
        rates = {name: float(rate) for name, rate in (line.split() for line in rates.stdout.splitlines())}
        for name, what, goal in [
            ("blocks", "pcapng read in memory, packets a second", 20e6),
            ("frames", "the same with the frames in them", 20e6),
            ("written", "frames written in memory a second", 5e6),
        ]:
            row(what, million(goal), f"{million(rates[name])}: {verdict(rates[name] >= goal)}")
        print(f"\ntshark: {theirs} frames in {peer:.1f} s of the processor, {peer_clock:.1f} s, {peer_memory // 1024} MiB")
        print(f"load at the end {', '.join(f'{load:.1f}' for load in os.getloadavg())}")


main()
