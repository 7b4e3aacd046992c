"""Adaptive integration of the plant: a stabilised explicit method, its error and its stages.

While something just switched dies away, the steps are those of ``skip_quick``: few, of high order.
From where long ones pay, which each step's own error tells, they are of another kind:
Runge-Kutta-Chebyshev of second order (Sommeijer, Shampine and Verwer 1997, RKC: an explicit solver
for parabolic PDEs, J. Comput. Appl. Math. 88, 315-326; formulas from memory, so tests check order,
stability and error against another solver). The plant's fast nodes (flow 3 s, coil 3 to 10 s,
mixing layers 6 s) are real and negative. A method whose stability grows with the square of its
stages takes long steps across them without a Jacobian: 13 stages carry 300 s.

Steps end on ticks or on an outside event, and take a tick at least and LONGEST_MS at most. A step
of one tick is taken whatever its error.
"""

import math
from typing import NamedTuple

from springhouse_sim import skip_dense, skip_quick
from springhouse_sim.plant import given, param, state, tap
from springhouse_sim.plant.rates import rates
from springhouse_sim.records import FloatRecord, IntRecord
from springhouse_sim.skip_dense import TICK_MS

LONGEST_MS = 600_000
DAMPING = 2.0 / 13.0
MOST_STAGES = 40
TOLERANCE = 0.0006
LEAST_FACTOR, SAFETY, MOST_FACTOR = 0.2, 0.8, 5.0
RESTART_S = 2.0  # first step after something was switched
STEP_COST = 1.0  # what goes with a step besides its evaluations, in evaluations
MODES = 8  # compressor, pump and fans on or off; each has its spectral radius
ESTIMATE_EVERY = 25  # steps for which a spectral radius is believed
POWER_ROUNDS = 8
NUDGE = 1e-4  # of the scales: perturbation that finds the spectral radius
RADIUS_MARGIN = 1.3
LEAST_RADIUS_1_S = 1e-3
FLOW_MARGIN = 1.1
STILL_L_MIN = 1e-6  # with the pump off, less flow than this is none

# The error allowed a step is TOLERANCE times the scale of the slot, in its unit. Tight for what
# lasts and is promised (room, store probe), loose for nodes that forget within a minute.
_SCALES = {
    **dict.fromkeys(range(state.WATER_C, state.WATER_C + state.LAYERS), 0.2),
    **dict.fromkeys(range(state.ICE_KG, state.ICE_KG + state.LAYERS), 0.2),
    state.STORE_KG: 10.0,
    state.STORE_LOW_PROBE_C: 0.4,
    state.STORE_HIGH_PROBE_C: 0.4,
    state.EVAPORATOR_C: 2.0,
    state.CONDENSER_C: 5.0,
    state.WINDING_C: 8.0,
    state.SHELL_C: 8.0,
    state.SUPPLY_C: 2.0,
    state.RETURN_C: 1.5,
    state.COIL_C: 1.5,
    state.COIL_IN_PROBE_C: 10.0,
    state.COIL_AIR_PROBE_C: 10.0,
    state.FLOW_L_MIN: 4.0,
    state.FROST_KG: 0.1,
    state.ROOM_AIR_C: 0.25,
    state.ROOM_PROBE_C: 0.2,
    state.ROOM_HUMIDITY_RATIO: 3e-4,
    state.BATTERY_WH: 10.0,
    state.BATTERY_LOW_LOAD_S: 100.0,
}
SCALES = tuple(_SCALES.get(slot, 1.0) for slot in range(state.TOTALS))


class Ends(NamedTuple):
    """State and rates at both ends of a step."""

    begin: FloatRecord
    begin_rates: FloatRecord
    end: FloatRecord
    end_rates: FloatRecord


class Scratch(NamedTuple):
    """Three states and the taps between the ends."""

    first: FloatRecord
    second: FloatRecord
    third: FloatRecord
    taps: FloatRecord


