"""The program under test, as a user starts it: `twotrip run` on an interface, `twotrip tell` beside it."""

import contextlib
import os
import pathlib
import signal
import subprocess
import tempfile
import time

# An emulated processor is some twenty times slower than the machine around it.
READY_WITHIN = 120.0
TOLD_WITHIN = 300.0
# A car that has lived through nothing is there at once, where two trips take ten seconds: for whom any car will do.
QUICK = "codes-on-demand"


class Car:
    """A running car. `tell` gives it phrases, `stop` ends it as Ctrl-C does."""

    def __init__(self, program, scenario, interface, *options):
        self.program = str(program)
        self.folder = tempfile.TemporaryDirectory()
        self.control = str(pathlib.Path(self.folder.name) / "control")
        command = [self.program, "run", scenario, "--bus", interface, "--control", self.control, *options]
        self.log = open(pathlib.Path(self.folder.name) / "stderr", "w+")
        started = time.monotonic()
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=self.log, text=True)
        self.said = []
        timer = _Timer(READY_WITHIN, self.process.kill)
        with timer:
            for line in self.process.stdout:
                self.said.append(line)
                if line.startswith(("ready", '{"event":"ready"')):
                    break
            else:
                raise AssertionError(f"{' '.join(command)}: no line begins with `ready`\n{self.output()}")
        self.seconds_to_ready = time.monotonic() - started

    def output(self):
        self.log.flush()
        self.log.seek(0)
        return "stdout: " + "".join(self.said) + "\nstderr: " + self.log.read()

    def tell(self, *phrases):
        """Gives phrases, waits until they are done, returns what came of them."""
        command = [self.program, "tell", *phrases, "--control", self.control]
        told = subprocess.run(command, capture_output=True, text=True, timeout=TOLD_WITHIN)
        assert told.returncode == 0, (
            f"{' '.join(command)}: exit {told.returncode}\n{told.stdout}{told.stderr}\nthe car: {self.output()}"
        )
        return told.stdout

    def is_running(self):
        return self.process.poll() is None

    def memory_kib(self):
        """Resident memory (`VmRSS` of proc(5)), and its highest value since the start (`VmHWM`), in KiB."""
        status = pathlib.Path(f"/proc/{self.process.pid}/status").read_text()
        fields = dict(line.split(":", 1) for line in status.splitlines())
        return int(fields["VmRSS"].split()[0]), int(fields["VmHWM"].split()[0])

    def processor_seconds(self):
        """Time spent so far, user and system (fields 14 and 15 of /proc/PID/stat, proc(5))."""
        stat = pathlib.Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(stat[11]) + int(stat[12])) / os.sysconf("SC_CLK_TCK")

    def stop(self, within=10.0):
        """Sends SIGINT and returns the exit code; kills and fails after `within` seconds."""
        self.process.send_signal(signal.SIGINT)
        try:
            return self.process.wait(within)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
            raise AssertionError(f"still running {within} s after SIGINT\n{self.output()}") from None

    def close(self):
        if self.is_running():
            self.process.kill()
            self.process.wait()
        self.process.stdout.close()
        self.log.close()
        self.folder.cleanup()


@contextlib.contextmanager
def car(program, scenario, interface, *options):
    """A car for one block; it must end cleanly on SIGINT, whatever the block did."""
    running = Car(program, scenario, interface, *options)
    try:
        yield running
        assert running.is_running(), f"the car ended by itself\n{running.output()}"
        code = running.stop()
        assert code == 0, f"exit code {code} after SIGINT, expected 0\n{running.output()}"
    finally:
        running.close()


class _Timer:
    """Calls `action` unless the block ends within `seconds`."""

    def __init__(self, seconds, action):
        import threading

        self.timer = threading.Timer(seconds, action)

    def __enter__(self):
        self.timer.start()

    def __exit__(self, *_):
        self.timer.cancel()
