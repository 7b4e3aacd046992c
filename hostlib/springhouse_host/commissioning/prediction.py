"""What to expect: fill line, weight, flow, and the first charge by the hour."""

import itertools
from dataclasses import dataclass

import numpy as np
from springhouse import setting
from springhouse_sim.plant import water
from springhouse_sim.plant.pull_down import Chill

from ..sheet.charge import litres_kg
from ..site import VARIANTS, Site, Variant
from ..site.loop_part import loop
from ..site.rules_parts import ICE_SWELLS

HEADROOM_MM = 20.0  # under the rim, for stirring and a lid that is set down; common practice
FILL_C = 20.0
PLACE_C = 24.0
LONGEST_H = 96
GRID = 25


@dataclass(frozen=True)
class FillLine:
    """Heights over the inner floor [mm]; an ice of one kilogram lifts the level by `ICE_SWELLS`.

    Densities: Kell 1975 for water, 916.7 kg/m³ for ice at 0 °C (IAPWS R10-06).
    """

    water_mm: float  # with the litres of the site
    ice_mm: float  # what the allowed ice adds
    solid_mm: float  # what all water frozen adds
    rim_mm: float

    @property
    def highest_mm(self) -> float:
        """Highest line that leaves room for the allowed ice and the headroom."""
        return self.rim_mm - HEADROOM_MM - self.ice_mm


def fill_line(site: Site) -> FillLine:
    """Return where the water may stand."""
    store = site.plant().store
    area_m2 = store.area_m2  # L/m2 = mm
    litres = site.file.store.water_litres
    return FillLine(
        water_mm=litres / area_m2,
        ice_mm=ICE_SWELLS * site.file.store.ice_limit_kg / area_m2,
        solid_mm=ICE_SWELLS * litres_kg(litres) / area_m2,
        rim_mm=1000.0 * store.inner_depth_m,
    )


def floor_kg_m2(site: Site, freezer_kg: float, length_m: float, width_m: float) -> float:
    """Return the load on the freezer's own footprint with the store full [kg/m²]."""
    return (freezer_kg + litres_kg(site.file.store.water_litres)) / (length_m * width_m)


def flow_l_min(site: Site) -> tuple[float, float]:
    """Return the loop's flow for the weakest and the strongest reading of the labels [L/min]."""
    strongest = loop(site.file, site.known, "high").operating_l_min(2.0, 1.0)
    return site.weakest_l_min, float(strongest)


def chill(site: Site, variant: Variant) -> Chill:
    """Return store and machine for one reading of the labels."""
    plant = site.plant(variant)
    return Chill.of(plant.store, plant.freezer)


def charge_hours(site: Site, from_c: float, to_c: float, place_c: float) -> dict[Variant, float]:
    """Return the compressor hours between two temperatures, by reading of the labels."""
    return {v: chill(site, v).hours(1.0, from_c, to_c, place_c) for v in VARIANTS}


@dataclass(frozen=True)
class Hourly:
    """The first charge hour by hour [°C], index 0 the start, by reading of the labels."""

    from_c: float
    to_c: float
    place_c: float
    run_min: int  # the motor's spell and rest in the first pull-down
    rest_min: int
    store_c: dict[Variant, tuple[float, ...]]


def hourly(site: Site, from_c: float = FILL_C, place_c: float = PLACE_C) -> Hourly:
    """Return the first charge from ``from_c`` down to the deep target beside ``place_c``.

    The store is one temperature, the machine steady at each (`springhouse_sim.plant.pull_down`);
    start transients and layers are left out, a few per cent. From a warm fill the motor rests
    between spells as the settings have it.
    """
    settings = site.settings()
    to_c = max(0.5, settings[setting.DEEP_MC] / 1000.0)
    warm = from_c > settings[setting.WARM_FILL_MC] / 1000.0
    run_min = settings[setting.PULL_DOWN_RUN_MIN] if warm else 0
    rest_min = settings[setting.PULL_DOWN_REST_MIN] if warm else 0
    found = {v: _march(chill(site, v), from_c, to_c, place_c, run_min, rest_min) for v in VARIANTS}
    return Hourly(from_c, to_c, place_c, run_min, rest_min, found)


def _march(
    part: Chill, from_c: float, to_c: float, place_c: float, run_min: int, rest_min: int
) -> tuple[float, ...]:
    """Return the store's temperature at each full hour until it is at the aim, by the minute."""
    grid = np.linspace(to_c, from_c, GRID)
    taken_w = [part.taken_w(1.0, float(t), place_c) for t in grid]
    store_c, found = from_c, [from_c]
    for minute in itertools.count():
        resting = bool(run_min) and minute % (run_min + rest_min) >= run_min
        watts = 0.0 if resting else float(np.interp(store_c, grid, taken_w))
        net_w = watts - part.standing_w_k * (place_c - store_c)
        j_k = part.mass_kg * water.heat_capacity_j_kg_k(store_c)
        store_c = max(to_c, store_c - 60.0 * net_w / j_k)
        if (minute + 1) % 60 == 0:
            found.append(store_c)
        if store_c <= to_c or len(found) > LONGEST_H:
            if found[-1] > store_c:
                found.append(store_c)
            return tuple(found)
    raise AssertionError("itertools.count ends never")


def at_hour(table: Hourly, variant: Variant, hour: int) -> float:
    """Return the temperature at an hour; behind the last row the aim is held."""
    row = table.store_c[variant]
    return row[min(hour, len(row) - 1)]