class Pilot(NamedTuple):
    """What the integration works on.

    ``directions`` of the fastest node, a mode each; ``numbers`` and ``marks`` as below; ``inner``
    stages of a quick step.
    """

    ends: Ends
    scratch: Scratch
    taps_begin: FloatRecord
    taps_end: FloatRecord
    directions: FloatRecord
    curve: FloatRecord
    numbers: FloatRecord
    marks: IntRecord
    inner: skip_quick.Stages


# numbers
H_S, ERROR, ALLOWED, RADIUS_0 = range(4)
NUMBERS = RADIUS_0 + MODES
# marks
STEPS, REJECTED, EVALUATIONS, QUICK, AGE_0 = range(5)  # QUICK: 1 while quick steps are taken
MARKS = AGE_0 + MODES


def prepare(pilot: Pilot) -> None:
    """Fill the zeroed records of a pilot."""
    directions, numbers, marks = pilot.directions, pilot.numbers, pilot.marks
    for slot in range(MODES * state.SIZE):
        directions[slot] = 1.0
    numbers[H_S] = 1.0
    numbers[ERROR] = 1.0
    marks[QUICK] = 1
    numbers[ALLOWED] = TOLERANCE
    for mode in range(MODES):
        marks[AGE_0 + mode] = ESTIMATE_EVERY


def mode_of(u: FloatRecord) -> int:
    """Return which motors are driven, 0 to MODES - 1."""
    mode = 1 if u[given.COMPRESSOR_RELAY] > 0.5 else 0
    if u[given.PUMP_DUTY] > 0.0:
        mode += 2
    if u[given.FAN_DUTY] > 0.0:
        mode += 4
    return mode


def rests(x: FloatRecord, u: FloatRecord, slot: int) -> bool:
    """Whether a slot is a fast node at rest at its bound: nothing can move it from there."""
    if slot == state.FROST_KG:
        return bool(x[slot] == 0.0)
    return bool(slot == state.FLOW_L_MIN and x[slot] == 0.0 and u[given.PUMP_DUTY] == 0.0)


def estimate_radius(pilot: Pilot, u: FloatRecord, p: FloatRecord, mode: int) -> float:
    """Return the fastest rate of the plant [1/s], margin included: power method on its rates."""
    x0, f0 = pilot.ends.begin, pilot.ends.begin_rates
    y, fy, taps = pilot.scratch.first, pilot.scratch.second, pilot.scratch.taps
    directions, marks = pilot.directions, pilot.marks
    base = mode * state.SIZE
    radius = 0.0
    for n in range(POWER_ROUNDS):
        norm = 0.0
        for slot in range(state.TOTALS):
            if rests(x0, u, slot):
                directions[base + slot] = 0.0
            norm += (directions[base + slot] / SCALES[slot]) ** 2
        if norm == 0.0:
            return LEAST_RADIUS_1_S
        nudge = NUDGE / math.sqrt(norm)
        for slot in range(state.SIZE):
            y[slot] = x0[slot]
            if slot < state.TOTALS:
                y[slot] += nudge * directions[base + slot]
        rates(y, u, p, fy, taps)
        marks[EVALUATIONS] += 1
        before = radius
        radius = 0.0
        for slot in range(state.TOTALS):
            d = (fy[slot] - f0[slot]) / NUDGE
            radius += (d / SCALES[slot]) ** 2
            directions[base + slot] = d
        radius = math.sqrt(radius)
        if n > 0 and abs(radius - before) <= 0.03 * radius:
            break
    return max(LEAST_RADIUS_1_S, RADIUS_MARGIN * radius)


def stages(h_s: float, radius_1_s: float) -> int:
    """Return the stages that carry a step stably: 0.65 times their square covers h times radius."""
    return min(MOST_STAGES, max(2, 1 + int(math.sqrt(1.54 * h_s * radius_1_s + 1.0))))


