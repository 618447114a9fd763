"""The program's own tester on SocketCAN, and what it advises where there is no bus to use.

Here both ends are ours: what is checked is that the commands work on the kernel's interfaces, not what the messages hold.
"""

import contextlib
import subprocess

import program


class Commands:
    def __init__(self, twotrip):
        self.twotrip = str(twotrip)

    def run(self, *words, expect):
        ran = subprocess.run([self.twotrip, *words], capture_output=True, text=True, timeout=120)
        assert ran.returncode == expect, f"{words}: exit {ran.returncode}, expected {expect}\n{ran.stdout}{ran.stderr}"
        return ran

    def type_what_it_says(self, text):
        """Runs the `ip link` commands a message gives, as a reader would, without `sudo`."""
        commands = [part for part in text.split("`") if part.startswith(("ip link", "sudo ip link"))]
        assert commands, f"no `ip link` command in: {text}"
        subprocess.run(["sh", "-c", commands[0].replace("sudo ", "")], check=True)


def group(twotrip):
    @contextlib.contextmanager
    def opening():
        yield Commands(twotrip)

    def scan_reads_a_car_on_vcan(commands):
        with program.car(twotrip, "loose-fuel-cap", "vcan0"):
            for what, word in {"codes": "P0455", "permanent": "P0455", "freeze-frame": "P0455"}.items():
                said = commands.run("scan", what, "--bus", "vcan0", expect=0).stdout
                assert word in said, f"scan {what}: {said}"
            commands.run("scan", "all", "--bus", "vcan0", expect=0)
            commands.run("scan", "clear", "--bus", "vcan0", expect=0)
            said = commands.run("scan", "codes", "--bus", "vcan0", expect=0).stdout
            assert "P0455" not in said, f"scan codes after clear: {said}"

    def a_missing_interface_says_what_to_type(commands):
        said = commands.run("run", "healthy", "--bus", "vcan7", expect=3).stderr
        assert "vcan7" in said, said
        commands.type_what_it_says(said)
        with program.car(twotrip, program.QUICK, "vcan7"):
            pass

    def an_interface_that_is_down_says_what_to_type(commands):
        subprocess.run(["ip", "link", "add", "dev", "vcan8", "type", "vcan"], check=True)
        said = commands.run("run", "healthy", "--bus", "vcan8", expect=3).stderr
        assert "vcan8" in said, said
        commands.type_what_it_says(said)
        with program.car(twotrip, program.QUICK, "vcan8"):
            pass

    return (
        "own_commands",
        opening,
        [
            scan_reads_a_car_on_vcan,
            a_missing_interface_says_what_to_type,
            an_interface_that_is_down_says_what_to_type,
        ],
    )
