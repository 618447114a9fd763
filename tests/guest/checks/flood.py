"""A hostile mix of 10,000 frames a second (`tests/guest/hostile_flood.rs`): memory stays as it is, a clean tester is answered in time.

In the guest as a check; on any bus by hand, for as long as one likes: `flood.py PROGRAM TOOLS BUS SECONDS`.
Sources: ISO 15765-4 for P2, proc(5) for memory.
"""

import contextlib
import os
import pathlib
import statistics
import subprocess
import sys
import time

import program

RATE = 10_000
# ISO 15765-4: the answer begins within 50 ms of the request's end.
P2_SECONDS = 0.050
# What the second half of a flood may add to the first: some pages of queues to others that were never as full before (our choice).
GROWTH_KIB = 256


class Flood:
    """What came of one: `rate`, the tester's `times` in seconds (`None`: no answer), the car's `memory` each half second, KiB."""

    def __init__(self, tools, car, bus, seconds):
        command = [str(tools / "hostile-flood"), bus, str(seconds), str(RATE)]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.memory = []
        with process:
            # The tool's own lines are few: they wait in the pipe.
            while process.poll() is None:
                time.sleep(0.5)
                assert car.is_running(), f"the car ended\n{car.output()}"
                self.memory.append(car.memory_kib()[0])
            said, errors = process.communicate()
        assert process.returncode == 0, f"{' '.join(command)}: exit {process.returncode}\n{said}{errors}"
        lines = said.splitlines()
        (counted,) = (line.split() for line in lines if line.startswith("frames"))
        self.frames, took = int(counted[1]), float(counted[3])
        self.rate = self.frames / took
        self.times = [None if line == "none" else int(line) / 1e9 for line in lines if not line.startswith("frames")]

    def unanswered(self):
        return sum(took is None for took in self.times)

    def late(self):
        return [took for took in self.times if took is not None and took > P2_SECONDS]

    def growth(self):
        """KiB by which the most of the second half is above the most of the first."""
        middle = len(self.memory) // 2
        return max(self.memory[middle:]) - max(self.memory[:middle])

    def figures(self):
        answered = [took for took in self.times if took is not None]
        yield "frames a second", f"{self.rate:.0f}", "frames/s"
        yield "frames in all", self.frames, "frames"
        yield "clean requests without an answer", self.unanswered(), f"of {len(self.times)}"
        yield "clean requests answered after P2", len(self.late()), f"of {len(self.times)}"
        yield "answer, median", f"{statistics.median(answered) * 1000:.2f}", "ms"
        yield "answer, slowest", f"{max(answered) * 1000:.2f}", "ms"
        yield "memory of the car", self.memory[-1], "KiB"
        yield "growth from the first half to the second", self.growth(), "KiB"


@contextlib.contextmanager
def flooded_car(twotrip, bus):
    with program.car(twotrip, program.QUICK, bus) as car:
        yield car


def group(twotrip, tools, figure):
    """In the guest whose clock counts instructions: there a late answer is the program's, and not the machine's."""
    seconds = int(os.environ.get("FLOOD_SECONDS") or 5)

    @contextlib.contextmanager
    def opening():
        with flooded_car(twotrip, "vcan0") as car:
            yield Flood(tools, car, "vcan0", seconds)

    def ten_thousand_frames_a_second_were_sent(flood):
        for name, value, unit in flood.figures():
            figure(f"counted in instructions: hostile flood of {seconds} s: {name}", value, unit)
        assert flood.rate >= 0.99 * RATE, f"{flood.rate:.0f} frames a second"

    def each_clean_request_was_answered_within_p2(flood):
        assert len(flood.times) >= 4 * seconds - 2, flood.times
        assert not flood.unanswered(), f"{flood.unanswered()} of {len(flood.times)} clean requests had no answer"
        assert not flood.late(), f"later than 50 ms: {flood.late()}"

    def memory_stayed_as_it_was(flood):
        assert flood.growth() <= GROWTH_KIB, f"KiB, each half second: {flood.memory}"

    return (
        "counted_flood",
        opening,
        [
            ten_thousand_frames_a_second_were_sent,
            each_clean_request_was_answered_within_p2,
            memory_stayed_as_it_was,
        ],
    )


def main(twotrip, tools, bus, seconds):
    with flooded_car(twotrip, bus) as car:
        flood = Flood(pathlib.Path(tools), car, bus, seconds)
    for name, value, unit in flood.figures():
        print(f"{name}: {value} {unit}")
    # Of a machine that others use too, one request in a hundred may be late.
    hurt = flood.unanswered() + len(flood.late())
    return 1 if hurt > len(flood.times) / 100 or flood.growth() > GROWTH_KIB or flood.rate < 0.99 * RATE else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
