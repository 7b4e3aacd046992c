"""What limits the installation first, and where its parts belong."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..units import show
from .running import TRIP_C, Charging, Continuous, highest_c, lowest_c

if TYPE_CHECKING:
    from springhouse_sim.plant.plant import Plant

ONE_CHARGE = "cold of one charge for the wanted hours"
DRAW_ABOVE_FLOOR_M = 0.05  # sediment stays below
RETURN_BELOW_SURFACE = 0.1  # share of the depth
WALL_PROBE_MM = 20.0
MOST = 100.0  # a ratio above it is no limit, and shown as this


@dataclass(frozen=True)
class Limit:
    """What there is over what is needed, at most MOST; below 1 it does not suffice."""

    name: str
    ratio: float
    change: str


def ratio(there: float, needed: float) -> float:
    """Return what there is over what is needed, at most MOST."""
    return min(MOST, there / max(needed, 1e-9))


def limits(
    *,
    discharge_h: float,
    wanted_h: float,
    compressor_h: float,
    charging_h: float,
    room_w: float,
    gain_peak_w: float,
    tray_full_h: float | None,
    open_drain: bool,
    at_work: Charging,
    climate_class: str,
    battery_h: float | None,
) -> tuple[Limit, ...]:
    """Return every limit, the tightest first."""
    found = [
        Limit(
            ONE_CHARGE,
            ratio(discharge_h, wanted_h),
            "more water, a lower deep target with a probe at the wall, an ice bank, less sun",
        ),
        Limit(
            "charging hours for the heat of one day",
            ratio(charging_h, compressor_h),
            "longer charging hours, a stronger freezer, better insulation, a cooler place for it",
        ),
        Limit(
            "coil with a full store against the hottest wanted hour",
            ratio(room_w, gain_peak_w),
            "a second fan or coil, more rows, more flow, a lower deep target",
        ),
        Limit(
            "place of the freezer against its climate class",
            ratio(highest_c(climate_class), at_work.place_hottest_c),
            "vent the place, move the freezer, do not charge in the hottest hours",
        ),
        Limit(
            "motor's protector against its winding at the hottest hour",
            ratio(TRIP_C, at_work.winding_hottest_c),
            "vent the place, clean the condenser, do not charge in the hottest hours",
        ),
    ]
    if not open_drain:
        found.append(
            Limit(
                "tray for the condensate of one day's wanted hours",
                MOST if tray_full_h is None else ratio(tray_full_h, wanted_h),
                "a larger tray, an open drain, a store kept warmer than the dew point",
            )
        )
    if battery_h is not None:
        found.append(
            Limit(
                "battery for the wanted hours of one day",
                ratio(battery_h, wanted_h),
                "more watt-hours, a smaller pump or fan, fans at quiet duty",
            )
        )
    return tuple(sorted(found, key=lambda limit: limit.ratio))


def places(plant: "Plant", us: bool = False) -> list[str]:
    """Return where draw, return and probes belong, beside where they are."""
    store = plant.store

    def height(metres: float) -> str:
        return show(1000.0 * metres, "mm", us=True, digits=2) if us else f"{metres:.2f} m"

    surface_m = store.water_l / 1000.0 / store.area_m2
    return_m = (1.0 - RETURN_BELOW_SURFACE) * surface_m
    return [
        f"draw: {height(DRAW_ABOVE_FLOOR_M)} to {height(0.2 * surface_m)} above the floor, over "
        f"sediment and under the cold (here {height(store.draw_m)})",
        f"return: near the surface, about {height(return_m)}, so that warm water stays on top "
        f"(here {height(store.return_m)} of {height(surface_m)})",
        f"low probe: beside the draw, it says what the coil gets (here "
        f"{height(store.probe_low_m)}); below {show(4.0, '°C', us=us)} it cannot see ice",
        f"high probe: {height(0.8 * surface_m)} to {height(0.95 * surface_m)}, at most "
        f"{show(WALL_PROBE_MM, 'mm', us=us, digits=2)} from the coldest wall, where ice starts "
        f"(here {height(store.probe_high_m)}, "
        f"{show(store.probe_high_wall_mm, 'mm', us=us, digits=2)})",
    ]


def standing(
    is_cooled_room: bool,
    at_work: Charging,
    climate_class: str,
    mean: Continuous,
    wanted_w: float,
    us: bool = False,
) -> list[str]:
    """Return what is to be said about where the freezer stands."""
    found = []

    def warmth(celsius: float) -> str:
        return show(celsius, "°C", us=us)

    if is_cooled_room:
        found.append(
            f"the freezer stands in the room it is to cool: while it runs it heats that room with "
            f"{at_work.rejected_w:.0f} W and the room can only lose on balance; put it elsewhere"
        )
    else:
        found.append(
            f"the freezer gives off {at_work.rejected_w:.0f} W while it runs: anywhere but in the "
            "room to be cooled, vented, within its climate class; in the same room it would heat it"
        )
    limit_c = highest_c(climate_class)
    verdict = "within" if at_work.class_margin_k(climate_class) >= 0.0 else "ABOVE"
    found.append(
        f"its place reaches {warmth(at_work.place_hottest_c)} at the hottest hour with the "
        f"compressor on, {verdict} the {warmth(limit_c)} of class {climate_class}"
    )
    if at_work.place_coldest_c < lowest_c(climate_class):
        found.append(
            f"its place falls to {warmth(at_work.place_coldest_c)} at the coldest hour of that "
            f"day, BELOW the {warmth(lowest_c(climate_class))} of class {climate_class}: "
            "its oil and thermostat are not made for it"
        )
    if at_work.winding_hottest_c > TRIP_C:
        found.append(
            f"its motor would pass the {warmth(TRIP_C)} at which its protector is taken to open "
            f"({warmth(at_work.winding_hottest_c)}): then it stands still for long"
        )
    if mean.keeps_up:
        found.append(
            f"on a mean summer day it could run continuously: water {warmth(mean.water_c)}, "
            f"supply air {warmth(mean.supply_c)}, {mean.room_w:.0f} W against a mean of "
            f"{mean.gain_w:.0f} W"
        )
        if mean.room_w < wanted_w:
            found.append(
                f"the {wanted_w:.0f} W of the design day's wanted hours it covers only from "
                "stored cold"
            )
    else:
        found.append(
            f"on a mean summer day it works only as a battery: running continuously it would end "
            f"at {warmth(mean.water_c)} water and take {mean.room_w:.0f} W of {mean.gain_w:.0f} W"
        )
    if at_work.outside_envelope:
        found.append(
            "chilling water lies outside the rated envelope of a freezer's compressor: capacity "
            "there is held at the envelope's edge and limited by the capillary tube"
        )
    return found
