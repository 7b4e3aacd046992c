"""The controller's settings record of a site, and how the derived ones follow."""

import math
from array import array
from collections.abc import Mapping

from springhouse import fitted, setting, week
from springhouse_sim.plant import water
from springhouse_sim.world.windows import Window

from ..errors import SiteError
from . import owner_settings
from .known import Known
from .probes import probe_error_k
from .read import SiteFile
from .tables import PLAN_DECIDES, PROBES

FITTED_BITS: dict[str, int] = {
    "store_low": fitted.STORE_LOW,
    "store_high": fitted.STORE_HIGH,
    "room": fitted.ROOM,
    "coil_in": fitted.COIL_IN,
    "coil_air": fitted.COIL_AIR,
    "tray": fitted.TRAY,
    "level": fitted.LEVEL,
    "floor": fitted.FLOOR,
    "flow": fitted.FLOW,
    "fan_tach": fitted.FAN_TACH,
    "mains": fitted.MAINS,
    "battery": fitted.BATTERY,
    "relay_feedback": fitted.RELAY,
}
ERROR_SLOTS: dict[str, int] = {
    "store_low": setting.STORE_LOW_ERR_MK,
    "store_high": setting.STORE_HIGH_ERR_MK,
    "room": setting.ROOM_ERR_MK,
    "coil_in": setting.COIL_IN_ERR_MK,
    "coil_air": setting.COIL_AIR_ERR_MK,
}

# Volts at which pump and fans are shed, of the nominal voltage: 12.0 V of a 12.8 V lithium iron
# phosphate pack, 11.6 V of a 12 V lead-acid block under load; a power bank regulates until it ends.
CUT_FRACTION = {"lifepo4": 12.0 / 12.8, "lead_acid": 11.6 / 12.0, "power_bank": 0.9}

ICE_BANK_GUARD_MC = -1000  # with ice at the probe the guard must lie below 0 °C less its error
LEAST_FLOW_SHARE = 0.4  # of the weakest expected flow; less is an airlock
# Of the free flow the pump's label may mean: a loop with any resistance at all has less, a flow
# sensor errs by a tenth, and an impeller pump hums at no more. Common practice, no source.
MOST_FLOW_SHARE = 1.5
WELDED_SHARE = 0.5  # of what the weakest compressor chills the store in the half hour judged
WELDED_S = 1800.0
WARM_WATER_FACTOR = 1.75  # ideal capacity at -5/45 over -23.3/54.4 °C, same displacement
LEAD_STEP_MIN = 15


def fitted_bits(file: SiteFile) -> int:
    """Return the bits of ``springhouse.fitted`` for the sensors that are fitted."""
    return sum(bit for name, bit in FITTED_BITS.items() if getattr(file.sensors, name) == "fitted")


def lead_min(file: SiteFile, known: Mapping[str, Known]) -> int:
    """Return how long before ``full_by`` charging for the deep target must begin [min].

    The store from the shallow target's upper edge to the deep target, at the label's own capacity
    in the weakest case less the cabinet's gain at 30 °C: chilling water a compressor always does
    better than that, so the estimate is long. Rounded up to quarters of an hour.
    """
    chosen = owner_settings.stated(file.settings)
    deep_c = chosen.get(setting.DEEP_MC, setting.row(setting.DEEP_MC)[3]) / 1000.0
    band_k = chosen.get(setting.BAND_MK, setting.row(setting.BAND_MK)[3]) / 1000.0
    warm_c = chosen.get(setting.SHALLOW_MC, setting.row(setting.SHALLOW_MC)[3]) / 1000.0 + band_k
    mass_kg = file.store.water_litres * water.density_kg_m3(deep_c) / 1000.0
    cold_j = mass_kg * (water.enthalpy_j_kg(warm_c) - water.enthalpy_j_kg(max(0.0, deep_c)))
    gain_w = known["freezer.cabinet_ua_w_k"].pick("low") * (30.0 - deep_c)
    net_w = known["freezer.capacity_w"].pick("low") - gain_w
    highest = setting.row(setting.FULL_LEAD_MIN)[2]
    if net_w <= 0.0:
        return highest
    quarters = math.ceil(cold_j / net_w / 60.0 / LEAD_STEP_MIN)
    return min(highest, max(1, quarters) * LEAD_STEP_MIN)


