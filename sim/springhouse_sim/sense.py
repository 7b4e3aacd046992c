"""Slots of the sensing record: how each sensor of this installation errs, and what a person does.

Integers. Slots that end in ``_0`` begin a block of five, one a probe in the order of `reading.py`.
The fault slots rest at values that change nothing; world processes write them.
"""

from dataclasses import dataclass

from springhouse import reading

from springhouse_sim.records import IntRecord

FOLLOWS, FORCED_BAD, FORCED_GOOD = range(3)  # a two-valued input: honest, or held either way

(
    # scenario
    SEED,
    TICK_ORIGIN_MS,  # wrapped tick of the board at scenario start
    CLOCK_S,  # local second of the week at scenario start, Monday 00:00:00 = 0
    NOISE_MK,  # bound of the noise of every probe
    FLOW_GAIN_PM,  # flow shown over true flow
    FLOW_STARTS_ML_MIN,  # below this the impeller of the flow sensor stands still
    FAN_FULL_RPM,
    LEVEL_LOW_MM,  # the level float opens below this water level
    FLOOR_WET_ML,  # water on the floor that the floor sensor needs
    # the owner
    ACK_SEQ,
    MODE,
    MODE_MIN,
    MODE_SEQ,
    ADVICE,  # of a plan, as in reading.py
    ADVICE_WANTED,
    ADVICE_MC,
    ADVICE_MIN,
    ADVICE_SEQ,
    FLOOR_MOPPED_ML,  # of all water spilled so far, what has been mopped up
    # faults
    CLOCK_KNOWN,  # 0: the board has no time of day
    CLOCK_SHIFT_S,  # error of the board's clock
    FLOW_DEAD,  # 1: no pulses
    FLOW_JAMMED_ML_MIN,  # shown whatever flows, -1 = not jammed
    TACH_DEAD,
    TRAY,  # FOLLOWS, FORCED_BAD, FORCED_GOOD
    LEVEL,
    FLOOR,
    MAINS,
    SETTINGS_BAD,  # 1: the stored settings fail their checksum
    RELAY_WELDED,  # 1: compressor relay closed whatever is commanded
    RELAY_DEAD,  # 1: it never closes
    # the independent freeze cut-out in the freezer's feed, bulb at the high probe
    CUT_OUT_OPENS_MC,  # NO_CUT_OUT = none
    CUT_OUT_CLOSES_MC,
    CUT_OUT_OPEN,
    UNPLUGGED,  # 1: a person pulled the freezer's plug
    RELAY_LIVE,  # the relay is closed, whatever comes behind it
    RELAY_CONTACT,  # FOLLOWS, FORCED_BAD, FORCED_GOOD
    _SCALARS,
) = range(38)

NO_CUT_OUT = -(1 << 29)

OFFSET_MK_0 = _SCALARS  # constant error
CODE_0 = OFFSET_MK_0 + reading.PROBES  # fault code of fault.py that every frame carries
STUCK_0 = CODE_0 + reading.PROBES  # 1: every frame repeats the last value
SILENT_0 = STUCK_0 + reading.PROBES  # 1: no frames arrive
SHIFT_MK_0 = SILENT_0 + reading.PROBES  # error added by a fault ...
SHIFT_FROM_S_0 = SHIFT_MK_0 + reading.PROBES  # ... beginning at this second of the scenario ...
SHIFT_OVER_S_0 = SHIFT_FROM_S_0 + reading.PROBES  # ... and complete after so many more
SIZE = SHIFT_OVER_S_0 + reading.PROBES


def fill_neutral(sense: IntRecord) -> None:
    """Fill a record of SIZE slots: exact, quiet, honest sensors; clock Monday 00:00; no cut-out."""
    for slot in range(SIZE):
        sense[slot] = 0
    sense[CLOCK_KNOWN] = 1
    sense[FLOW_GAIN_PM] = 1000
    sense[FAN_FULL_RPM] = 1500
    sense[FLOOR_WET_ML] = 50
    sense[FLOW_JAMMED_ML_MIN] = -1
    sense[CUT_OUT_OPENS_MC] = NO_CUT_OUT
    sense[CUT_OUT_CLOSES_MC] = NO_CUT_OUT


@dataclass(frozen=True)
class Sensors:
    """The sensors of an installation as they really are, probes in the order of `reading.py`.

    Raises:
        ValueError: naming the value out of range.
    """

    offset_mk: tuple[int, int, int, int, int] = (0, 0, 0, 0, 0)
    noise_mk: int = 40
    flow_gain_pm: int = 1000
    flow_starts_ml_min: int = 100
    fan_full_rpm: int = 1500
    level_low_mm: int = 0
    floor_wet_ml: int = 50
    cut_out_opens_mc: int = NO_CUT_OUT
    cut_out_closes_mc: int = NO_CUT_OUT

    def __post_init__(self) -> None:
        if not all(-20_000 <= offset <= 20_000 for offset in self.offset_mk):
            raise ValueError(f"Sensors.offset_mk: {self.offset_mk} is outside -20000 to 20000 mK")
        for name, high in (("noise_mk", 5000), ("flow_gain_pm", 10_000), ("level_low_mm", 2000)):
            if not 0 <= getattr(self, name) <= high:
                raise ValueError(f"Sensors.{name}: {getattr(self, name)} is outside 0 to {high}")
        if self.cut_out_closes_mc < self.cut_out_opens_mc:
            raise ValueError("Sensors.cut_out_closes_mc: must not be below cut_out_opens_mc")

    def put(self, sense: IntRecord) -> None:
        """Write these sensors into a neutral record."""
        for i in range(reading.PROBES):
            sense[OFFSET_MK_0 + i] = self.offset_mk[i]
        sense[NOISE_MK] = self.noise_mk
        sense[FLOW_GAIN_PM] = self.flow_gain_pm
        sense[FLOW_STARTS_ML_MIN] = self.flow_starts_ml_min
        sense[FAN_FULL_RPM] = self.fan_full_rpm
        sense[LEVEL_LOW_MM] = self.level_low_mm
        sense[FLOOR_WET_ML] = self.floor_wet_ml
        sense[CUT_OUT_OPENS_MC] = self.cut_out_opens_mc
        sense[CUT_OUT_CLOSES_MC] = self.cut_out_closes_mc
