"""All checks that need the guest, in order; `main.py PROGRAM TOOLS RESULTS [NAME ...]` runs those whose name holds a NAME.

With GUEST_CLOCK=instructions in the environment it runs those that time something, and no others.
PROGRAM is the `twotrip` binary, TOOLS the folder with the
binaries of `tests/Cargo.toml`.
"""

import os
import pathlib
import subprocess
import sys

import outcome


def make_bus(interface):
    """`ip link` of iproute2, as a user would type it."""
    for command in (
        ["ip", "link", "add", "dev", interface, "type", "vcan"],
        ["ip", "link", "set", interface, "up"],
    ):
        subprocess.run(command, check=True)


def main(program, tools, results, *wanted):
    import bench
    import broadcasts
    import cost
    import kernel_differences
    import kernel_tester
    import link
    import own_commands
    import python_client
    import recordings
    import replays
    import traffic
    import transfer_cost
    import transport_cases

    program, tools, results = pathlib.Path(program), pathlib.Path(tools), pathlib.Path(results)
    outcomes = outcome.Outcomes(results, wanted)
    counted = os.environ.get("GUEST_CLOCK") == "instructions"
    for interface in ("vcan0", "vcan1", "vcan2", "vcan3"):
        make_bus(interface)
    if counted:
        outcomes.group(*recordings.counted_group(program, tools, results, outcomes.figure))
        outcomes.group(*replays.counted_group(program, tools, results, outcomes.figure))
        outcomes.group(*cost.group(program, tools, outcomes.figure, counted))
        outcomes.group(*transfer_cost.group(program, tools, outcomes.figure, counted))
        return
    outcomes.group(*kernel_tester.group(program, results, outcomes.figure))
    outcomes.group(*python_client.group(program, results, outcomes.figure))
    outcomes.group(*broadcasts.group(program, outcomes.figure))
    outcomes.group(*own_commands.group(program))
    outcomes.group(*traffic.group(program, results, outcomes.figure))
    outcomes.group(*recordings.group(program, tools, results, outcomes.figure))
    outcomes.group(*replays.group(program, tools, results, outcomes.figure))
    outcomes.group(*link.group(program, results, outcomes.figure))
    outcomes.group(*link.error_group(program))
    outcomes.group(*bench.group(program))
    outcomes.group(*kernel_differences.group(program))
    outcomes.group(*transport_cases.group(program, tools, outcomes.figure))
    outcomes.group(*cost.group(program, tools, outcomes.figure, counted))
    outcomes.group(*transfer_cost.group(program, tools, outcomes.figure, counted))


if __name__ == "__main__":
    main(*sys.argv[1:])
