"""The work of one step, counted in calls and lines of the core, not in seconds."""

import sys

import core_walk
from springhouse import controller

# Counted on the walk below; what a chip takes for it stands in docs/build.md. Twice the worst.
CALLS_MOST, LINES_MOST = 600, 2900


class Counted:
    """Counts calls and lines while the core runs, step by step."""

    def __init__(self) -> None:
        self.steps: list[tuple[int, int]] = []
        self._calls = self._lines = 0
        self._real = controller.step

    def _trace(self, _frame, event: str, _argument):
        self._calls += event == "call"
        self._lines += event == "line"
        return self._trace

    def step(self, memory, settings, readings) -> int:
        self._calls = self._lines = 0
        sys.settrace(self._trace)
        try:
            return self._real(memory, settings, readings)
        finally:
            sys.settrace(None)
            self.steps.append((self._calls, self._lines))


def test_the_worst_step_stays_in_its_budget(monkeypatch) -> None:
    """A tenfold rise of the work of a step, or of any of them, ends here."""
    counted = Counted()
    monkeypatch.setattr(controller, "step", counted.step)
    core_walk.walk((1 << 30) - 20_000_000, 1, 1, lambda _line: None)
    calls, lines = (max(column) for column in zip(*counted.steps, strict=True))
    mean = sum(step[1] for step in counted.steps) / len(counted.steps)
    print(
        f"{len(counted.steps)} steps: at most {calls} calls, {lines} lines; {mean:.0f} on average"
    )
    assert len(counted.steps) >= 1000
    assert calls <= CALLS_MOST
    assert lines <= LINES_MOST
    assert lines >= LINES_MOST / 8, "the budget is of this program: no tenfold rise fits in it"
