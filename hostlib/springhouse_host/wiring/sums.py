"""The sums behind a parts list. Temperatures of cable and parts are taken as 20 °C."""

import math

# Blade fuses, ISO 8820-3 (from memory) [A].
FUSES_A = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
# Flexible cords: cross-section [mm2], ohms a kilometre at 20 °C at most (IEC 60228 class 5, from
# memory), amperes (EN 50565-1, from memory).
CORDS = (
    (0.5, 39.0, 3.0),
    (0.75, 26.0, 6.0),
    (1.0, 19.5, 10.0),
    (1.5, 13.3, 16.0),
    (2.5, 7.98, 25.0),
)
DROP_V = 0.5  # common practice, no source
FUSE_FACTOR = 1.5  # common practice, no source: motors draw more for a moment
START_FACTOR = 6.0  # locked-rotor over running current, common practice, no source
POWER_FACTOR = 0.6  # of a small single-phase motor, common practice, no source

LOGIC_V = 3.3
PROBE_HIGH_V = 2.2  # least high level of the 1-wire probes at 3.3 V (DS18B20 data sheet)
PROBE_SINK_MA = 4.0  # what a probe can pull to 0.4 V (same)
PROBE_PF = 25.0  # input capacitance at most (same)
PAIR_PF_M = 56.0  # twisted pair at most (ISO/IEC 11801, from memory)
# A bit is read 9 us after the line is let go; leave half of that to noise and to the probe.
RISE_US = 4.5
PROBE_MA = 1.5  # of a probe that converts, at most (same data sheet)
PULL_UPS_OHM = (4700, 3300, 2200, 1500, 1000)

# I2C-bus specification (UM10204, from memory), 100 kHz: what a chip must pull to 0.4 V, how long a
# line may rise from 0.3 to 0.7 of the supply, what a chip's pin adds at most.
I2C_SINK_MA = 3.0
I2C_LOW_V = 0.4
I2C_RISE_US = 1.0
I2C_PIN_PF = 10.0
I2C_OHM = (
    4700  # the pair at the board; what a module brings is no less (common practice, no source)
)
I2C_M = 0.5
# From a board's 3.3 V pin: data sheet of the Pico boards, from memory; on boards with an ESP32
# common practice, no source.
RAIL_MA = 300.0

# Highest over nominal, lowest over nominal voltage of each kind: 3.65 and 2.5 V a cell of 3.2 V;
# 14.7 and 10.5 V of 12 V; 5.25 and 4.75 of 5 V (USB 2.0).
SPREADS = {
    "lifepo4": (3.65 / 3.2, 2.5 / 3.2),
    "lead_acid": (14.7 / 12.0, 10.5 / 12.0),
    "power_bank": (1.05, 0.95),
    "none": (1.05, 0.95),
}
DIVIDER_TOP_OHM = 100_000
DIVIDER_BOTTOMS_OHM = (82_000, 47_000, 33_000, 22_000, 15_000, 10_000, 6_800, 4_700)
ADC_SHARE = 0.9  # of the converter's range: a reading at its end is no voltage


def fuse_a(load_w: float, lowest_v: float) -> float | None:
    """Return the fuse at the battery's post [A], None beyond the largest size."""
    wanted = load_w / lowest_v * FUSE_FACTOR
    return next((size for size in FUSES_A if size >= wanted), None)


def cord(load_w: float, volts: float, run_m: float, least_a: float) -> tuple[float, float] | None:
    """Return (cross-section [mm2], drop [V]) of the thinnest cord that will do, None if none does.

    ``run_m`` is one way; ``least_a`` is what the cord must carry, i.e. its fuse.
    """
    for area_mm2, ohm_km, carries_a in CORDS:
        drop_v = 2.0 * run_m * ohm_km / 1000.0 * load_w / volts
        if drop_v <= DROP_V and carries_a >= least_a:
            return area_mm2, drop_v
    return None


def rise_us(pull_up_ohm: float, bus_m: float, probes: int) -> float:
    """Return how long a released probe bus takes to its high level [us].

    A capacitor charged through a resistor: t = R C ln(V / (V - v)).
    """
    farad = (PAIR_PF_M * bus_m + PROBE_PF * probes) * 1e-12
    return 1e6 * pull_up_ohm * farad * math.log(LOGIC_V / (LOGIC_V - PROBE_HIGH_V))


def pull_up_ohm(bus_m: float, probes: int) -> int | None:
    """Return the largest usual pull-up that is quick enough, None if the bus is too long."""
    return next((ohm for ohm in PULL_UPS_OHM if rise_us(ohm, bus_m, probes) <= RISE_US), None)


def i2c_sink_ma(modules: int) -> float:
    """Return what a chip on the bus sinks when every module brings pull-ups too [mA]."""
    return 1000.0 * (LOGIC_V - I2C_LOW_V) * (1 + modules) / I2C_OHM


def i2c_rise_us(modules: int) -> float:
    """Return the rise of a line when no module brings pull-ups [us]: t = R C ln(0.7 / 0.3)."""
    farad = (PAIR_PF_M * I2C_M + I2C_PIN_PF * (1 + modules)) * 1e-12
    return 1e6 * I2C_OHM * farad * math.log(0.7 / 0.3)


def motor_a(input_w: float, mains_v: float) -> tuple[float, float]:
    """Return the freezer's (running, starting) current [A]."""
    running = input_w / (mains_v * POWER_FACTOR)
    return running, running * START_FACTOR


def ratio_pm(bottom_ohm: int) -> int:
    """Return the ratio of battery to pin voltage of a divider [per mille]."""
    return round(1000.0 * (DIVIDER_TOP_OHM + bottom_ohm) / bottom_ohm)


def divider_ohm(highest_v: float, full_mv: float) -> int | None:
    """Return the largest lower resistor that keeps the pin in range, None if none does."""
    for bottom in DIVIDER_BOTTOMS_OHM:
        if 1000.0 * highest_v / ratio_pm(bottom) <= ADC_SHARE * full_mv / 1000.0:
            return bottom
    return None


def bank_ah(usable_wh: float, lowest_v: float) -> float:
    """Return the charge that gives so much energy at its lowest voltage [Ah]."""
    return usable_wh / lowest_v
