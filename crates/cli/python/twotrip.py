"""A client of Twotrip for tests in Python: starts a car, tells it phrases, joins its bus. Standard library only, Python 3.9.

    import twotrip

    with twotrip.Car("loose-fuel-cap") as car:
        my_tool.read_codes(car.bus)               # local:NAME, on which the car answers
        car.tell("tighten fuel-cap", "drive udds")

What is spoken over the two sockets is in CONTROL.md (phrases, snapshots, events) and in
`crates/host/src/bus/local/mod.rs` (frames). `twotrip_can.py` beside this file makes an embedded bus one of python-can's.
"""

from __future__ import annotations

import itertools
import json
import os
import pathlib
import select
import shutil
import signal
import socket
import struct
import subprocess
import threading
import time
import typing

__all__ = ["Car", "Control", "Frame", "LocalBus", "NotDone", "Outcome", "TwotripError", "folder"]

_numbers = itertools.count()


class TwotripError(Exception):
    """The car cannot be started or reached, or does not do what it should."""


class NotDone(TwotripError):
    """A phrase was not carried out, or an expectation not met; `outcome` says why."""

    def __init__(self, phrase: str, outcome: Outcome):
        super().__init__("\n  ".join([f"{phrase}: {outcome.text}", *outcome.lines]))
        self.phrase, self.outcome = phrase, outcome


class Outcome(typing.NamedTuple):
    """What came of a phrase."""

    text: str
    ok: bool
    lines: list[str]
    detail: typing.Any = None


def folder() -> pathlib.Path:
    """The folder of this user's sockets, as the program finds it."""
    session = os.environ.get("XDG_RUNTIME_DIR", "")
    try:
        ours = os.path.isabs(session) and os.path.isdir(session) and os.stat(session).st_uid == os.geteuid()
    except OSError:
        ours = False
    return pathlib.Path(session, "twotrip") if ours else pathlib.Path(f"/tmp/twotrip-{os.geteuid()}")


class Control:
    """The control socket of a running car. Not for several threads at once."""

    def __init__(self, path: str | os.PathLike[str], timeout: float | None = 300.0):
        self._socket = socket.socket(socket.AF_UNIX)
        self._socket.settimeout(timeout)
        try:
            self._socket.connect(os.fspath(path))
        except OSError as error:
            self._socket.close()
            raise TwotripError(f"no car listens at {path}: {error}") from error
        self._lines = self._socket.makefile("rb")

    def tell(self, phrase: str, on_progress: typing.Callable[[str, float | None], object] | None = None) -> Outcome:
        """Gives the car a phrase, waits until it is done, says what came of it."""
        self._send({"phrase": phrase})
        while True:
            line = self._read()
            if "outcome" in line:
                return Outcome(line["outcome"], line["ok"], line.get("lines", []), line.get("detail"))
            if "progress" in line and on_progress:
                on_progress(line["progress"], line.get("fraction"))

    def snapshot(self) -> dict[str, typing.Any]:
        """How the car is."""
        self._send({"snapshot": True})
        return self._read_of("snapshot")["snapshot"]

    def events(self) -> typing.Iterator[dict[str, typing.Any]]:
        """What happens from now on; use no other method of this connection afterwards."""
        self._send({"events": True})
        self._read_of("events")
        return iter(lambda: self._read_of("event"), None)

    def close(self) -> None:
        self._lines.close()
        self._socket.close()

    def _send(self, request: dict[str, typing.Any]) -> None:
        try:
            self._socket.sendall(json.dumps(request).encode() + b"\n")
        except OSError as error:
            raise TwotripError(f"the car has ended: {error}") from error

    def _read_of(self, key: str) -> dict[str, typing.Any]:
        while key not in (line := self._read()):
            pass
        return line

    def _read(self) -> dict[str, typing.Any]:
        try:
            line = self._lines.readline()
        except (TimeoutError, socket.timeout) as error:
            raise TwotripError("the car does not answer") from error
        except OSError as error:
            raise TwotripError(f"the car has ended: {error}") from error
        if not line:
            raise TwotripError("the car has ended")
        return json.loads(line)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()