def ice_run_min(file: SiteFile, known: Mapping[str, Known]) -> int:
    """Return the compressor minutes in the ice zone that make ``ice_limit_kg`` at most [min].

    At the strongest capacity the label allows, raised by what warmer evaporation adds.
    """
    strongest_w = known["freezer.capacity_w"].pick("high") * WARM_WATER_FACTOR
    minutes = file.store.ice_limit_kg * water.LATENT_FUSION_J_KG / strongest_w / 60.0
    return min(setting.row(setting.ICE_RUN_MIN)[2], max(1, int(minutes)))


def chills_mk(file: SiteFile, known: Mapping[str, Known]) -> int:
    """Return the fall of the store in half an hour that only the compressor can make [mK].

    Half of what the weakest reading of the label makes of all the water. A place 10 K colder than
    the store takes a tenth of that from it.
    """
    mass_kg = file.store.water_litres
    weakest_w = known["freezer.capacity_w"].pick("low")
    fall_k = WELDED_SHARE * weakest_w * WELDED_S / (mass_kg * water.CP_0)
    _, low, high, _ = setting.row(setting.CHILLS_MK)
    return min(high, max(low, round(1000.0 * fall_k)))


def flow_most_ml_min(known: Mapping[str, Known]) -> int:
    """Return the flow that the pump cannot deliver [mL/min]."""
    _, low, high, _ = setting.row(setting.FLOW_MOST_ML_MIN)
    free_l_min = known["loop.pump_free_l_min"].pick("high")
    return min(high, max(low, round(1000.0 * MOST_FLOW_SHARE * free_l_min)))


def _windows(file: SiteFile) -> list[tuple[int, Window]]:
    schedule = file.schedule
    return [
        (kind, window)
        for kind, windows in (
            (week.CHARGE, schedule.charging),
            (week.NO_START, schedule.no_start),
            (week.WANTED, schedule.wanted),
        )
        for window in windows
    ]


def build(file: SiteFile, known: Mapping[str, Known], weakest_l_min: float) -> "array[int]":
    """Return the settings record.

    Args:
        file: the validated site file.
        known: what ``derive`` made of it.
        weakest_l_min: loop flow of the weakest installation the labels allow [L/min].

    Raises:
        SiteError: when the core itself would refuse the record.
    """
    settings = array("i", [0] * setting.SIZE)
    setting.fill_defaults(settings)
    settings[setting.FITTED] = fitted_bits(file)
    checked = file.sensors.ice_point_checked
    for probe in PROBES:
        settings[ERROR_SLOTS[probe]] = round(1000.0 * probe_error_k(probe, checked))
    if file.schedule.full_by is not None:
        settings[setting.FULL_BY_MIN] = file.schedule.full_by
        settings[setting.FULL_LEAD_MIN] = lead_min(file, known)
    settings[setting.ADVISED] = PLAN_DECIDES.index(file.schedule.plan_decides)
    if file.store.ice_bank:
        settings[setting.ICE_BANK] = 1
        settings[setting.ICE_RUN_MIN] = ice_run_min(file, known)
        settings[setting.FREEZE_MC] = ICE_BANK_GUARD_MC
    _, low, high, _ = setting.row(setting.FLOW_LEAST_ML_MIN)
    settings[setting.FLOW_LEAST_ML_MIN] = min(
        high, max(low, int(1000.0 * LEAST_FLOW_SHARE * weakest_l_min))
    )
    settings[setting.FLOW_MOST_ML_MIN] = max(
        flow_most_ml_min(known), 2 * settings[setting.FLOW_LEAST_ML_MIN]
    )
    settings[setting.CHILLS_MK] = chills_mk(file, known)
    if file.battery.kind != "none":
        _, low, high, _ = setting.row(setting.BATTERY_CUT_MV)
        cut_v = file.battery.nominal_v * CUT_FRACTION[file.battery.kind]
        settings[setting.BATTERY_CUT_MV] = min(high, max(low, round(1000.0 * cut_v)))
    for slot, value in owner_settings.stated(file.settings).items():
        settings[slot] = value
    for n, (kind, window) in enumerate(_windows(file)):
        base = setting.WINDOW_1_KIND + n * setting.WINDOW_STRIDE
        settings[base] = kind
        settings[base + 1] = window.days
        settings[base + 2] = window.start_min
        settings[base + 3] = window.end_min % 1440
    slot = setting.first_fault(settings)
    if slot >= 0:
        _, low, high, _ = setting.row(slot)
        raise SiteError(
            f"settings.{owner_settings.key_of(slot)}: {settings[slot]} on the board: "
            f"from {low} to {high}, and in keeping with the other settings"
        )
    return settings
