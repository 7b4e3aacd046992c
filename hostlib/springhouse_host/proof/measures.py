"""What each promise is judged by, in one run."""

from collections.abc import Callable, Mapping

from .running import Result

DAY_H = 24.0
# Promises of which nothing may fall short in any plausible installation.
SAFETY = ("ice_kg", "ice_left_daily", "spill_litres", "dry_run_s", "starts_per_hour", "off_gap_s")

# Each measure of a scenario's summary; None where the scenario has nothing to say.
MEASURES: Mapping[str, Callable[[Result], float | None]] = {
    "room_share_percent": lambda r: (
        100.0 * r.summary["wanted_share_within"] if r.scenario.comfort_promised else None
    ),
    # The controller cannot stop a welded relay; its ice is judged as the response of that case.
    "ice_kg": lambda r: r.summary["max_ice_kg"] if r.scenario.welded_ice_kg is None else None,
    "ice_left_daily": lambda r: (
        float(r.summary["longest_ice_h"] // DAY_H) if r.scenario.welded_ice_kg is None else None
    ),
    "spill_litres": lambda r: r.summary["spill_l"],
    "dry_run_s": lambda r: float(r.summary["dry_seconds_max"]),
    "starts_per_hour": lambda r: float(r.summary["starts_per_hour_max"]),
    # A relay welded shut starts the compressor whatever is commanded.
    "off_gap_s": lambda r: (
        None if r.scenario.welded_ice_kg is not None else r.summary["off_gap_min_s"]
    ),
    "cost_per_day": lambda r: (
        r.summary["cost"] / r.summary["days"] if r.scenario.group == "nominal" else None
    ),
}