def attempt(pilot: Pilot, u: FloatRecord, p: FloatRecord, h_s: float, count: int) -> float:
    """Fill the end of the step; return its error over the error allowed."""
    x0, f0, x1, f1 = pilot.ends
    last, before, y, taps = pilot.scratch
    w0 = 1.0 + DAMPING / (count * count)
    root = math.sqrt(w0 * w0 - 1.0)
    arc = count * math.log(w0 + root)
    w1 = math.sinh(arc) * root * root / (math.cosh(arc) * count * root - w0 * math.sinh(arc))
    b_last = b_before = 1.0 / (4.0 * w0 * w0)
    z_last, z_before, dz_last, dz_before, d2z_last, d2z_before = w0, 1.0, 1.0, 0.0, 0.0, 0.0
    for slot in range(state.SIZE):
        before[slot] = x0[slot]
        last[slot] = x0[slot] + h_s * w1 * b_last * f0[slot]
    for _ in range(2, count + 1):
        z = 2.0 * w0 * z_last - z_before
        dz = 2.0 * w0 * dz_last - dz_before + 2.0 * z_last
        d2z = 2.0 * w0 * d2z_last - d2z_before + 4.0 * dz_last
        b = d2z / (dz * dz)
        a = 1.0 - z_last * b_last
        mu = 2.0 * w0 * b / b_last
        nu = -b / b_before
        gain = h_s * mu * w1 / w0
        rates(last, u, p, f1, taps)
        for slot in range(state.SIZE):
            y[slot] = (
                mu * last[slot]
                + nu * before[slot]
                + (1.0 - mu - nu) * x0[slot]
                + gain * (f1[slot] - a * f0[slot])
            )
        before, last, y = last, y, before
        b_before, b_last = b_last, b
        z_before, z_last, dz_before, dz_last = z_last, z, dz_last, dz
        d2z_before, d2z_last = d2z_last, d2z
    for slot in range(state.SIZE):
        x1[slot] = last[slot]
    arrive(pilot, u, p)
    pilot.marks[EVALUATIONS] += count
    return float(long_error(pilot, h_s) / pilot.numbers[ALLOWED])


def arrive(pilot: Pilot, u: FloatRecord, p: FloatRecord) -> None:
    """Fill rates and taps at the end of the step."""
    x1, f1 = pilot.ends.end, pilot.ends.end_rates
    if u[given.PUMP_DUTY] == 0.0 and abs(x1[state.FLOW_L_MIN]) < STILL_L_MIN:
        x1[state.FLOW_L_MIN] = 0.0
    rates(x1, u, p, f1, pilot.taps_end)


def long_error(pilot: Pilot, h_s: float) -> float:
    """Return the error over the scales that a long step between these ends makes."""
    x0, f0, x1, f1 = pilot.ends
    worst = 0.0
    for slot in range(state.TOTALS):
        e = 0.8 * (x0[slot] - x1[slot]) + 0.4 * h_s * (f0[slot] + f1[slot])
        worst = max(worst, abs(e) / SCALES[slot])
    return float(worst)


def attempt_quick(pilot: Pilot, u: FloatRecord, p: FloatRecord, h_s: float) -> float:
    """Fill the end of a quick step; return its error over the error allowed."""
    x0, f0, x1, f1 = pilot.ends
    amid, taps = pilot.scratch.first, pilot.scratch.taps
    skip_quick.attempt(x0, f0, x1, u, p, pilot.inner, taps, h_s)
    arrive(pilot, u, p)
    pilot.marks[EVALUATIONS] += skip_quick.STAGES
    return float(
        skip_quick.finish(x0, f0, f1, pilot.inner, amid, SCALES, h_s) / pilot.numbers[ALLOWED]
    )


def radius_of(pilot: Pilot, u: FloatRecord, p: FloatRecord, mode: int) -> float:
    """Return the fastest rate [1/s] to be reckoned with in the step that begins."""
    radius = pilot.numbers[RADIUS_0 + mode]
    if pilot.ends.begin[state.FLOW_L_MIN] != 0.0:
        # Flow that dies away: the estimate may be from a time without any.
        radius = max(radius, FLOW_MARGIN / p[param.FLOW_LAG_S])
    return float(radius)


