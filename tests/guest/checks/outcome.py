"""Where the checks of the guest leave what they found, for the test binary on the host to read."""

import time
import traceback


def names(prefix, steps):
    """The checks of a group, the last of them `ends_cleanly`."""
    return [*(f"{prefix}::{step.__name__}" for step in steps), f"{prefix}::ends_cleanly"]


class Outcomes:
    """One line a check, tab-separated: name, outcome, seconds, text. Written at once, so a crash keeps what was done."""

    def __init__(self, folder, wanted=()):
        self.folder = folder
        self.wanted = wanted
        self._lines = open(folder / "outcomes", "a")
        self._figures = open(folder / "figures", "a")

    def is_wanted(self, name):
        return not self.wanted or any(text in name for text in self.wanted)

    def check(self, name, body, *arguments):
        """Runs a check; an assertion or error that escapes is its failure."""
        started = time.monotonic()
        try:
            body(*arguments)
        except Exception:
            self._write(name, "failed", started, traceback.format_exc())
        else:
            self._write(name, "passed", started, "")

    def group(self, prefix, opening, steps):
        """Runs `steps` in order on what the context `opening` gives; leaving it is the last check, `ends_cleanly`.

        A step is wanted as soon as one of its group is: later steps build on what earlier ones did to the car.
        """
        *checks, last = names(prefix, steps)
        if not any(self.is_wanted(name) for name in [*checks, last]):
            return
        done = 0
        started = time.monotonic()
        try:
            with opening() as given:
                for name, step in zip(checks, steps):
                    self.check(name, step, given)
                    done += 1
                started = time.monotonic()
        except Exception:
            for name in [*checks[done:], last]:
                self._write(name, "failed", started, traceback.format_exc())
        else:
            self._write(last, "passed", started, "")

    def figure(self, name, value, unit):
        """A measured figure for the report."""
        print(f"{name}\t{value}\t{unit}", file=self._figures, flush=True)

    def _write(self, name, outcome, started, text):
        seconds = time.monotonic() - started
        text = text.replace("\\", "\\\\").replace("\n", "\\n").replace("\t", " ")
        print(f"{name}\t{outcome}\t{seconds:.2f}\t{text}", file=self._lines, flush=True)
        print(f"{outcome} {name} ({seconds:.1f} s)", flush=True)
