"""The fault catalogue: what can break, as data, and the process that breaks it.

A fault writes one slot of the sensing record or of the given record at its onset and writes the
old value back when it is over. Probe faults name the probe; their slot is the first of its block.
"""

from dataclasses import dataclass
from enum import Enum

from springhouse import fault

from .. import sense
from ..plant import given
from .stage import Events, Stage

PROBES = ("store_low", "store_high", "room", "coil_in", "coil_air")
FOREVER_S = 0


class Acts(Enum):
    """What a fault acts on."""

    SENSE = "a sensor or the owner's side"
    PROBE = "one of the five probes"
    PLANT = "the plant itself"


@dataclass(frozen=True)
class Kind:
    """One entry of the catalogue."""

    text: str
    acts: Acts
    slot: int
    value: float  # what is written unless the fault brings its own value
    unit: str = ""  # of a value that may be chosen; empty: it may not


CATALOGUE = {
    "probe_open": Kind("probe wire broken: no answer", Acts.PROBE, sense.CODE_0, fault.ABSENT),
    "probe_shorted": Kind("bus shorted: all-zero frames", Acts.PROBE, sense.CODE_0, fault.ALL_ZERO),
    "probe_checksum": Kind("every frame fails its checksum", Acts.PROBE, sense.CODE_0, fault.CRC),
    "probe_all_ones": Kind(
        "bus held high: all-one frames", Acts.PROBE, sense.CODE_0, fault.ALL_ONE
    ),
    "probe_power_on": Kind(
        "probe resets: power-on value", Acts.PROBE, sense.CODE_0, fault.POWER_ON
    ),
    "probe_stuck": Kind("probe repeats its last value", Acts.PROBE, sense.STUCK_0, 1),
    "probe_silent": Kind("probe task dead: no frames", Acts.PROBE, sense.SILENT_0, 1),
    "probe_drift": Kind("probe drifts away", Acts.PROBE, sense.SHIFT_MK_0, 1000, "mK"),
    "probe_offset": Kind("probe reads wrong at once", Acts.PROBE, sense.SHIFT_MK_0, 1000, "mK"),
    "tray_float_open": Kind("tray float reads full", Acts.SENSE, sense.TRAY, sense.FORCED_BAD),
    "tray_float_stuck": Kind("tray float never opens", Acts.SENSE, sense.TRAY, sense.FORCED_GOOD),
    "level_float_open": Kind("level float reads low", Acts.SENSE, sense.LEVEL, sense.FORCED_BAD),
    "floor_wet": Kind("floor sensor reads wet", Acts.SENSE, sense.FLOOR, sense.FORCED_BAD),
    "mains_sense_stuck": Kind(
        "mains sensor reads present", Acts.SENSE, sense.MAINS, sense.FORCED_GOOD
    ),
    "level_float_stuck": Kind(
        "level float never opens", Acts.SENSE, sense.LEVEL, sense.FORCED_GOOD
    ),
    "floor_dry": Kind("floor sensor reads dry", Acts.SENSE, sense.FLOOR, sense.FORCED_GOOD),
    "flow_dead": Kind("flow sensor gives no pulses", Acts.SENSE, sense.FLOW_DEAD, 1),
    "flow_jammed": Kind(
        "flow sensor pulses on its own", Acts.SENSE, sense.FLOW_JAMMED_ML_MIN, 1000, "mL/min"
    ),
    "tach_dead": Kind("fan tachometer silent", Acts.SENSE, sense.TACH_DEAD, 1),
    "mains_sense_dead": Kind(
        "mains sensor reads absent", Acts.SENSE, sense.MAINS, sense.FORCED_BAD
    ),
    "clock_lost": Kind("clock unknown", Acts.SENSE, sense.CLOCK_KNOWN, 0),
    "clock_wrong": Kind("clock jumps", Acts.SENSE, sense.CLOCK_SHIFT_S, 3600, "s"),
    "settings_bad": Kind("stored settings corrupt", Acts.SENSE, sense.SETTINGS_BAD, 1),
    "relay_welded": Kind("compressor relay welded shut", Acts.SENSE, sense.RELAY_WELDED, 1),
    "relay_dead": Kind("compressor relay never closes", Acts.SENSE, sense.RELAY_DEAD, 1),
    "relay_contact_off": Kind(
        "wire of the relay contact off", Acts.SENSE, sense.RELAY_CONTACT, sense.FORCED_BAD
    ),
    "relay_contact_stuck": Kind(
        "relay contact never opens", Acts.SENSE, sense.RELAY_CONTACT, sense.FORCED_GOOD
    ),
    "freezer_unplugged": Kind("a person pulls the freezer's plug", Acts.SENSE, sense.UNPLUGGED, 1),
    "prime_lost": Kind("air in the loop: no flow", Acts.PLANT, given.AIR_IN_LOOP, 1),
    "low_flow": Kind("loop partly blocked", Acts.PLANT, given.FLOW_FACTOR, 0.7, "of the flow"),
    "tube_kinked": Kind("tube kinked", Acts.PLANT, given.FLOW_FACTOR, 0.15, "of the flow"),
    "line_iced": Kind("ice in the line: no flow", Acts.PLANT, given.FLOW_FACTOR, 0.0),
    "check_valve_open": Kind("check valve stuck open", Acts.PLANT, given.CHECK_VALVE_OPEN, 1),
    "fan_stalled": Kind("fans stand still", Acts.PLANT, given.FAN_FACTOR, 0.0, "of the air"),
    "weak_compressor": Kind(
        "compressor cools less", Acts.PLANT, given.CAPACITY_FACTOR, 0.8, "of the capacity"
    ),
    "lid_open": Kind("cabinet gains more heat", Acts.PLANT, given.CABINET_FACTOR, 3.0, "times"),
    "leak": Kind("store leaks", Acts.PLANT, given.LEAK_L_S, 0.01, "L/s"),
    "tray_filled": Kind("water runs into the tray", Acts.PLANT, given.TRAY_FILL_L_S, 0.005, "L/s"),
}