def renew_radius(pilot: Pilot, u: FloatRecord, p: FloatRecord, mode: int, oldest: int) -> None:
    """Estimate the radius of a mode anew if more than ``oldest`` steps were taken with it."""
    if pilot.marks[AGE_0 + mode] > oldest:
        pilot.numbers[RADIUS_0 + mode] = estimate_radius(pilot, u, p, mode)
        pilot.marks[AGE_0 + mode] = 0


def restart(pilot: Pilot) -> None:
    """Reckon with something quick, for something was just switched."""
    pilot.numbers[H_S] = min(pilot.numbers[H_S], RESTART_S)
    pilot.marks[QUICK] = 1


def step(pilot: Pilot, u: FloatRecord, p: FloatRecord, now_ms: int, to_ms: int) -> int:
    """Step from ``now_ms``, where x and its rates stand; return the end, ``to_ms`` at most."""
    numbers, marks, curve = pilot.numbers, pilot.marks, pilot.curve
    x0, f0, x1, f1 = pilot.ends
    mode = mode_of(u)
    renew_radius(pilot, u, p, mode, ESTIMATE_EVERY - 1)
    least = now_ms - now_ms % TICK_MS + TICK_MS
    while True:
        radius = radius_of(pilot, u, p, mode)
        longest_s = LONGEST_MS * 0.001
        if marks[QUICK]:
            longest_s = skip_quick.MOST_H_RADIUS / radius
        end = now_ms + int(min(longest_s, numbers[H_S]) * 1000.0)
        end -= end % TICK_MS
        end = min(to_ms, max(end, least))
        h_s = (end - now_ms) * 0.001
        if marks[QUICK]:
            error = max(1e-6, attempt_quick(pilot, u, p, h_s))
            factor = SAFETY * error ** (-1.0 / 5.0)
        else:
            error = max(1e-6, attempt(pilot, u, p, h_s, stages(h_s, radius)))
            factor = SAFETY * error ** (-1.0 / 3.0)
        if error <= 1.0 or end <= least:
            break
        marks[REJECTED] += 1
        numbers[H_S] = max(1.0, h_s * min(0.7, max(0.1, factor)))
        renew_radius(pilot, u, p, mode, 0)
    skip_dense.fit(curve, x0, f0, x1, f1, now_ms, end)
    if marks[QUICK]:
        skip_dense.bend(curve, pilot.scratch.first)
    for slot in range(tap.SIZE):
        curve[skip_dense.TAPS_BEGIN + slot] = pilot.taps_begin[slot]
        curve[skip_dense.TAPS_END + slot] = pilot.taps_end[slot]
    marks[STEPS] += 1
    marks[AGE_0 + mode] += 1
    plan(pilot, h_s, radius, error, factor, end < to_ms)
    return end


def plan(
    pilot: Pilot, h_s: float, radius_1_s: float, error: float, factor: float, whole: bool
) -> None:
    """Choose length and kind of the next step; ``whole``: no event has cut this one short."""
    numbers, marks = pilot.numbers, pilot.marks
    # A proportional and integral part: less hunting than with the last error alone.
    factor *= (numbers[ERROR] / error) ** 0.1
    grown = max(1.0, h_s * min(MOST_FACTOR, max(LEAST_FACTOR, factor)))
    numbers[ERROR] = min(1.0, error)
    # A step cut short by an event says nothing against the longer one meant before.
    if whole or grown > numbers[H_S] or error > 0.5:
        numbers[H_S] = grown
    if not marks[QUICK] or not whole:
        return
    rough = max(1e-6, long_error(pilot, h_s) / numbers[ALLOWED])
    long_s = h_s * min(MOST_FACTOR, SAFETY * rough ** (-1.0 / 3.0))
    # Judged by what quick steps can be at their best, for they soon are.
    quick_cost_1_s = (skip_quick.STAGES + STEP_COST) * radius_1_s / skip_quick.MOST_H_RADIUS
    if stages(long_s, radius_1_s) + STEP_COST < math.floor(long_s) * quick_cost_1_s:
        marks[QUICK] = 0
        numbers[H_S] = max(1.0, long_s)
        numbers[ERROR] = 1.0
