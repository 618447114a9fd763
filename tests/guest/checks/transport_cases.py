"""The conformance cases of the transport (`tests/support/cases`, each with its source) on vcan, as in memory.

`transport-cases` plays them; a case is played on the program if its car is an ECU as the case needs it, else on a small
ECU of the same crates. Here it is only made sure that none is missing.
"""

import contextlib
import subprocess

INTERFACE = "vcan2"
ALL = set(range(1, 67))
# A virtual interface refuses no frame (59) and has no arbitration (61).
LEFT_OUT = {59, 61}


class Played:
    def __init__(self, lines):
        self.lines = [line.split("\t", 4) for line in lines]

    def numbers(self, on, outcome="passed"):
        return {int(number) for place, found, _, number, _ in self.lines if (place, found) == (on, outcome)}

    def expect_none_failed(self, on):
        failed = [text.replace("\\n", "\n") for place, found, _, _, text in self.lines if (place, found) == (on, "failed")]
        assert not failed, "\n\n".join(failed)


def group(twotrip, tools, figure):
    @contextlib.contextmanager
    def opening():
        command = [str(tools / "transport-cases"), INTERFACE, str(twotrip), str(tools / "small-ecu")]
        ran = subprocess.run(command, capture_output=True, text=True, timeout=600)
        assert ran.returncode == 0, f"{' '.join(command)}: exit {ran.returncode}\n{ran.stdout}{ran.stderr}"
        yield Played(ran.stdout.splitlines())

    def hold_on_the_program(played):
        played.expect_none_failed("program")
        figure("transport cases on the program", sum(line[0] == "program" for line in played.lines), "plays")

    def hold_on_a_small_ecu(played):
        played.expect_none_failed("small ecu")
        figure("transport cases on a small ECU", sum(line[0] == "small ecu" for line in played.lines), "plays")

    def none_is_missing(played):
        held = played.numbers("program") | played.numbers("small ecu")
        assert held == ALL - LEFT_OUT, f"not played or failed: {sorted(ALL - LEFT_OUT - held)}"
        left_out = played.numbers("in memory", "left out")
        assert left_out - held == LEFT_OUT, f"left out: {left_out}"
        # Most of the legislated behaviour is the program's own.
        assert len(played.numbers("program")) >= 50, sorted(played.numbers("program"))
        again = []
        for _, _, plays, number, text in played.lines:
            if plays not in ("0", "1"):
                again.append(number)
                print(text.replace("\\n", "\n"), flush=True)
        figure("transport cases played more than once", len(again), f"cases {' '.join(again)}".strip())

    return ("transport_cases", opening, [hold_on_the_program, hold_on_a_small_ecu, none_is_missing])
