"""The figures of one run in words, for screens and reports."""

from collections.abc import Mapping
from typing import Any

from .units import show


def run_figures(
    summary: Mapping[str, Any], limit_c: float, us: bool, currency: str
) -> tuple[tuple[str, str], ...]:
    """Return (figure, value) of a `Trace.summary`."""
    mean_c = summary["wanted_mean_c"]
    mean = "no wanted hours" if mean_c is None else show(mean_c, "°C", us=us)
    return (
        (f"wanted hours over {show(limit_c, '°C', us=us)}", f"{summary['room_hours_over']:.1f} h"),
        ("mean room temperature, wanted hours", mean),
        ("coldest water", show(summary["min_store_true_c"], "°C", us=us)),
        ("most ice", show(summary["max_ice_kg"], "kg", us=us)),
        ("compressor starts", str(summary["starts"])),
        ("longest dry run of the pump", f"{summary['dry_seconds_max']} s"),
        ("condensate", show(summary["condensate_l"], "L", us=us)),
        ("spilled", show(summary["spill_l"], "L", us=us)),
        ("electricity", f"{summary['energy_kwh']:.2f} kWh"),
        ("cost", f"{summary['cost']:.2f} {currency}".rstrip()),
    )
