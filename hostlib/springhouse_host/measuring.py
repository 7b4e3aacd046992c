"""Hand tests with a kitchen thermometer, a plug-in meter, a bucket and a heater.

Each turns readings into one value of the site file and its error. Errors are propagated as the
Guide to the Expression of Uncertainty in Measurement has it (JCGM 100:2008, 5.1.2): the square of
the result's standard uncertainty is the sum of squares of each reading's, times the derivative of
the result by it; derivatives are taken numerically. Readings count as independent. The interval is
two standard uncertainties either way, about 95 %.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from springhouse_sim.plant import param, water
from springhouse_sim.plant.freezer import LABEL_EFFICIENCY, Freezer
from springhouse_sim.plant.pull_down import Chill
from springhouse_sim.plant.store import Store

from .errors import KnownError
from .site import Site, plant_parts
from .site.derive import AIR_WH_M3_K
from .site.loop_part import loop
from .site.version import NewValue

COVERAGE = 2.0
STEP = 1e-3  # of a reading's standard uncertainty
MODEL_SHARE = 0.04  # of a pull-down: start transients and layers that `Chill` leaves out

# Standard uncertainties of readings; common practice, no source. Two readings of one thermometer
# share its error, so what counts for a difference is its resolution.
THERMOMETER_K = 0.2
PLACE_K = 0.7
WATER_SHARE = 0.02
CLOCK_H = 2.0 / 60.0
METER_SHARE = 0.02  # plug-in energy meter
BUCKET_SHARE = 0.02
STOPWATCH_S = 0.5
OUTDOOR_K = 0.7

GAIN_SLOTS = (
    param.CABINET_BAND_UA_W_K,
    param.CABINET_SIDE_UA_W_K,
    param.CABINET_FLOOR_UA_W_K,
    param.LID_UA_W_K,
)
LEAST_DROP_K = 1.0
LEAST_WARM_K = 0.5
LEAST_ROOM_K = 5.0


@dataclass(frozen=True)
class Measured:
    """One value of the site file that a test found."""

    key: str
    unit: str
    value: float
    error: float  # standard uncertainty
    how: str

    def new_value(self) -> NewValue:
        """Return it as the site file takes it, graded as measured."""
        spread = COVERAGE * self.error
        return NewValue(self.value, max(1e-6, self.value - spread), self.value + spread, "measured")


def propagate(
    f: Callable[[Mapping[str, float]], float], readings: Mapping[str, tuple[float, float]]
) -> tuple[float, float]:
    """Return value and standard uncertainty of ``f``.

    Args:
        f: of readings by name.
        readings: (reading, standard uncertainty) by name.
    """
    middle = {name: reading for name, (reading, _) in readings.items()}
    value = f(middle)
    square = 0.0
    for name, (reading, error) in readings.items():
        if error > 0.0:
            moved = f({**middle, name: reading + STEP * error})
            square += ((moved - value) / STEP) ** 2
    return value, math.sqrt(square)


def _refuse(test: str, name: str, value: float, allowed: str) -> None:
    raise KnownError(f"{test}: {name}: {value:g}: {allowed}")


def standing_ua_w_k(
    litres: float, from_c: float, to_c: float, hours: float, place_c: float
) -> float:
    """Return the conductance of the whole box from a night switched off [W/K].

    Newton's law of cooling of one stirred mass (lumped capacitance; Incropera ch. 5, from memory,
    from memory): UA = m c / t · ln((Ta - T0) / (Ta - T1)).
    """
    middle_c = 0.5 * (from_c + to_c)
    mass_kg = litres / 1000.0 * water.density_kg_m3(middle_c)
    j_k = mass_kg * water.heat_capacity_j_kg_k(middle_c)
    return j_k / (3600.0 * hours) * math.log((place_c - from_c) / (place_c - to_c))


def stand(
    site: Site, litres: float, from_c: float, to_c: float, hours: float, place_c: float
) -> list[Measured]:
    """Return the cabinet's UA from a store that stood switched off, stirred before each reading.

    Raises:
        KnownError: when the readings cannot tell it.
    """
    if to_c - from_c < LEAST_WARM_K:
        _refuse("stand", "--to", to_c, f"at least {LEAST_WARM_K:g} K over --from: stand longer")
    if place_c - to_c < 2.0:
        _refuse("stand", "--place", place_c, "at least 2 K over --to: the place must be warmer")
    if from_c < 1.0:
        _refuse("stand", "--from", from_c, "1 °C or more: ice would melt unseen")
    readings = {
        "litres": (litres, WATER_SHARE * litres),
        "from_c": (from_c, THERMOMETER_K),
        "to_c": (to_c, THERMOMETER_K),
        "hours": (hours, CLOCK_H),
        "place_c": (place_c, PLACE_K),
    }
    box_w_k, error = propagate(lambda r: standing_ua_w_k(**r), readings)
    ua_w_k = _cabinet_of(site, box_w_k)
    how = f"{from_c:g} to {to_c:g} °C in {hours:g} h beside {place_c:g} °C"
    return [Measured("freezer.cabinet_ua_w_k", "W/K", ua_w_k, error * ua_w_k / box_w_k, how)]


def _cabinet_of(site: Site, box_w_k: float) -> float:
    """Return the site file's UA, which leaves out the cover, for a box measured with it."""
    picked = {key: known.mid for key, known in site.known.items()}

    def surplus_w_k(ua_w_k: float) -> float:
        p = np.zeros(param.SIZE)
        plant_parts.store(site.file, {**picked, "freezer.cabinet_ua_w_k": ua_w_k}).put_gain(p)
        return float(p[list(GAIN_SLOTS)].sum()) - box_w_k

    return float(brentq(surplus_w_k, 0.5 * box_w_k, 3.0 * box_w_k, xtol=1e-6))


