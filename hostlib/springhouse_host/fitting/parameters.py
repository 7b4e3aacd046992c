"""What is estimated, what else is unsure, and what a log must hold to tell it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from springhouse import output
from springhouse_sim import follow

from ..site import Site
from .model import LAGS, Model, hours_of

WIDER = 1.6  # bounds: the label's range, so much wider either way
WATER_SHARE = 0.2  # bounds of the water, of what the site says
INPUT_RANGE = (0.5, 2.0)
LEAST_RANGE = 1.25  # either way, where the site states a value without a range


@dataclass(frozen=True)
class Parameter:
    """A value of the site: ``low`` to ``high`` is what it may be, ``mid`` what the site says."""

    key: str
    unit: str
    low: float
    mid: float
    high: float

    @property
    def table(self) -> str:
        """The site file's table."""
        return self.key.partition(".")[0]


FITTED = {
    "freezer.cabinet_ua_w_k": "W/K",
    "freezer.capacity_w": "W",
    "freezer.input_factor": "",
    "store.water_litres": "L",
    "coil.ua_w_k": "W/K",
    "room.envelope_ua_w_k": "W/K",
    "room.heat_capacity_kj_k": "kJ/K",
}
# Unsure too, yet no log of this kind tells them: they keep the site's value and lend their doubt,
# half the label's range as one standard deviation of the logarithm, to the intervals of the others.
UNSURE = (
    "coil.air_m3_h",
    "freezer.condenser_ua_w_k",
    "room.infiltration_per_h",
    "room.sun_share_percent",
)
# Of the logarithm of each probe's lag: a probe in a well is ten times slower than one in water.
LAG_SD = 1.0
LAG_RANGE = (0.5, 100.0)  # of what the site's probes have; a shorter one is beyond the time steps
PLACE = "place.ua_w_k"  # only where the log does not show the place itself


def parameter(site: Site, key: str) -> Parameter:
    """Return a parameter with the bounds that the site's labels set."""
    if key == "store.water_litres":
        litres = site.file.store.water_litres
        return Parameter(
            key, FITTED[key], litres * (1.0 - WATER_SHARE), litres, litres * (1.0 + WATER_SHARE)
        )
    if key == "freezer.input_factor":
        known = site.known.get(key)
        return Parameter(
            key, FITTED[key], INPUT_RANGE[0], known.mid if known else 1.0, INPUT_RANGE[1]
        )
    known = site.known[key]
    low = min(known.low, known.mid / LEAST_RANGE) / WIDER
    high = max(known.high, known.mid * LEAST_RANGE) * WIDER
    return Parameter(key, known.unit, low, known.mid, high)


def unsure(site: Site, model: Model, log_has_place: bool) -> dict[str, float]:
    """Return (key, standard deviation of its logarithm) of what is unsure besides."""
    keys = (*UNSURE, *(() if log_has_place else (PLACE,)))
    found: dict[str, float] = dict.fromkeys(LAGS, LAG_SD)
    for key in keys:
        known = site.known.get(key)
        if known is not None and known.mid > 0.0 and known.high > known.low > 0.0:
            found[key] = float(np.log(known.high / known.low) / 4.0)
    return found


@dataclass(frozen=True)
class Need:
    """What a parameter needs: an amount that the log shows, and the least that will do."""

    key: str
    has: float
    least: float
    unit: str
    of: str  # what the amount is
    log: str  # what to log
    more: str  # what helps where the least is there and does not tell it


def _known_h(seconds: NDArray[np.float64], column: NDArray[np.float64]) -> float:
    """Return for how long a column is known [h], each reading since the sample before it."""
    since_s = np.diff(seconds, prepend=seconds[0])
    return float(since_s[np.isfinite(column)].sum()) / 3600.0


def needs(model: Model) -> list[Need]:
    """Return what each parameter needs of a log."""
    drives = np.concatenate([s.drive for s in model.stretches])
    hours = drives[:, follow.SECONDS] / 3600.0
    quiet = (drives[:, follow.RELAY] == 0.0) & (drives[:, follow.PUMP_DUTY] == 0.0)
    quiet_h = float(hours[quiet].sum())
    charge_h, pump_h = hours_of(model, output.COMPRESSOR), hours_of(model, output.PUMP)
    metered_h = sum(_known_h(s.seconds, s.measured[:, 5]) for s in model.stretches)
    probes = [c[np.isfinite(c)] for s in model.stretches for c in s.measured[:, :2].T]
    span_k = float(max((np.ptp(c) for c in probes if len(c)), default=0.0))
    swing_k = float(np.ptp(drives[:, follow.OUTDOOR_C]))
    all_h = float(hours.sum())
    scarcer = min(
        (all_h, 36.0, "h", "log"), (swing_k, 5.0, "K", "outdoor swing"), key=lambda n: n[0] / n[1]
    )
    discharge = "an afternoon with pump and fans on, two hours or more"
    by_hand = "or measure it: springhouse measure SITE"
    return [
        Need("freezer.cabinet_ua_w_k", quiet_h, 6.0, "h", "compressor and pump both off",
             "a night and a day with the store cold and everything off",
             f"more nights with everything off, {by_hand} stand"),
        Need("freezer.capacity_w", charge_h, 2.0, "h", "the compressor on",
             "a charge of two hours or more",
             f"charges from warmer water down, {by_hand} chill"),
        Need("freezer.input_factor", metered_h, 0.5, "h", "the freezer's power read (freezer_w)",
             "a plug-in meter's watts as column freezer_w",
             "the meter's watts over whole charges"),
        Need("store.water_litres", pump_h, 2.0, "h", "discharge (water and capacity go together)",
             discharge, "longer discharges, or fill it by a bucket that is counted"),
        Need("coil.ua_w_k", pump_h, 2.0, "h", "discharge (coil and room cannot be told)",
             discharge, "discharges from other water temperatures, with the room's humidity"),
        Need("room.envelope_ua_w_k", *scarcer,
             "two days and nights, coldest to warmest hour 5 K apart",
             f"days of other weather with the room left alone, {by_hand} room"),
        Need("room.heat_capacity_kj_k", all_h, 36.0, "h", "log", "two days and nights",
             "days on which the room warms and cools by several kelvin"),
        Need("freezer.capacity_w", span_k, 1.5, "K", "swing of the store",
             "a charge from warm to cold", f"charges from warmer water down, {by_hand} chill"),
    ]  # fmt: skip
