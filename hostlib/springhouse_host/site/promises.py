"""The bounds an owner wants kept."""

from dataclasses import dataclass
from typing import Literal

from .read import SiteFile

Measure = Literal[
    "room_share_percent",
    "ice_kg",
    "ice_left_daily",
    "spill_litres",
    "dry_run_s",
    "starts_per_hour",
    "off_gap_s",
    "cost_per_day",
]


@dataclass(frozen=True)
class Promise:
    """A bound on one measure of a scenario; ``at_least`` says on which side to stay."""

    measure: Measure
    name: str
    unit: str
    limit: float
    at_least: bool = False
    room_below_c: float | None = None  # of the share of wanted hours only

    def margin(self, worst: float) -> float:
        """Return how far the worst value stays inside; 0 is kept only where it cannot be above."""
        return worst - self.limit if self.at_least else self.limit - worst


def promises(file: SiteFile) -> tuple[Promise, ...]:
    """Return the promises of a site file in the order of its keys."""
    table = file.promises
    ice_kg = file.store.ice_limit_kg if table.ice_at_most_kg is None else table.ice_at_most_kg
    found = [
        Promise(
            "room_share_percent",
            f"wanted hours with the room below {round(table.room_below_c, 1):g} °C",
            "%",
            table.room_share_percent,
            at_least=True,
            room_below_c=table.room_below_c,
        ),
        Promise("ice_kg", "ice in the store", "kg", ice_kg),
        Promise("spill_litres", "condensate spilled", "L", table.spill_at_most_litres),
        Promise("dry_run_s", "pump running without flow", "s", table.dry_run_at_most_s),
        Promise(
            "starts_per_hour",
            "compressor starts in any hour",
            "1/h",
            float(table.starts_per_hour_at_most),
        ),
        Promise(
            "off_gap_s",
            "compressor off between two runs",
            "s",
            table.off_gap_at_least_s,
            at_least=True,
        ),
    ]
    if table.ice_gone_daily and not file.store.ice_bank:
        found.insert(2, Promise("ice_left_daily", "days on which ice never melted", "days", 0.0))
    if table.cost_per_day_at_most is not None:
        unit = file.site.currency or "currency"
        found.append(Promise("cost_per_day", "electricity a day", unit, table.cost_per_day_at_most))
    return tuple(found)
