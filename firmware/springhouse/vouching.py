"""What two store probes may say of the same water, and when both vouch for the top below 4 °C.

Water is heaviest at 3.98 °C. In water at rest, or stirred by nothing but a cold wall, the heaviest
lies below, so the low probe reads between 3.98 °C and the high probe: above 4 °C the warm water is
on top, below 4 °C the cold. With 3.98 °C in between neither side is possible for long: where warm
water meets water below 4 °C they mix to water heavier than both, which sinks, and the bottom comes
up to 3.98 °C. Hence two things no honest pair shows while the store is chilled and nothing is
delivered: a bottom warmer than the top and than 3.98 °C, and a bottom that goes on falling below
3.98 °C while the top is said to be warmer. Each comparison allows `may_differ_mk`.

Delivery draws what is above down to the bottom, cold water that lay on top too, and lays warm water
over it: then a falling bottom is no lie. But what comes down was once at the top. A bottom a kelvin
below 3.98 °C, and a kelvin colder than the top has ever been since the bottom was warm, was chilled
from above by a top that says nothing of it: a lie also while the pump runs.

Ice is at 0 °C and grows at the wall while the bottom still reads 3 °C: only a high probe that tells
the truth sees it come. A high probe that reads warm by a steady amount looks below 4 °C like one in
water that is less cold, so it is compared above, where chilled water is mixed to some tenths: it is
*vouched for* while both agree there, and below that only as long as its reading does what chilled
water does, falls and does not come up again. What is not vouched for stops at the floor.
"""

from array import array

from springhouse import fitted, near, output, probes, reading, setting, timekeeping
from springhouse import memory as cell

DENSEST_MC = 3980  # greatest density of water at 1 atm (Kell 1975)
# Chilled water above 4 °C: 0.35 K over the height of a store, 0.5 K in the film at the cold wall
# (both from the simulated plant), 0.1 K for the steps of two 12-bit probes.
MIXED_MK = 500
JUDGED_ABOVE_MK = 500  # they are compared down to so far above the floor: the bottom lags there
STEP_MK = 125  # two steps of a 12-bit probe: a move that is no noise
FALL_MS = 1800000  # chilled so long, the top falls by CHILLS_MK or is not in that water
RISE_MK = 750  # the film at the wall goes when the compressor stops: 0.3 K; delivery makes more
SINK_MK = 250  # a fall of the bottom that is no noise
FOR_SURE_MK = 1000  # a top said to be warm is so until so much nearer to the bottom
NONE_MC = -100000  # no chill to measure a fall of the bottom from; nothing known of the top's least
FAR_MC = 100000  # the top's fall has not begun


def both(memory: "array[int]") -> bool:
    """Whether both store probes are trusted."""
    return probes.trusted(memory, probes.LOW) and probes.trusted(memory, probes.HIGH)


def chilling(memory: "array[int]") -> bool:
    """Whether the compressor runs without delivery."""
    return memory[cell.OUT] & (output.COMPRESSOR | output.PUMP) == output.COMPRESSOR


def may_differ_mk(settings: "array[int]") -> int:
    """How far two honest probes in mixed water may read apart: both errors, and what is unmixed."""
    return settings[setting.STORE_LOW_ERR_MK] + settings[setting.STORE_HIGH_ERR_MK] + MIXED_MK


def judged_from_mc(settings: "array[int]") -> int:
    """Low reading from which the two are compared."""
    return settings[setting.FLOOR_MC] + settings[setting.STORE_LOW_ERR_MK] + JUDGED_ABOVE_MK


def sinks_below_mc(settings: "array[int]") -> int:
    """Low reading that is surely below the greatest density."""
    return DENSEST_MC - settings[setting.STORE_LOW_ERR_MK]


