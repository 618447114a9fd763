"""What whole messages cost: the program against an echo above the kernel's own ISO 15765-2 in the same run.

The tester is the kernel's too (net/can/isotp.c), so what differs is the ECU alone. Times are figures to be read, never a
reason to fail, as in `cost`; what fails is only a wait where nothing should wait, and what is counted in instructions.
"""

import contextlib
import statistics
import subprocess

import frames
import program
from cost import hold, named

CAR, SMALL, ECHO, GAPLESS = "vcan0", "vcan2", "vcan1", "vcan3"
# A machine that stands still for a second, the longest time that either side waits, loses a transfer.
TRIES = 3
# Requests answered a second, in times of those of the kernel's echo: at least so many.
RATE = 0.8


class Cost:
    pass


def _times(tools, interface, what, count):
    """Nanoseconds from sending a request to having its whole answer, `count` times."""
    command = [str(tools / "transfer-latency"), interface, what, str(count)]
    for _ in range(TRIES):
        measured = subprocess.run(command, capture_output=True, text=True, timeout=120)
        if measured.returncode == 0:
            return [int(line) for line in measured.stdout.split()]
    raise AssertionError(f"{' '.join(command)}: {measured.stdout}{measured.stderr}")


@contextlib.contextmanager
def _started(*command):
    process = subprocess.Popen([str(word) for word in command], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout.readline() == "ready\n", command
        yield
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def group(twotrip, tools, figure, counted):
    prefix, unit = named(counted)

    @contextlib.contextmanager
    def opening():
        with program.car(twotrip, "healthy", CAR, "--timing", "fast", "--timers", "generic") as car:
            with frames.Bus(CAR) as bus:
                if bus.ask(b"\x01\x00") is None:
                    car.tell("key on")
            with (
                _started(tools / "small-ecu", SMALL, "echo"),
                _started(tools / "isotp-echo", ECHO),
                _started(tools / "isotp-echo", GAPLESS, "gapless"),
            ):
                yield Cost()

    def compare(name, what, ours, rounds, count, goal):
        # In turns, and compared turn by turn: what else the machine around the guest does then falls on all.
        places = {"ours": ours, "the kernel's echo": ECHO, "the kernel's echo without gaps": GAPLESS}
        turns = [{place: _times(tools, interface, what, count) for place, interface in places.items()} for _ in range(rounds)]
        for place in places:
            times = [time for turn in turns for time in turn[place]]
            figure(f"{unit}{name}, {place}, median of {len(times)}", f"{statistics.median(times) / 1000:.0f}", "us")
        for place in list(places)[1:]:
            ratio = statistics.median(
                statistics.median(turn["ours"]) / statistics.median(turn[place]) for turn in turns
            )
            # The same as a rate: as many as are answered one after the other.
            rate = statistics.median(sum(turn[place]) / sum(turn["ours"]) for turn in turns)
            least = f" (goal {RATE})" if place == "the kernel's echo" else ""
            figure(f"{unit}{name}, answered a second, in times of {place}{least}", f"{rate:.2f}", "times")
            if counted and least:
                assert rate >= RATE, f"{rate:.2f} times as many a second as {place}, at least {RATE}"
            wanted = f" (goal {goal})" if place == "the kernel's echo" else ""
            figure(f"{unit}{name}, in times of {place}{wanted}", f"{ratio:.2f}", "times")
            hold(ratio, goal if wanted else 10, counted, place)

    def an_answer_of_20_bytes(_):
        compare("answer of 20 bytes", "vin", CAR, rounds=30, count=40, goal=1.5)

    def a_request_of_4095_bytes(_):
        compare("request of 4095 bytes", "long-request", CAR, rounds=12, count=4, goal=1.3)

    def an_echo_of_4095_bytes(_):
        # The car has no such answer; the same crates, `isotp` and `host`, with an echo above.
        compare("4095 bytes and back", "long-answer", SMALL, rounds=12, count=4, goal=1.3)

    return (f"{prefix}transfer_cost", opening, [an_answer_of_20_bytes, a_request_of_4095_bytes, an_echo_of_4095_bytes])
