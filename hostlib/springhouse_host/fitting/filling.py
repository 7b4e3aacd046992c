"""What a log leaves out and the site tells: weather, people, equipment, moisture."""

import numpy as np
import pandas as pd
from springhouse_sim.plant import given, moist_air

from ..errors import KnownError
from ..site import Site


def outdoors(table: pd.DataFrame, site: Site, path: object) -> pd.DataFrame:
    """Return the log's table with its outdoor columns filled from the site's weather.

    Raises:
        KnownError: when the log has no outdoor temperature and the weather is a typical year.
    """
    from springhouse_sim.world.outdoors import Outdoors

    weather = site.read_weather()
    table = table.copy()
    ahead = pd.Timedelta(minutes=site.file.weather.clock_ahead_min)
    table["ground_c"] = (
        20.0
        if site.ground is None
        else [
            site.ground.at_c(stamp.to_pydatetime())
            for stamp in pd.DatetimeIndex(table.index) - ahead
        ]
    )
    if not table["outdoor_c"].notna().any() and weather.cyclic:
        raise KnownError(
            f"{path}: no outdoor_c, and the site's weather is a typical year, not this one: "
            "give --outdoor FILE (CSV: local_time, outdoor_c)"
        )
    table["outdoor_c"] = table["outdoor_c"].interpolate(method="time", limit_direction="both")
    if table["outdoor_c"].notna().all() and table["sun_w"].notna().any():
        table["sun_w"] = table["sun_w"].interpolate(method="time", limit_direction="both")
        return table
    sun_w = Outdoors(weather, site.glazing()).hourly_sun_w
    found = np.empty((2, len(table)))
    for i, stamp in enumerate(pd.DatetimeIndex(table.index) - ahead):
        try:
            hour = weather.hour_of(stamp.to_pydatetime())
        except ValueError as error:
            raise KnownError(f"{path}: {error}") from None
        found[0, i] = weather.between_rows(weather.temp_air_c, hour)
        found[1, i] = weather.between_rows(sun_w, hour + 0.5)
    for name, values in zip(("outdoor_c", "sun_w"), found, strict=True):
        table[name] = table[name].where(table[name].notna(), values)
    return table


def people(table: pd.DataFrame, site: Site) -> pd.DataFrame:
    """Return the table with the heat of people and equipment by the site's hours where unknown."""
    from springhouse_sim.world.people import TABLE_C, heat_of_person_w

    table, plan = table.copy(), site.people()
    when = pd.DatetimeIndex(table.index)
    minute = (when.day_of_week * 1440 + when.hour * 60 + when.minute).to_numpy()
    loads = {
        "people_w": [
            (p.people * heat_of_person_w(p.activity, TABLE_C)[0], p.windows) for p in plan.occupancy
        ],
        "equipment_w": [(e.watts, e.windows) for e in plan.equipment],
    }
    for column, parts in loads.items():
        if table[column].notna().any():
            table[column] = table[column].ffill().bfill()
            continue
        watts = np.zeros(len(table))
        for one_w, windows in parts:
            watts += one_w * np.array([any(w.contains(int(m)) for w in windows) for m in minute])
        table[column] = watts
    return table


def humidity(table: pd.DataFrame, pressure_pa: float) -> pd.DataFrame:
    """Return the table with humidity ratios [kg/kg] of room, where known, and outdoors."""
    ratio = np.full(len(table), np.nan)
    for i, (share, room_c) in enumerate(zip(table["humidity"], table["room_c"], strict=True)):
        if not (np.isnan(share) or np.isnan(room_c)):
            vapour_pa = share * moist_air.saturation_pressure_pa(room_c)
            ratio[i] = moist_air.humidity_ratio(vapour_pa, pressure_pa)
    outdoor = given.neutral_given()[given.OUTDOOR_HUMIDITY_RATIO]
    return table.assign(humidity_ratio=ratio, outdoor_ratio=outdoor)
