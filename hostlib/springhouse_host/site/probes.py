"""Error budgets of the probes."""

from collections.abc import Collection

RAW_K = 0.5  # data sheet of the usual digital probe, -10 to 85 °C
ICE_POINT_K = 0.2  # left after an ice-point check


def probe_error_k(probe: str, ice_point_checked: Collection[str]) -> float:
    """Return how far a probe's reading may be off [K]."""
    return ICE_POINT_K if probe in ice_point_checked else RAW_K
