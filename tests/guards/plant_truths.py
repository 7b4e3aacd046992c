"""What must be true of the plant itself whatever breaks, and what each truth takes for granted.

A truth is not asked where the life took away what it rests on: a part that only hardware can stand
in for, or the one sensor that could have known. Everything else may break at any time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from plant_life import Life, site
from springhouse import setting
from springhouse_sim import gauge
from springhouse_sim.plant import state
from springhouse_sim.trace import Trace

SCAN_S = 1
# Insulation of class B lasts at 130 °C (from memory); the protector opens at 120 °C.
WINDING_MOST_C = 130.0


@dataclass(frozen=True)
class Truth:
    """A bound on what really happened; ``holds_for`` says of which lives it is asked."""

    name: str
    unit: str
    limit: Callable[[], float]
    value: Callable[[Trace], float]
    holds_for: Callable[[Life], bool]


def lies_warm(life: Life, probe: str) -> bool:
    """Whether good frames of a probe stand still or exceed the truth by more than its budget.

    A probe that reads too cold, or too warm within its budget, must do no harm.
    """
    budget_mk = 1000 * site().probe_errors_k[probe] - life.error_mk
    wrong = [f for f in life.faults if f.probe == probe]
    shifts_mk = [f.value or 0.0 for f in wrong if f.kind in ("probe_drift", "probe_offset")]
    return max(shifts_mk, default=0.0) > budget_mk or any(f.kind == "probe_stuck" for f in wrong)


def sees_ice(life: Life) -> bool:
    """Whether the store's ice is in reach of relay and wall probe."""
    return not life.has("relay_welded") and not lies_warm(life, "store_high")


def _min_off_s() -> float:
    return -float(site().settings()[setting.MIN_OFF_S])


def _gap_s(trace: Trace) -> float:
    gap = trace.off_gap_min_s()
    return -1e9 if gap is None else -float(gap)


def _one_more_scan(slot: int) -> Callable[[], float]:
    return lambda: float(site().settings()[slot]) + 2 * SCAN_S


def _relay_follows(life: Life) -> bool:
    """A welded relay follows the mains; a mains sense that hangs hides an outage."""
    hidden = life.has("mains_sense_stuck") and life.outages
    return not hidden and not life.has("relay_welded", "relay_dead")


TRUTHS = (
    # The wall probe is the only one that sees ice begin; beyond its error budget nothing does.
    Truth(
        "ice",
        "kg",
        lambda: float(site().file.store.ice_limit_kg),
        lambda trace: float(trace.peaks[gauge.ICE_MAX_KG]),
        sees_ice,
    ),
    Truth(
        "ice standing",
        "h",
        lambda: 24.0,
        lambda trace: float(trace.counts[gauge.ICE_MAX_S]) / 3600.0,
        sees_ice,
    ),
    # A tray float that hangs is hardware; a hose held into the tray fills it whatever is off.
    Truth(
        "spilled",
        "L",
        lambda: 0.0,
        lambda trace: trace.total(state.SPILL_L),
        lambda life: not life.has("tray_float_stuck", "tray_filled"),
    ),
    # A sensor that shows flow where there is none is the only evidence there is.
    Truth(
        "dry running",
        "s",
        _one_more_scan(setting.PRIME_S),
        lambda trace: float(trace.counts[gauge.DRY_MAX_S]),
        lambda life: not life.has("flow_jammed"),
    ),
    Truth(
        "off before a start (negative)",
        "s",
        _min_off_s,
        _gap_s,
        _relay_follows,
    ),
    Truth(
        "starts in an hour",
        "",
        lambda: float(site().settings()[setting.STARTS_PER_HOUR]),
        lambda trace: float(trace.counts[gauge.STARTS_PER_HOUR_MAX]),
        _relay_follows,
    ),
    Truth(
        "winding",
        "°C",
        lambda: WINDING_MOST_C,
        lambda trace: float(trace.peaks[gauge.WINDING_MAX_C]),
        lambda life: True,
    ),
)


def broken(life: Life, trace: Trace) -> list[str]:
    """One line for each truth that a life broke, and each invariant by the observer."""
    found = [
        f"INV-{number:02d} is broken {n} times" for number, n in enumerate(trace.violations) if n
    ]
    for truth in TRUTHS:
        value, limit = truth.value(trace), truth.limit()
        if truth.holds_for(life) and value > limit + 1e-9:
            found.append(f"{truth.name}: {value:g} {truth.unit}, limit {limit:g}")
    return found
