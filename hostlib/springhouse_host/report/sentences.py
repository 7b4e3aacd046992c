"""Each chart in a sentence, with numbers worked out from every minute of the run."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from springhouse_sim.trace import J_PER_KWH, Trace

from ..units import show
from .spans import Spans, seconds

Values = NDArray[np.float64]
MINUTE_S = 60.0


@dataclass(frozen=True)
class Told:
    """What the sentences are made from: the columns of `series.COLUMNS` by minute, and bounds."""

    trace: Trace
    columns: dict[str, Values]
    strips: dict[str, Spans]
    limit_c: float  # promised room temperature
    ice_kg: float  # promised ice
    currency: str
    us: bool

    def c(self, value: float) -> str:
        """Return a temperature."""
        return show(value, "°C", us=self.us)

    def kg(self, value: float) -> str:
        """Return a mass."""
        return show(value, "kg", us=self.us)


def _least_most(values: Values, text: Callable[[float], str]) -> str:
    return f"{text(float(np.nanmin(values)))} to {text(float(np.nanmax(values)))}"


def room(t: Told) -> str:
    """Return the sentence of room and outdoors."""
    said = f"The room is at {_least_most(t.columns['room_air_c'], t.c)}, "
    said += f"outdoors {_least_most(t.columns['outdoor_c'], t.c)}."
    wanted_h = seconds(t.strips["wanted"]) / 3600
    wanted_c = t.trace.wanted_mean_c()
    if wanted_c is not None:
        over_h = t.trace.hours_over(t.limit_c)
        said += (
            f" In its {wanted_h:.1f} wanted hours it is at {t.c(wanted_c)} on the "
            f"mean and over {t.c(t.limit_c)} for {over_h:.1f} h."
        )
        bare = t.columns["bare_room_c"]
        if not np.isnan(bare).all():
            mean_c = float(bare[t.trace.wanted()].mean())
            said += f" Without the store it would be at {t.c(mean_c)} on the mean of these hours."
    return said


def store(t: Told) -> str:
    """Return the sentence of the store's layers."""
    layers = np.stack([t.columns[f"water_{i}_c"] for i in range(6)])
    mean = layers.mean(axis=0)
    apart = float((layers.max(axis=0) - layers.min(axis=0)).max())
    return (
        f"The water is at {_least_most(layers, t.c)}; its mean goes from {t.c(float(mean[0]))} at "
        f"the start to {t.c(float(mean[-1]))} at the end. The warmest and the coldest layer are at "
        f"most {show(apart, 'K', us=t.us)} apart."
    )


def ice(t: Told) -> str:
    """Return the sentence of the ice."""
    most = float(np.nanmax(t.columns["ice_kg"]))
    if most < 0.001:
        return f"No ice forms; {t.kg(t.ice_kg)} are allowed."
    icy_h = float(np.sum(t.columns["ice_kg"] >= 0.001)) * MINUTE_S / 3600
    return (
        f"At most {t.kg(most)} of ice, {t.kg(t.ice_kg)} are allowed; there is ice for "
        f"{icy_h:.1f} h, and {t.kg(float(t.columns['ice_kg'][-1]))} at the end."
    )


def coil(t: Told) -> str:
    """Return the sentence of the coil's air and water."""
    air = t.columns["air_off_c"]
    if np.isnan(air).all():
        return "The fan does not run."
    water = t.columns["coil_in_c"]
    return (
        f"While the fan runs, air leaves the coil at {_least_most(air, t.c)}, "
        f"{t.c(float(np.nanmean(air)))} on the mean; water comes at {_least_most(water, t.c)}."
    )


def heat(t: Told) -> str:
    """Return the sentence of the cold delivered."""
    all_w, wet_w = t.columns["coil_w"], t.columns["coil_latent_w"]
    working = all_w > 1.0
    if not working.any():
        return "The coil takes no heat from the room."
    kwh = float(all_w.sum()) * MINUTE_S / J_PER_KWH
    wet_kwh = float(wet_w.sum()) * MINUTE_S / J_PER_KWH
    return (
        f"The coil takes {kwh:.2f} kWh of heat from the room, {wet_kwh:.2f} kWh of that by drying "
        f"the air; while it works {float(all_w[working].mean()):.0f} W on the mean and "
        f"{float(all_w.max()):.0f} W at most."
    )


def power(t: Told) -> str:
    """Return the sentence of the electricity."""
    kwh = t.trace.energy_kwh()["mains"]
    said = f"{kwh:.2f} kWh from the mains cost {t.trace.cost:.2f} {t.currency}".rstrip()
    said += f"; the most drawn is {float(t.columns['mains_w'].max()):.0f} W."
    cheap_s = seconds(t.strips["cheap"])
    if cheap_s:
        said += f" Electricity is cheaper than on the mean for {cheap_s / 3600:.1f} h of the run."
    return said


def strips(t: Told) -> str:
    """Return the sentence of what runs."""

    def hours(key: str, times: str) -> str:
        spans = t.strips[key]
        plural = times if len(spans) == 1 else f"{times}s"
        return f"{seconds(spans) / 3600:.1f} h in {len(spans)} {plural}"

    said = (
        f"In {t.trace.days:g} days the compressor relay is closed for {hours('compressor', 'run')},"
        f" the pump runs for {hours('pump', 'run')}, the fan for {hours('fan', 'run')}."
    )
    if t.strips["alarm"]:
        said += f" The alarm is on for {hours('alarm', 'time')}."
    if t.strips["away"]:
        said += f" Mains is away for {hours('away', 'time')}."
    if t.strips["fault"]:
        said += f" Something is broken for {seconds(t.strips['fault']) / 3600:.1f} h."
    return said


ALL: dict[str, Callable[[Told], str]] = {
    "room": room,
    "store": store,
    "ice": ice,
    "coil": coil,
    "heat": heat,
    "power": power,
    "strips": strips,
}


def sentences(told: Told) -> dict[str, str]:
    """Return a sentence for each chart by its key."""
    return {key: tell(told) for key, tell in ALL.items()}
