"""The [settings] table: owner's words for slots of the controller's settings record.

Ranges and defaults are the core's own (``springhouse.setting.BOUNDS``), so a file that is accepted
here is accepted by the board.
"""

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import create_model
from springhouse import setting

from .fields import Quantity, Whole, YesNo
from .tables import Table


@dataclass(frozen=True)
class Slot:
    """How one key maps to its slot: slot value = key's value × scale."""

    slot: int
    unit: str
    scale: int

    @property
    def kind(self) -> Quantity:
        """The key's range, from the core's bounds."""
        _, low, high, _ = setting.row(self.slot)
        return Quantity(self.unit, low / self.scale, high / self.scale)


SLOTS: dict[str, Slot] = {
    "deep_target_c": Slot(setting.DEEP_MC, "°C", 1000),
    "shallow_target_c": Slot(setting.SHALLOW_MC, "°C", 1000),
    "band_k": Slot(setting.BAND_MK, "K", 1000),
    "full_lead_min": Slot(setting.FULL_LEAD_MIN, "min", 1),
    "warm_fill_c": Slot(setting.WARM_FILL_MC, "°C", 1000),
    "freeze_guard_c": Slot(setting.FREEZE_MC, "°C", 1000),
    "freeze_clear_k": Slot(setting.FREEZE_CLEAR_MK, "K", 1000),
    "floor_c": Slot(setting.FLOOR_MC, "°C", 1000),
    "ice_run_min": Slot(setting.ICE_RUN_MIN, "min", 1),
    "ice_zone_c": Slot(setting.ICE_ZONE_MC, "°C", 1000),
    "melted_c": Slot(setting.MELTED_MC, "°C", 1000),
    "room_target_c": Slot(setting.ROOM_TARGET_MC, "°C", 1000),
    "room_band_k": Slot(setting.ROOM_BAND_MK, "K", 1000),
    "room_limit_c": Slot(setting.ROOM_LIMIT_MC, "°C", 1000),
    "fan_boost_k": Slot(setting.FAN_BOOST_MK, "K", 1000),
    "useful_k": Slot(setting.USEFUL_MK, "K", 1000),
    "useful_band_k": Slot(setting.USEFUL_BAND_MK, "K", 1000),
    "min_off_s": Slot(setting.MIN_OFF_S, "s", 1),
    "min_on_s": Slot(setting.MIN_ON_S, "s", 1),
    "restart_stagger_s": Slot(setting.RESTART_STAGGER_S, "s", 1),
    "progress_k": Slot(setting.PROGRESS_MK, "K", 1000),
    "progress_min": Slot(setting.PROGRESS_MIN, "min", 1),
    "rest_min": Slot(setting.REST_MIN, "min", 1),
    "pull_down_run_min": Slot(setting.PULL_DOWN_RUN_MIN, "min", 1),
    "pull_down_rest_min": Slot(setting.PULL_DOWN_REST_MIN, "min", 1),
    "stuck_min": Slot(setting.STUCK_MIN, "min", 1),
    "disagree_k": Slot(setting.DISAGREE_MK, "K", 1000),
    "disagree_min": Slot(setting.DISAGREE_MIN, "min", 1),
    "prime_s": Slot(setting.PRIME_S, "s", 1),
    "flow_gap_s": Slot(setting.FLOW_GAP_S, "s", 1),
    "flow_least_l_min": Slot(setting.FLOW_LEAST_ML_MIN, "L/min", 1000),
    "flow_most_l_min": Slot(setting.FLOW_MOST_ML_MIN, "L/min", 1000),
    "follow_k": Slot(setting.FOLLOW_MK, "K", 1000),
    "follow_s": Slot(setting.FOLLOW_S, "s", 1),
    "spell_on_s": Slot(setting.SPELL_ON_S, "s", 1),
    "spell_off_s": Slot(setting.SPELL_OFF_S, "s", 1),
    "tray_return_s": Slot(setting.TRAY_RETURN_S, "s", 1),
    "coil_wait_s": Slot(setting.COIL_WAIT_S, "s", 1),
    "fan_full_percent": Slot(setting.FAN_FULL_PM, "%", 10),
    "fan_quiet_percent": Slot(setting.FAN_QUIET_PM, "%", 10),
    "fan_still_s": Slot(setting.FAN_STILL_S, "s", 1),
    "battery_cut_v": Slot(setting.BATTERY_CUT_MV, "V", 1000),
    "battery_rearm_v": Slot(setting.BATTERY_REARM_MV, "V", 1000),
    "delivery_on_s": Slot(setting.DELIVERY_ON_S, "s", 1),
    "delivery_off_s": Slot(setting.DELIVERY_OFF_S, "s", 1),
    "chills_k": Slot(setting.CHILLS_MK, "K", 1000),
}
COUNTS: dict[str, int] = {
    "starts_per_hour": setting.STARTS_PER_HOUR,
    "fan_least_rpm": setting.FAN_LEAST_RPM,
}
FLAGS: dict[str, int] = {"tariff_override": setting.TARIFF_OVERRIDE}

# The probes' calibration offsets stand in this table too: they are part of what is proven.
OFFSETS: dict[str, int] = {
    "store_low_offset_k": setting.STORE_LOW_OFFSET_MK,
    "store_high_offset_k": setting.STORE_HIGH_OFFSET_MK,
    "room_offset_k": setting.ROOM_OFFSET_MK,
    "coil_in_offset_k": setting.COIL_IN_OFFSET_MK,
    "coil_air_offset_k": setting.COIL_AIR_OFFSET_MK,
}
SLOTS |= {key: Slot(slot, "K", 1000) for key, slot in OFFSETS.items()}


def _fields() -> dict[str, Any]:
    fields: dict[str, Any] = {
        key: (Annotated[float | None, slot.kind], None) for key, slot in SLOTS.items()
    }
    for key, slot in COUNTS.items():
        _, low, high, _ = setting.row(slot)
        fields[key] = (Annotated[int | None, Whole(low, high)], None)
    for key in FLAGS:
        fields[key] = (Annotated[bool | None, YesNo()], None)
    return fields


SettingsTable: type[Table] = create_model("SettingsTable", __base__=Table, **_fields())


def stated(table: Table) -> dict[int, int]:
    """Return slot → value for every key the owner stated."""
    found: dict[int, int] = {}
    for key, value in table.model_dump(exclude_none=True).items():
        if key in SLOTS:
            found[SLOTS[key].slot] = round(value * SLOTS[key].scale)
        else:
            found[COUNTS.get(key, FLAGS.get(key, -1))] = int(value)
    return found


def default(key: str) -> float:
    """Return the core's default of a key, in the key's unit."""
    slot = SLOTS[key]
    return setting.row(slot.slot)[3] / slot.scale


def key_of(slot: int) -> str:
    """Return the key that sets a slot, or the slot's number where no key does."""
    for key, entry in SLOTS.items():
        if entry.slot == slot:
            return key
    for key, number in (COUNTS | FLAGS).items():
        if number == slot:
            return key
    return f"slot {slot}"
