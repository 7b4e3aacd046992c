"""Hypothesis profiles: `ci` is small and repeats exactly; HYPOTHESIS_PROFILE=wide looks further.

`first` stops at the first failure and does not make it small: a mutant only has to be seen.
"""

from __future__ import annotations

import os

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
