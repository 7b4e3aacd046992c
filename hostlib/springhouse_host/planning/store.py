"""The store as a plan sees it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class ReducedStore:
    """What the owner lets a store be [°C], and how warm it is now."""

    now_c: float
    deep_c: float
    shallow_c: float
    band_k: float
    warmest_c: float  # beyond it little is delivered, and soon no charge begins by itself any more