class Car:
    """A car of its own, on a bus of its own unless one is named, as long as the block or until `stop`.

    `options` are those of `twotrip run`: Car("healthy", "--seed", "7", "--timing", "fast"). The car ends with this process.
    """

    def __init__(
        self,
        scenario: str | os.PathLike[str],
        *options: str,
        bus: str | None = None,
        program: str | os.PathLike[str] | None = None,
        ready_within: float = 120.0,
    ):
        program = program or os.environ.get("TWOTRIP") or shutil.which("twotrip")
        if program is None:
            raise TwotripError("no `twotrip` on the path: install it, or say where it is in the variable TWOTRIP")
        bus = bus or f"local:py-{os.getpid()}-{next(_numbers)}"
        command = [os.fspath(program), "run", os.fspath(scenario), "--bus", bus, "--json"]
        command += ["--until-exit", str(os.getpid()), *options]
        self.events: list[dict[str, typing.Any]] = []
        self._complaints: list[str] = []
        self._came = threading.Condition()
        pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        try:
            self._process = subprocess.Popen(command, **pipes, text=True)
        except OSError as error:
            raise TwotripError(f"cannot start {program}: {error}") from error
        self._readers = [
            threading.Thread(target=self._listen, daemon=True),
            threading.Thread(target=self._complaints.extend, args=(self._process.stderr,), daemon=True),
        ]
        for reader in self._readers:
            reader.start()
        self._control: Control | None = None
        try:
            self.ready = self.wait_for("ready", ready_within)
        except BaseException:
            self._process.kill()
            self.stop()
            raise
        self.bus: str = self.ready["bus"]
        self.control_path: str = self.ready["control"]
        self.pid: int = self.ready["pid"]

    @property
    def control(self) -> Control:
        """The connection that `tell` and `snapshot` use."""
        if self._control is None:
            self._control = Control(self.control_path)
        return self._control

    def snapshot(self) -> dict[str, typing.Any]:
        """How the car is: codes, lamp, key, readiness."""
        return self.control.snapshot()

    def tell(self, *phrases: str, check: bool = True) -> list[Outcome]:
        """Gives the car phrases one after the other; `NotDone` on the first that cannot be done, if `check` is on."""
        outcomes = []
        for phrase in phrases:
            outcomes.append(self.control.tell(phrase))
            if check and not outcomes[-1].ok:
                raise NotDone(phrase, outcomes[-1])
        return outcomes

    def join(self) -> LocalBus:
        """A place on the car's embedded bus."""
        return LocalBus(self.bus)

    def wait_for(self, event: str, within: float = 60.0) -> dict[str, typing.Any]:
        """The first event of this kind that the car has printed or prints in that time, seconds."""
        end = time.monotonic() + within
        with self._came:
            while True:
                found = next((line for line in self.events if line.get("event") == event), None)
                if found is not None:
                    return found
                left = end - time.monotonic()
                if left <= 0 or not self._readers[0].is_alive():
                    break
                self._came.wait(min(left, 0.5))
        if not self._readers[0].is_alive():
            # It has closed its output: its end is a moment away.
            self._process.wait(10.0)
            self._readers[1].join(1.0)
            raise TwotripError(f"the car has ended, exit code {self._process.returncode}\n" + "".join(self._complaints))
        raise TwotripError(f"no `{event}` within {within} s")

    def stop(self, within: float = 10.0) -> int:
        """Ends the car as Ctrl-C does; gives its exit code: 1 where an expectation was not met. Once is enough."""
        if self._control is not None:
            self._control.close()
            self._control = None
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGINT)
        try:
            self._process.wait(within)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        for reader in self._readers:
            reader.join(1.0)
        for pipe in (self._process.stdout, self._process.stderr):
            pipe.close()
        return self._process.returncode

    def _listen(self) -> None:
        for line in self._process.stdout:
            with self._came:
                self.events.append(json.loads(line))
                self._came.notify_all()
        with self._came:
            self._came.notify_all()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stop()


