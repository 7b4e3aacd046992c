"""What all tests stand on: hypothesis profiles, and signals that reach what the tests start.

Profile `ci` is small and repeats exactly; HYPOTHESIS_PROFILE=wide looks further. `first` stops at
the first failure and does not make it small: a mutant only has to be seen.

A shell in the background, or nohup, starts programs that ignore SIGINT or SIGHUP, and what they
start ignores them too: tests that end a program by a signal would wait for ever.
"""

from __future__ import annotations

import os
import signal

from hypothesis import HealthCheck, Phase, settings

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