@lru_cache(maxsize=4)
def _machine(box: Store, machine: Freezer) -> Chill:
    """Return box and machine with their tables, which take a second to build."""
    return Chill.of(box, machine)


def chill(
    site: Site,
    litres: float,
    from_c: float,
    to_c: float,
    hours: float,
    place_c: float,
    kwh: float | None,
) -> list[Measured]:
    """Return the freezer's capacity, and with a meter its input, from water chilled without a stop.

    The capacity is the one at the rating point that explains the pull-down, see
    `springhouse_sim.plant.pull_down`; the input is the metered energy over the model's.

    Raises:
        KnownError: when the readings cannot tell it.
    """
    if from_c - to_c < LEAST_DROP_K:
        _refuse("chill", "--to", to_c, f"at least {LEAST_DROP_K:g} K under --from: chill longer")
    if to_c < 3.0:
        _refuse("chill", "--to", to_c, "3 °C or more: ice on the wall would not be seen")
    picked = {key: known.mid for key, known in site.known.items()}
    try:
        box = replace(plant_parts.store(site.file, picked), water_l=litres)
        machine = plant_parts.freezer(site.file, picked)
    except ValueError as error:
        raise KnownError(f"chill: {error}") from None
    whole = _machine(box, machine)
    cabinet = site.known["freezer.cabinet_ua_w_k"]
    cabinet_share = (cabinet.high - cabinet.low) / (4.0 * cabinet.mid)

    def lasts_h(scale: float, r: Mapping[str, float]) -> float:
        part = replace(
            whole,
            mass_kg=whole.mass_kg * r["litres"] / litres,
            standing_w_k=whole.standing_w_k * r["cabinet"],
        )
        return min(1e3, part.hours(scale, r["from_c"], r["to_c"], r["place_c"]))

    readings = {
        "litres": (litres, WATER_SHARE * litres),
        "from_c": (from_c, THERMOMETER_K),
        "to_c": (to_c, THERMOMETER_K),
        "place_c": (place_c, PLACE_K),
        "cabinet": (1.0, cabinet_share),
    }
    middle = {name: reading for name, (reading, _) in readings.items()}
    low, high = (share / machine.label_efficiency() for share in LABEL_EFFICIENCY)
    if not lasts_h(high, middle) < hours < lasts_h(low, middle):
        _refuse(
            "chill",
            "--hours",
            hours,
            f"{lasts_h(high, middle):.1f} to {lasts_h(low, middle):.1f} h, what a machine of this "
            "label can need for this water",
        )
    scale = float(brentq(lambda s: lasts_h(s, middle) - hours, low, high, xtol=1e-4))
    per_scale_h = (lasts_h(1.02 * scale, middle) - hours) / (0.02 * scale)
    _, hours_error = propagate(lambda r: lasts_h(scale, r), readings)
    hours_error = math.hypot(hours_error, CLOCK_H, MODEL_SHARE * hours)
    watts = scale * machine.rated_capacity_w
    error_w = abs(hours_error / per_scale_h) * machine.rated_capacity_w
    how = f"{litres:g} L from {from_c:g} to {to_c:g} °C in {hours:g} h beside {place_c:g} °C"
    found = [Measured("freezer.capacity_w", "W", watts, error_w, how)]
    if kwh is not None:
        before = picked.get("freezer.input_factor", 1.0)
        running_kwh = kwh - machine.standby_w * hours / 1000.0
        middle_c = 0.5 * (from_c + to_c)
        modelled_kwh = whole.input_w(scale, middle_c, place_c) * hours / 1000.0
        factor = before * running_kwh / modelled_kwh
        share = math.hypot(METER_SHARE, CLOCK_H / hours, MODEL_SHARE)
        found.append(Measured("freezer.input_factor", "", factor, share * factor, f"{kwh:g} kWh"))
    return found


