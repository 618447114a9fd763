"""Prints the name of each check that `tests/guest/checks` and `tests/peers` would make, and makes none."""

import importlib.util
import pathlib
import sys

TESTS = pathlib.Path(__file__).resolve().parent.parent
NOWHERE = pathlib.Path("nowhere")


def load(name):
    """A file of `tests/`; two of them are called `main`."""
    path = TESTS / name
    sys.path.insert(0, str(path.parent))
    spec = importlib.util.spec_from_file_location(name.replace("/", "_"), path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


outcome = load("guest/checks/outcome.py")
guest = load("guest/checks/main.py")
for counted in (False, True):
    for prefix, _, steps in guest.groups(NOWHERE, NOWHERE, NOWHERE, None, counted):
        print(*outcome.names(prefix, steps), sep="\n")
for prefix, checks in (
    ("analysers", load("peers/main.py").checks(NOWHERE, NOWHERE, NOWHERE, None)),
    ("vectors", load("peers/vectors.py").group(NOWHERE, [], None)),
    ("vectors", load("peers/uds.py").group([])),
):
    print(*(f"{prefix}::{check.__name__}" for check in checks), sep="\n")
