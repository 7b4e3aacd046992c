"""Kept records as tables: minutes, days, what they cost, and what drifts.

The board measures no electric power. Energy of the freezer is its run time times the power on its
label, unless a person has read an energy meter at least twice; pump, fans and board likewise.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from springhouse import output

from .board_record import BoardRecord
from .calibration import Calibration

if TYPE_CHECKING:
    from ..site.site import Site

# A record stands for the time until the next, but not for a gap.
LONGEST_STEP_S = 120.0
COLUMNS = (
    "seen_s",
    "store_low_c",
    "store_high_c",
    "room_c",
    "coil_in_c",
    "coil_air_c",
    "flow_l_min",
    "battery_v",
    "out",
    "store_state",
    "room_state",
    "latch",
    "mains",
)
FLOW_DRIFT = -0.20  # against the first days; so much more power or so many more starts too
POWER_DRIFT = 0.15
STARTS_DRIFT = 0.50
FIRST_DAYS = 7  # what later days are held against
LEAST_DAYS = 3


@dataclass(frozen=True)
class Drift:
    """Something that has moved."""

    what: str
    was: float
    now: float
    look_at: str


def table(
    records: Iterable[BoardRecord], zone: tzinfo | None = None, site: "Site | None" = None
) -> pd.DataFrame:
    """Return the records, one a row, indexed by local time; bad probe frames are missing values.

    Temperatures carry the calibration offsets of the site, without one they are raw.
    """
    calibration = Calibration(site)
    rows = [
        (
            r.seen_s,
            *(r.probe_c(i) for i in range(5)),
            r.line.ml / 1000.0,
            r.line.mv / 1000.0,
            r.line.out,
            r.line.st[0],
            r.line.st[1],
            r.line.lat,
            r.mains,
        )
        for r in map(calibration.applied, records)
    ]
    data = pd.DataFrame(rows, columns=list(COLUMNS))
    numbers = [name for name in COLUMNS if name.endswith(("_c", "_min", "_v"))]
    data[numbers] = data[numbers].astype(float)
    index = pd.to_datetime(data["seen_s"], unit="s", utc=True)
    data.index = pd.DatetimeIndex(index).tz_convert(zone or _local_zone())
    data.index.name = "local_time"
    return data


def _local_zone() -> tzinfo:
    zone = datetime.now().astimezone().tzinfo
    return UTC if zone is None else zone


def _dates(data: pd.DataFrame) -> NDArray[np.object_]:
    return np.asarray(pd.DatetimeIndex(data.index).date)


def _hours(data: pd.DataFrame) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return (hours each record stands for, whether a gap follows it)."""
    step_s = (-data["seen_s"].diff(-1)).fillna(0.0).to_numpy()
    return np.clip(step_s, 0.0, LONGEST_STEP_S) / 3600.0, step_s > LONGEST_STEP_S


def daily(data: pd.DataFrame) -> pd.DataFrame:
    """Return a row a local day: hours of everything, starts, temperatures, flow while pumping."""
    if data.empty:
        return pd.DataFrame()
    hours, gap = _hours(data)
    out = data["out"].to_numpy()
    work = pd.DataFrame(index=data.index)
    work["watched_h"] = hours
    for name, bit in (
        ("compressor", output.COMPRESSOR),
        ("pump", output.PUMP),
        ("fan", output.FAN),
    ):
        on = (out & bit) > 0
        work[f"{name}_h"] = np.where(on, hours, 0.0)
        begun = on & ~np.roll(on, 1) & ~np.roll(gap, 1)
        begun[0] = False
        work[f"{name}_starts"] = begun
    work["no_mains_h"] = np.where(data["mains"].to_numpy(), 0.0, hours)
    work["alarm_h"] = np.where(data["latch"].to_numpy() > 0, hours, 0.0)
    by_day = work.groupby(_dates(data))
    found = by_day.sum()
    store = data[["store_low_c", "store_high_c"]].mean(axis=1)
    of_day = data.groupby(_dates(data))
    found["store_min_c"] = store.groupby(_dates(data)).min()
    found["store_max_c"] = store.groupby(_dates(data)).max()
    found["room_max_c"] = of_day["room_c"].max()
    pumping = data[(out & output.PUMP) > 0]
    found["flow_l_min"] = pumping.groupby(_dates(pumping))["flow_l_min"].median()
    found.index.name = "day"
    return found


def with_cost(days: pd.DataFrame, data: pd.DataFrame, site: "Site") -> pd.DataFrame:
    """Return the days with energy and cost by the site's tariff, from label powers."""
    file = site.file
    out = data["out"].to_numpy()
    watts = np.where(out & output.COMPRESSOR, file.freezer.label_input_w, file.freezer.standby_w)
    watts = watts + np.where(out & output.PUMP, file.loop.pump_w, 0.0)
    watts = watts + np.where(out & output.FAN, file.coil.fans * file.coil.fan_w, 0.0)
    watts = watts + file.battery.board_w
    kwh = watts / 1000.0 * _hours(data)[0]
    tariff = site.tariff()
    minute, which = np.unique(pd.DatetimeIndex(data.index).floor("min"), return_inverse=True)
    by_minute = [tariff.rate(at.to_pydatetime()).price_kwh for at in minute]
    price = np.array(by_minute)[which]
    work = pd.DataFrame({"label_kwh": kwh, "label_cost": kwh * price}, index=data.index)
    return days.join(work.groupby(_dates(data)).sum())


def metered_w(data: pd.DataFrame, readings: list[tuple[float, float]]) -> float:
    """Return mean power while the compressor ran between two meter readings [W].

    The meter is taken to sit in the freezer's supply alone. NaN without two readings or a run.
    """
    if len(readings) < 2:
        return float("nan")
    (from_s, before), (to_s, after) = readings[-2:]
    between = data[(data["seen_s"] >= from_s) & (data["seen_s"] < to_s)]
    if between.empty:
        return float("nan")
    ran_h = float(daily(between)["compressor_h"].sum())
    return (after - before) * 1000.0 / ran_h if ran_h > 0.0 else float("nan")


def drifts(
    days: pd.DataFrame, label_w: float | None = None, power_w: float = float("nan")
) -> list[Drift]:
    """Return what has drifted: last days against the first, and the meter against the label."""
    found = []
    if len(days) >= FIRST_DAYS + LEAST_DAYS:
        first, last = days.iloc[:FIRST_DAYS], days.iloc[-LEAST_DAYS:]
        was, now = float(first["flow_l_min"].median()), float(last["flow_l_min"].median())
        if now < was * (1.0 + FLOW_DRIFT):
            look = "coil and tube for slime, filter, kinks; air in the loop; pump"
            found.append(Drift("flow while pumping [L/min]", was, now, look))
        was = float((first["compressor_starts"] / first["watched_h"]).mean() * 24.0)
        now = float((last["compressor_starts"] / last["watched_h"]).mean() * 24.0)
        if now > was * (1.0 + STARTS_DRIFT) and now - was >= 1.0:
            look = "lid seal, door of the place, a probe that has slipped"
            found.append(Drift("compressor starts a day", was, now, look))
    if label_w is not None and power_w > label_w * (1.0 + POWER_DRIFT):
        look = "dust on the condenser, gaps around the cabinet, a warm place"
        found.append(Drift("power while the compressor runs [W]", label_w, power_w, look))
    return found
