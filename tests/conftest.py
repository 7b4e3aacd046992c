"""What all tests stand on: hypothesis profiles, and signals that reach what the tests start.

Profile `ci` is small and repeats exactly; HYPOTHESIS_PROFILE=wide looks further. `first` stops at
the first failure and does not make it small: a mutant only has to be seen.

A shell in the background, or nohup, starts programs that ignore SIGINT or SIGHUP, and what they
start ignores them too: tests that end a program by a signal would wait for ever.
"""

from __future__ import annotations

import os
import signal

import pytest
from hypothesis import HealthCheck, Phase, settings

# Files that take longest, the longest first: begun last, one of them alone would hold up the rest.
# What the first compiles the others would wait for: those that need it come behind board tests.
LONG = (
    *("host/test_prove.py", "board/test_network_trouble.py", "board/test_virtual_board.py"),
    *("board/test_flash.py", "board/test_heap.py", "host/test_no_false_alarm.py"),
    *("board/test_selftest.py", "guards/test_abstract.py", "sim/test_planted_bugs.py"),
    *("sim/test_bench.py", "host/test_proof_parts.py", "guards/test_catalogue.py"),
    *("firmware/test_inv_store.py", "firmware/test_micropython.py", "host/test_fit.py"),
)

_SLOW_IS_FINE = (HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much)

settings.register_profile(
    "ci",
    max_examples=60,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=_SLOW_IS_FINE,
)
settings.register_profile("wide", settings.get_profile("ci"), max_examples=5000, derandomize=False)
settings.register_profile(
    "first",
    settings.get_profile("ci"),
    phases=(Phase.explicit, Phase.generate),
    report_multiple_bugs=False,
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))

if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) == signal.SIG_IGN:
    signal.signal(signal.SIGHUP, signal.SIG_DFL)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first, with `--no-loadscope-reorder`; all else in the order it was found."""

    def place(item: pytest.Item) -> int:
        name = item.path.parent.name + "/" + item.path.name
        return LONG.index(name) if name in LONG else len(LONG)

    items.sort(key=place)