def gap_mk(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """How much warmer the high probe reads than the low one."""
    high = probes.value_mc(memory, settings, readings, probes.HIGH)
    return high - probes.value_mc(memory, settings, readings, probes.LOW)


def warm_gap_mk(memory: "array[int]", settings: "array[int]") -> int:
    """Gap above which the top is said to be warm."""
    sure = FOR_SURE_MK if memory[cell.FLAGS] & cell.FLAG_FREEZE else 0
    return may_differ_mk(settings) + sure


def upside_down(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the bottom reads warmer than the top and than the greatest density."""
    differ = may_differ_mk(settings)
    low = probes.value_mc(memory, settings, readings, probes.LOW)
    if not near.at_least(readings, 0, reading.STORE_LOW_MC, low, DENSEST_MC + differ + 1):
        return False
    gap = gap_mk(memory, settings, readings)
    if near.apart_at_least(
        readings, 0, reading.STORE_LOW_MC, reading.STORE_HIGH_MC, -gap, differ + 1
    ):
        return True
    near.moot(readings, 2)  # wherever the bottom is
    return False


def needed(settings: "array[int]") -> bool:
    """Whether the top must be vouched for; an ice bank is bounded by its ration."""
    return settings[setting.FITTED] & fitted.STORE_LOW != 0 and not settings[setting.ICE_BANK]


def freezing(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", above_mk: int
) -> bool:
    """Whether the coldest probe less its error is less than `above_mk` above the freeze limit.

    The limit is the floor above 4 °C with nothing trusted at the top or wall, with a probe there
    that nothing vouches for, or one that the bottom gave the lie. Not while the top is said to be
    warm: the bottom rests at 4 °C then, and `update` sees it sink if that is not true.
    """
    coldest = probes.coldest_mc(memory, settings, readings)
    limit = settings[setting.FREEZE_MC]
    floor = max(limit, settings[setting.FLOOR_MC])
    if not probes.trusted(memory, probes.HIGH) or memory[cell.FLAGS] & cell.FLAG_SUNK:
        limit = floor
    elif needed(settings) and not memory[cell.FLAGS] & cell.FLAG_VOUCHED:
        x = floor + above_mk
        if near.store_at_least(readings, 0, probes.store_trust(memory), coldest, x):
            return False  # of whatever limit
        warm = False
        if probes.trusted(memory, probes.LOW):
            up = reading.STORE_HIGH_MC
            gap = gap_mk(memory, settings, readings)
            x = warm_gap_mk(memory, settings) + 1
            warm = near.apart_at_least(readings, 0, up, reading.STORE_LOW_MC, gap, x)
        if not warm:
            limit = floor
    x = limit + above_mk
    return not near.store_at_least(readings, 0, probes.store_trust(memory), coldest, x)


def _put(memory: "array[int]", bit: int, on: bool) -> None:
    if on:
        memory[cell.FLAGS] |= bit
    else:
        memory[cell.FLAGS] &= ~bit


def least_top_mc(memory: "array[int]", settings: "array[int]") -> int:
    """What the high probe has surely not read less than since the bottom was last warm."""
    return memory[cell.TOP_LEAST_MC] - settings[setting.CHILLS_MK]


def colder_than_ever_mc(memory: "array[int]", settings: "array[int]") -> int:
    """Low reading that water from the top cannot have brought about, if the high probe is right."""
    return min(sinks_below_mc(settings), least_top_mc(memory, settings)) - FOR_SURE_MK


def update(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Keep what the two probes vouch for."""
    chills = chilling(memory)
    if not both(memory):
        _put(memory, cell.FLAG_VOUCHED | cell.FLAG_SUNK, False)
        memory[cell.CHILL_LOW_MC] = NONE_MC
        memory[cell.TOP_LEAST_MC] = NONE_MC
        memory[cell.TOP_T] = timekeeping.IDLE
        return
    low = probes.value_mc(memory, settings, readings, probes.LOW)
    if near.at_least(readings, 0, reading.STORE_LOW_MC, low, judged_from_mc(settings)):
        memory[cell.TOP_T] = timekeeping.IDLE
        _put(memory, cell.FLAG_SUNK, False)
        if chills:
            gap = gap_mk(memory, settings, readings)
            differ = may_differ_mk(settings)
            alike = near.apart_within(
                readings, 0, reading.STORE_HIGH_MC, reading.STORE_LOW_MC, gap, differ
            )
            _put(memory, cell.FLAG_VOUCHED, alike)
            memory[cell.TOP_LEAST_MC] = FAR_MC
    else:
        _fall(memory, settings, readings, chills)
    _sink(memory, settings, readings, chills)


def _fall(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", chills: bool
) -> None:
    """Below: the top falls while chilled, and never comes up; its least is kept in any case."""
    high = probes.value_mc(memory, settings, readings, probes.HIGH)
    slot = reading.STORE_HIGH_MC
    if not near.at_least(readings, 0, slot, high, least_top_mc(memory, settings) + 1):
        memory[cell.TOP_LEAST_MC] = high
        memory[cell.TOP_T] = timekeeping.IDLE
    if not memory[cell.FLAGS] & cell.FLAG_VOUCHED:
        memory[cell.TOP_T] = timekeeping.IDLE
        return
    still = timekeeping.hold(memory, cell.TOP_T, readings[reading.NOW_MS], chills, FALL_MS)
    if still or near.at_least(readings, 0, slot, high, memory[cell.TOP_LEAST_MC] + RISE_MK):
        _put(memory, cell.FLAG_VOUCHED, False)
        memory[cell.TOP_T] = timekeeping.IDLE


def _sink(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", chills: bool
) -> None:
    """A bottom that falls below its greatest density under a top said to be warm."""
    slot = reading.STORE_LOW_MC
    low = probes.value_mc(memory, settings, readings, probes.LOW)
    sunk = False
    if not chills:
        memory[cell.CHILL_LOW_MC] = NONE_MC
    else:
        up_mc = memory[cell.CHILL_LOW_MC] + STEP_MK
        if memory[cell.CHILL_LOW_MC] == NONE_MC or near.at_least(readings, 0, slot, low, up_mc):
            memory[cell.CHILL_LOW_MC] = low
        sunk_mc = min(sinks_below_mc(settings) - 1, memory[cell.CHILL_LOW_MC] - SINK_MK)
        sunk = not near.at_least(readings, 0, slot, low, sunk_mc + 1)
    if memory[cell.OUT] & output.COMPRESSOR:
        never_mc = colder_than_ever_mc(memory, settings)
        if not near.at_least(readings, 0, slot, low, never_mc + 1):
            sunk = True
    if sunk:
        gap = gap_mk(memory, settings, readings)
        differ = may_differ_mk(settings)
        if near.apart_at_least(readings, 0, reading.STORE_HIGH_MC, slot, gap, differ + 1):
            _put(memory, cell.FLAG_SUNK, True)
            _put(memory, cell.FLAG_VOUCHED, False)
            memory[cell.TOP_T] = timekeeping.IDLE
