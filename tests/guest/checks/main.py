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


def groups(program, tools, results, figure, counted):
    """What `Outcomes.group` takes, for all groups of such a guest. Nothing is done yet."""
    import bench
    import broadcasts
    import cost
    import disturbances
    import flood
    import judged
    import kernel_differences
    import kernel_tester
    import link
    import own_commands
    import python_client
    import recordings
    import replays
    import testers
    import traffic
    import transfer_cost
    import transport_cases
    import two_ecus
    import uds_client

    if counted:
        return [
            recordings.counted_group(program, tools, results, figure),
            testers.group(program, results, figure),
            flood.group(program, tools, figure),
            judged.group(program, figure),
            replays.counted_group(program, tools, results, figure),
            cost.group(program, tools, figure, counted),
            transfer_cost.group(program, tools, figure, counted),
        ]
    return [
        kernel_tester.group(program, results, figure),
        python_client.group(program, results, figure),
        uds_client.group(program),
        broadcasts.group(program, figure),
        own_commands.group(program),
        traffic.group(program, results, figure),
        recordings.group(program, tools, results, figure),
        replays.group(program, tools, results, figure),
        link.group(program, results, figure),
        link.error_group(program),
        disturbances.group(program),
        bench.group(program),
        kernel_differences.group(program),
        transport_cases.group(program, tools, figure),
        two_ecus.group(program, figure),
        cost.group(program, tools, figure, counted),
        transfer_cost.group(program, tools, figure, counted),
    ]


def main(program, tools, results, *wanted):
    program, tools, results = pathlib.Path(program), pathlib.Path(tools), pathlib.Path(results)
    outcomes = outcome.Outcomes(results, wanted)
    counted = os.environ.get("GUEST_CLOCK") == "instructions"
    for interface in ("vcan0", "vcan1", "vcan2", "vcan3"):
        make_bus(interface)
    for group in groups(program, tools, results, outcomes.figure, counted):
        outcomes.group(*group)


if __name__ == "__main__":
    main(*sys.argv[1:])