@dataclass(frozen=True)
class Fault:
    """One fault of the catalogue in a scenario.

    ``duration_s`` 0 lasts to the end. ``over_s`` is the time a drift takes to its full value.

    Raises:
        ValueError: on an unknown kind or probe, a value for a kind that takes none, or times out
            of range.
    """

    kind: str
    onset_s: int
    duration_s: int = FOREVER_S
    probe: str = ""
    value: float | None = None
    over_s: int = 4 * 3600

    def __post_init__(self) -> None:
        if self.kind not in CATALOGUE:
            raise ValueError(f"Fault.kind: {self.kind!r} is not one of {', '.join(CATALOGUE)}")
        entry = CATALOGUE[self.kind]
        if entry.acts is Acts.PROBE and self.probe not in PROBES:
            raise ValueError(f"Fault.probe: {self.probe!r} is not one of {', '.join(PROBES)}")
        if entry.acts is not Acts.PROBE and self.probe:
            raise ValueError(f"Fault.probe: {self.kind} acts on no probe")
        if self.value is not None and not entry.unit:
            raise ValueError(f"Fault.value: {self.kind} takes no value")
        if self.onset_s < 0 or self.duration_s < 0 or self.over_s < 0:
            raise ValueError("Fault: onset_s, duration_s and over_s must not be negative")

    @property
    def slot(self) -> int:
        """The slot it writes."""
        entry = CATALOGUE[self.kind]
        return entry.slot + (PROBES.index(self.probe) if self.probe else 0)

    @property
    def physical(self) -> bool:
        """Whether it acts on the plant or the power switched, whatever sensor is fitted."""
        entry = CATALOGUE[self.kind]
        return entry.acts is Acts.PLANT or entry.slot in (sense.RELAY_WELDED, sense.RELAY_DEAD)

    def act(self, stage: Stage) -> Events:
        """Break the thing and, after a time, mend it."""
        entry = CATALOGUE[self.kind]
        value = entry.value if self.value is None else self.value
        yield stage.until(self.onset_s * 1000)
        if entry.slot == sense.SHIFT_MK_0:
            block = self.slot - sense.SHIFT_MK_0
            stage.sense[sense.SHIFT_FROM_S_0 + block] = stage.now_ms // 1000
            over_s = self.over_s if self.kind == "probe_drift" else 0
            stage.sense[sense.SHIFT_OVER_S_0 + block] = over_s
        if entry.acts is Acts.PLANT:
            before = stage.given[self.slot]
            stage.given[self.slot] = float(value)
        else:
            before = stage.sense[self.slot]
            stage.sense[self.slot] = int(value)
        if self.duration_s == FOREVER_S:
            return
        yield stage.until((self.onset_s + self.duration_s) * 1000)
        if entry.acts is Acts.PLANT:
            stage.given[self.slot] = before
        else:
            stage.sense[self.slot] = int(before)