def flow(site: Site, litres: float, seconds: float, water_c: float) -> list[Measured]:
    """Return head and free flow of the pump, both scaled alike until the loop gives the flow.

    Raises:
        KnownError: when no scaling of the label explains the flow.
    """
    measured, error = propagate(
        lambda r: 60.0 * r["litres"] / r["seconds"],
        {"litres": (litres, BUCKET_SHARE * litres), "seconds": (seconds, STOPWATCH_S)},
    )
    part = loop(site.file, site.known, "mid")

    def surplus(scale: float) -> float:
        scaled = replace(
            part,
            pump_head_m=scale * part.pump_head_m,
            pump_free_l_min=scale * part.pump_free_l_min,
        )
        return float(scaled.operating_l_min(water_c, 1.0)) - measured

    if surplus(0.2) > 0.0 or surplus(2.0) < 0.0:
        low, high = (surplus(s) + measured for s in (0.2, 2.0))
        _refuse("flow", "litres a minute", measured, f"{low:.2g} to {high:.2g} for this pump")
    scale = float(brentq(surplus, 0.2, 2.0, xtol=1e-5))
    slope = (surplus(1.01 * scale) - surplus(0.99 * scale)) / (0.02 * scale)
    how = f"{litres:g} L in {seconds:g} s: {measured:.2f} L/min"
    return [
        Measured("loop.pump_head_m", "m", scale * part.pump_head_m,
               error / slope * part.pump_head_m, how),
        Measured("loop.pump_free_l_min", "L/min", scale * part.pump_free_l_min,
               error / slope * part.pump_free_l_min, how),
    ]  # fmt: skip


def room(site: Site, watts: float, inside_c: float, outside_c: float) -> list[Measured]:
    """Return the room's envelope UA from a night on a heater of known power.

    A steady state, so that what the heater gives leaves through envelope and cracks (co-heating
    test, from memory): UA = P / (Ti - To), less the site's infiltration.

    Raises:
        KnownError: when the readings cannot tell it.
    """
    if inside_c - outside_c < LEAST_ROOM_K:
        _refuse("room", "--inside", inside_c, f"at least {LEAST_ROOM_K:g} K over --outside")
    file, air = site.file.room, site.known["room.infiltration_per_h"]
    air_w_k = AIR_WH_M3_K * file.length_m * file.width_m * file.height_m
    readings = {
        "watts": (watts, METER_SHARE * watts),
        "inside_c": (inside_c, THERMOMETER_K),
        "outside_c": (outside_c, OUTDOOR_K),
        "per_h": (air.mid, (air.high - air.low) / 4.0),
    }
    ua_w_k, error = propagate(
        lambda r: r["watts"] / (r["inside_c"] - r["outside_c"]) - air_w_k * r["per_h"], readings
    )
    if ua_w_k <= 0.0:
        _refuse(
            "room", "--watts", watts, f"more than the air alone takes, {air_w_k * air.mid:.1f} W/K"
        )
    how = f"{watts:g} W hold {inside_c:g} °C against {outside_c:g} °C"
    return [Measured("room.envelope_ua_w_k", "W/K", ua_w_k, error, how)]