class Frame(typing.NamedTuple):
    """A CAN frame."""

    id: int
    data: bytes = b""
    extended: bool = False
    remote: bool = False
    error: bool = False
    fd: bool = False


class LocalBus:
    """A place on an embedded bus, `local:NAME` or `NAME`. Frames are records of 72 bytes in the kernel's `canfd_frame` layout,
    little-endian (linux/can.h); before them comes a hello with version and name."""

    _RECORD = struct.Struct("<IBB2x64s")
    _EXTENDED, _REMOTE, _ERROR, _FD = 0x8000_0000, 0x4000_0000, 0x2000_0000, 0x04

    def __init__(self, name: str, timeout: float = 5.0):
        name = name[len("local:") :] if name.startswith("local:") else name
        path = folder() / f"bus-{name}.sock"
        self._socket = socket.socket(socket.AF_UNIX)
        self._bytes = b""
        self._sending = threading.Lock()
        hello = b"TWOTRIP\x01" + name.encode().ljust(64, b"\0")
        try:
            self._socket.settimeout(timeout)
            self._socket.connect(str(path))
            self._socket.sendall(hello)
            # From here on nothing changes the socket's way of waiting: one thread may receive while another sends.
            self._socket.setblocking(False)
            answer = self._take(time.monotonic() + timeout)
        except OSError as error:
            self._socket.close()
            raise TwotripError(f"no car hosts local:{name} ({path}): {error}") from error
        if answer != hello:
            self._socket.close()
            raise TwotripError(f"local:{name} is of another version, or has no room")

    def send(self, frame: Frame) -> None:
        flags = self._EXTENDED * frame.extended | self._REMOTE * frame.remote | self._ERROR * frame.error
        data = bytes(frame.data)
        if len(data) <= 56:
            # When it was sent: on a busy computer the car may hear it later, and nobody is to be blamed for that.
            data = data.ljust(56, b"\0") + time.time_ns().to_bytes(8, "little")
        record = self._RECORD.pack(frame.id | flags, len(frame.data), self._FD * frame.fd, data)
        try:
            with self._sending:
                while record:
                    try:
                        record = record[self._socket.send(record) :]
                    except BlockingIOError:
                        self._wait(select.POLLOUT)
        except OSError as error:
            raise TwotripError(f"the car has ended: {error}") from error

    def receive(self, timeout: float | None = None) -> Frame | None:
        """The next frame of others; `None` if none comes in that time, seconds."""
        try:
            record = self._take(None if timeout is None else time.monotonic() + timeout)
        except OSError as error:
            raise TwotripError(f"the car has ended: {error}") from error
        if record is None:
            return None
        identifier, length, flags, data = self._RECORD.unpack(record)
        mask = 0x1FFF_FFFF if identifier & self._EXTENDED else 0x7FF
        return Frame(
            identifier & (0x1FFF_FFFF if identifier & self._ERROR else mask),
            data[: min(length, 64)],
            bool(identifier & self._EXTENDED),
            bool(identifier & self._REMOTE),
            bool(identifier & self._ERROR),
            bool(flags & self._FD),
        )

    def _take(self, until: float | None) -> bytes | None:
        """A whole record; what came of it stays for the next time if the rest does not come now."""
        while len(self._bytes) < self._RECORD.size:
            try:
                piece = self._socket.recv(self._RECORD.size - len(self._bytes))
            except BlockingIOError:
                left = None if until is None else max(until - time.monotonic(), 0.0)
                if left == 0.0:
                    return None
                self._wait(select.POLLIN, left)
                continue
            if not piece:
                raise ConnectionResetError("the bus is closed")
            self._bytes += piece
        record, self._bytes = self._bytes, b""
        return record

    def _wait(self, event: int, seconds: float | None = None) -> None:
        poll = select.poll()
        poll.register(self._socket, event)
        poll.poll(None if seconds is None else seconds * 1000)

    def fileno(self) -> int:
        """For `select`."""
        return self._socket.fileno()

    def close(self) -> None:
        self._socket.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()
