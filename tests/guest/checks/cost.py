"""What an answer, and waiting for a request, cost: against a bare echo process in the same run, on the same kernel.

Times are figures to be read, never a reason to fail: the emulated machine is slow and its speed swings. What fails is only
what no swing explains: memory beyond its goal, a car that is many times slower than an echo, a loop that never sleeps.
Where the guest's clock counts instructions (`boot --counted`) nothing swings, and there the goal has to be met.
"""

import contextlib
import statistics
import subprocess
import tempfile
import time

import frames
import program

CAR, ECHO = "vcan0", "vcan1"
ROUNDS, REQUESTS = 40, 100


class Cost:
    def __init__(self, car):
        self.car = car


def _round_trips(tools, interface):
    """Nanoseconds from sending `01 0C` on 7DF to having its answer, `REQUESTS` times."""
    command = [str(tools / "answer-latency"), interface, str(REQUESTS)]
    measured = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert measured.returncode == 0, f"{' '.join(command)}: {measured.stdout}{measured.stderr}"
    return [int(line) for line in measured.stdout.split()]


def named(counted):
    """What stands before the names of groups and figures."""
    return ("counted_", "counted in instructions: ") if counted else ("", "")


def hold(ratio, goal, counted, peer):
    """Holds a ratio to its goal where it is counted; else only to what no swing explains."""
    most = goal if counted else 10
    assert ratio <= most, f"{ratio:.2f} times {peer}, at most {most}"


def group(twotrip, tools, figure, counted):
    prefix, unit = named(counted)

    @contextlib.contextmanager
    def opening():
        with program.car(twotrip, "healthy", CAR, "--timing", "fast") as car:
            with frames.Bus(CAR) as bus:
                if bus.ask(b"\x01\x00") is None:
                    car.tell("key on")
            yield Cost(car)

    def a_single_frame_answer(cost):
        echo = subprocess.Popen([str(tools / "bare-echo"), ECHO], stdout=subprocess.PIPE, text=True)
        try:
            assert echo.stdout.readline() == "ready\n"
            # In turns, and compared turn by turn: what else the machine around the guest does then falls on both.
            rounds = [(_round_trips(tools, CAR), _round_trips(tools, ECHO)) for _ in range(ROUNDS)]
        finally:
            echo.kill()
            echo.wait()
            echo.stdout.close()
        for place, name in enumerate(("the car", "the bare echo")):
            times = [time for both in rounds for time in both[place]]
            figure(f"{unit}answer of {name}, median of {len(times)}", f"{statistics.median(times) / 1000:.1f}", "us")
            figure(f"{unit}answer of {name}, 99 of 100 within", f"{statistics.quantiles(times, n=100)[98] / 1000:.1f}", "us")
        ratio = statistics.median(statistics.median(car) / statistics.median(echo) for car, echo in rounds)
        figure(f"{unit}answer of the car, in times of the bare echo (goal 1.5)", f"{ratio:.2f}", "times")
        hold(ratio, 1.5, counted, "the bare echo")

    def beside_a_plain_car(option, file):
        """Rounds in turns: a second car with that option, and the first one."""
        with tempfile.TemporaryDirectory() as folder:
            options = ["--timing", "fast", option, f"{folder}/{file}"]
            with program.car(twotrip, "healthy", ECHO, *options) as other:
                with frames.Bus(ECHO) as bus:
                    if bus.ask(b"\x01\x00") is None:
                        other.tell("key on")
                return [(_round_trips(tools, ECHO), _round_trips(tools, CAR)) for _ in range(ROUNDS)]

    def an_answer_of_a_car_that_keeps_its_memory(cost):
        rounds = beside_a_plain_car("--memory", "car.memory")
        ratio = statistics.median(statistics.median(on) / statistics.median(off) for on, off in rounds)
        figure(f"{unit}answer with --memory, in times of one without (goal 1.2)", f"{ratio:.2f}", "times")
        hold(ratio, 1.2, counted, "the answer without --memory: is the file written for each answer?")

    def an_answer_of_a_car_that_reports(cost):
        # Its judge goes by the kernel's times of frames, which the kernel notes only for who asks.
        rounds = beside_a_plain_car("--report", "report.json")
        ratio = statistics.median(statistics.median(on) / statistics.median(off) for on, off in rounds)
        figure(f"{unit}answer with --report, in times of one without (goal 1.02)", f"{ratio:.3f}", "times")
        mean = statistics.mean(statistics.mean(on) / statistics.mean(off) for on, off in rounds)
        figure(f"{unit}the same, of the means", f"{mean:.3f}", "times")
        hold(ratio, 1.02, counted, "the answer without --report")

    def memory(cost):
        resident, highest = cost.car.memory_kib()
        figure("resident memory of run", f"{resident / 1024:.1f}", "MiB")
        figure("highest resident memory of run", f"{highest / 1024:.1f}", "MiB")
        assert resident < 20 * 1024, f"{resident} KiB resident, goal under 20 MiB"

    def processor_of_an_idle_car(cost):
        # Key on, engine off, nobody asks; the car's time passes as it does.
        spent = _spent_in_ten_seconds(cost.car)
        figure("processor use of run, nobody asks, real time, emulated", f"{spent * 10:.1f}", "%")
        # The emulated processor is some twenty times slower than the one around it.
        assert spent <= 5.0, f"{spent:.2f} s of processor time in 10 s without a request: does it never sleep?"

    def processor_while_time_stands(cost):
        with program.car(twotrip, "healthy", ECHO, "--pace", "0") as standing:
            spent = _spent_in_ten_seconds(standing)
        figure("processor use of run, nobody asks, time stands, emulated", f"{spent * 10:.1f}", "%")
        assert spent <= 5.0, f"{spent:.2f} s of processor time in 10 s without a request: does it never sleep?"

    steps = [a_single_frame_answer, an_answer_of_a_car_that_keeps_its_memory, an_answer_of_a_car_that_reports]
    if not counted:
        steps += [memory, processor_of_an_idle_car, processor_while_time_stands]
    return (f"{prefix}cost", opening, steps)


def _spent_in_ten_seconds(car):
    time.sleep(1)
    before = car.processor_seconds()
    time.sleep(10)
    return car.processor_seconds() - before
