"""Compares what a tool reads with what is wanted, allowing for its known errors, and finds entries that no longer hold."""

from known_errors import KNOWN_ERRORS


class Comparison:
    """One tool and one kind of reading. `compare` notes, `conclude` judges."""

    def __init__(self, tool, kind):
        self.reasons = KNOWN_ERRORS.get((tool, kind), {})
        self.problems, self.compared, self.read_right, self.read_wrong = {}, 0, set(), set()

    def compare(self, subject, wanted, got, where, is_near=None):
        """`is_near` takes a wanted and a read number; without it as near as three decimals and a thousandth."""
        is_near = is_near or (lambda a, b: abs(a - b) <= 0.001 + abs(a) * 1e-3)
        self.note(subject, len(got) == len(wanted) and all(map(is_near, wanted, got)), wanted, got, where)

    def same(self, subject, wanted, got, where):
        """For what must be equal."""
        self.note(subject, wanted == got, wanted, got, where)

    def note(self, subject, right, wanted, got, where):
        self.compared += 1
        (self.read_right if right else self.read_wrong).add(subject)
        if not right and subject not in self.reasons:
            self.problems.setdefault(subject, f"{where}: {subject} is {wanted}, the tool reads {got}")

    def conclude(self):
        assert self.compared, "nothing was compared"
        for subject in self.reasons.keys() - self.read_wrong:
            # A tool that is wrong may read a zero right: only an entry never read wrong is out of date.
            found = "read right now" if subject in self.read_right else "not there any more"
            self.problems[subject] = f"{subject} is listed as a known error, but is {found}"
        # One example of each.
        assert not self.problems, f"{len(self.problems)} subjects\n" + "\n".join(self.problems.values())
