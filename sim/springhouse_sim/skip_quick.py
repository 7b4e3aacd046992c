"""One step while something quick dies away: Dormand and Prince's pair of fifth and fourth order.

Coefficients: Dormand and Prince 1980, A family of embedded Runge-Kutta formulae, J. Comput. Appl.
Math. 6, 19-26; the value amid the step, of fourth order, is Shampine's (1986, Some practical
Runge-Kutta formulas, Math. Comput. 46, 135-150). All from memory, so tests hold them to another
library's. Its stability ends where the step is 3.3 times the quickest node's time.
"""

from typing import TypeAlias

from springhouse_sim.plant import state
from springhouse_sim.plant.rates import rates
from springhouse_sim.records import FloatRecord

STAGES = 6  # rates an accepted step costs; those at its begin are there
MOST_H_RADIUS = 3.0

# Rates at the five inner stages, then a scratch state.
Stages: TypeAlias = tuple[
    FloatRecord, FloatRecord, FloatRecord, FloatRecord, FloatRecord, FloatRecord
]


def attempt(
    x0: FloatRecord,
    f0: FloatRecord,
    x1: FloatRecord,
    u: FloatRecord,
    p: FloatRecord,
    quick: Stages,
    taps: FloatRecord,
    h_s: float,
) -> None:
    """Fill ``x1``, the end of a step of ``h_s`` [s], and the inner stages; `finish` does the rest.

    Args:
        x0: state at the begin, shape (state.SIZE,).
        f0: its rates.
        x1: out, state at the end.
        u: given.
        p: parameters.
        quick: out, rates at the five inner stages; the last record is scratch.
        taps: scratch.
        h_s: the step.
    """
    k2, k3, k4, k5, k6, y = quick
    for i in range(state.SIZE):
        y[i] = x0[i] + h_s * (1.0 / 5.0) * f0[i]
    rates(y, u, p, k2, taps)
    for i in range(state.SIZE):
        y[i] = x0[i] + h_s * (3.0 / 40.0 * f0[i] + 9.0 / 40.0 * k2[i])
    rates(y, u, p, k3, taps)
    for i in range(state.SIZE):
        y[i] = x0[i] + h_s * (44.0 / 45.0 * f0[i] - 56.0 / 15.0 * k2[i] + 32.0 / 9.0 * k3[i])
    rates(y, u, p, k4, taps)
    for i in range(state.SIZE):
        y[i] = x0[i] + h_s * (
            19372.0 / 6561.0 * f0[i]
            - 25360.0 / 2187.0 * k2[i]
            + 64448.0 / 6561.0 * k3[i]
            - 212.0 / 729.0 * k4[i]
        )
    rates(y, u, p, k5, taps)
    for i in range(state.SIZE):
        y[i] = x0[i] + h_s * (
            9017.0 / 3168.0 * f0[i]
            - 355.0 / 33.0 * k2[i]
            + 46732.0 / 5247.0 * k3[i]
            + 49.0 / 176.0 * k4[i]
            - 5103.0 / 18656.0 * k5[i]
        )
    rates(y, u, p, k6, taps)
    for i in range(state.SIZE):
        x1[i] = x0[i] + h_s * (
            35.0 / 384.0 * f0[i]
            + 500.0 / 1113.0 * k3[i]
            + 125.0 / 192.0 * k4[i]
            - 2187.0 / 6784.0 * k5[i]
            + 11.0 / 84.0 * k6[i]
        )


def finish(
    x0: FloatRecord,
    f0: FloatRecord,
    f1: FloatRecord,
    quick: Stages,
    amid: FloatRecord,
    scales: tuple[float, ...],
    h_s: float,
) -> float:
    """Fill the state amid the step; return the error over the scales, the rates ``f1`` known."""
    _, k3, k4, k5, k6, _ = quick
    for i in range(state.SIZE):
        amid[i] = x0[i] + 0.5 * h_s * (
            6025192743.0 / 30085553152.0 * f0[i]
            + 51252292925.0 / 65400821598.0 * k3[i]
            - 2691868925.0 / 45128329728.0 * k4[i]
            + 187940372067.0 / 1594534317056.0 * k5[i]
            - 1776094331.0 / 19743644256.0 * k6[i]
            + 11237099.0 / 235043384.0 * f1[i]
        )
    worst = 0.0
    for i in range(state.TOTALS):
        e = h_s * (
            71.0 / 57600.0 * f0[i]
            - 71.0 / 16695.0 * k3[i]
            + 71.0 / 1920.0 * k4[i]
            - 17253.0 / 339200.0 * k5[i]
            + 22.0 / 525.0 * k6[i]
            - 1.0 / 40.0 * f1[i]
        )
        worst = max(worst, abs(e) / scales[i])
    return worst
