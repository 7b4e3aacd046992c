"""The plant driven by a log instead of by a controller.

Plain text over flat records, compiled like the tick loop. A row of the drive holds for some
seconds; what a log does not know is NaN and is then simulated.
"""

import math

import numpy as np
from numpy.typing import NDArray

from .plant import given, integrate, param, state, tap

DOORS = (("springhouse_sim.follow", "follow"),)
STEP_S = 5.0  # longest step; the parts refuse nodes on which it would not be stable
QUIET_S = 15.0  # longest step while the loop stands still, the quickest thing here
LAGS = 6.0  # of the flow after the pump stops, until it counts as still

# A row of the drive.
(
    SECONDS,  # how long it holds
    RELAY,
    PUMP_DUTY,
    FAN_DUTY,
    MAINS,
    OUTDOOR_C,
    OUTDOOR_HUMIDITY_RATIO,
    SUN_W,
    PEOPLE_W,  # sensible
    EQUIPMENT_W,
    ROOM_HUMIDITY_RATIO,  # held where known
    PLACE_C,  # held where known
    SAMPLE,  # row of the result that shows the plant at the end of this row, -1 none
    COLUMNS,
) = range(14)

# A row of the result.
STORE_LOW_C, STORE_HIGH_C, ROOM_C, COIL_IN_C, COIL_AIR_C, FREEZER_W, SEEN = range(7)

Array = NDArray[np.float64]


def quiet_step_s(p: Array) -> float:
    """Return the longest step for a plant whose loop stands still [s]."""
    shortest_s = min(
        p[param.COIL_IN_PROBE_S],
        p[param.COIL_AIR_PROBE_S],
        p[param.STORE_PROBE_S],
        p[param.ROOM_PROBE_S],
        p[param.CONDENSER_J_K] / p[param.CONDENSER_UA_W_K],
        p[param.WINDING_J_K] / p[param.WINDING_UA_W_K],
        p[param.SHELL_J_K] / (p[param.WINDING_UA_W_K] + p[param.SHELL_UA_W_K]),
        p[param.PLACE_J_K]
        / (p[param.PLACE_UA_W_K] + p[param.PLACE_GROUND_UA_W_K] + p[param.PLACE_TO_ROOM_UA_W_K]),
        p[param.ROOM_AIR_J_K] / (p[param.AIR_MASS_UA_W_K] + p[param.ENVELOPE_AIR_UA_W_K]),
        p[param.EVAPORATOR_J_K]
        / (
            p[param.EVAPORATOR_WALL_W_M2_K]
            * p[param.STORE_PERIMETER_M]
            * (p[param.EVAPORATOR_TO_M] - p[param.EVAPORATOR_FROM_M])
        ),
    )
    return float(max(STEP_S, min(QUIET_S, shortest_s)))


def follow(x: Array, u: Array, p: Array, work: Array, t: Array, drive: Array, seen: Array) -> None:
    """Drive the plant through all rows.

    Args:
        x: state, shape (state.SIZE,), changed in place.
        u: given, shape (given.SIZE,); its fault and tolerance slots hold throughout.
        p: parameters, shape (param.SIZE,).
        work: scratch, shape (integrate.work_size(),).
        t: taps, shape (tap.SIZE,).
        drive: shape (rows, COLUMNS).
        seen: out, shape (samples, SEEN): what probes and a plug-in meter would show.
    """
    quiet_s = quiet_step_s(p)
    still_s = 0.0  # how long the pump has been off
    for i in range(drive.shape[0]):
        u[given.COMPRESSOR_RELAY] = drive[i, RELAY]
        u[given.PUMP_DUTY] = drive[i, PUMP_DUTY]
        u[given.FAN_DUTY] = drive[i, FAN_DUTY]
        u[given.MAINS] = drive[i, MAINS]
        u[given.OUTDOOR_C] = drive[i, OUTDOOR_C]
        u[given.OUTDOOR_HUMIDITY_RATIO] = drive[i, OUTDOOR_HUMIDITY_RATIO]
        u[given.SUN_W] = drive[i, SUN_W]
        u[given.PEOPLE_SENSIBLE_W] = drive[i, PEOPLE_W]
        u[given.EQUIPMENT_W] = drive[i, EQUIPMENT_W]
        if not math.isnan(drive[i, ROOM_HUMIDITY_RATIO]):
            x[state.ROOM_HUMIDITY_RATIO] = drive[i, ROOM_HUMIDITY_RATIO]
        if not math.isnan(drive[i, PLACE_C]):
            x[state.PLACE_C] = drive[i, PLACE_C]
        step_s = STEP_S
        if still_s > LAGS * p[param.FLOW_LAG_S] and drive[i, PUMP_DUTY] <= 0.0:
            x[state.FLOW_L_MIN] = 0.0  # what is left of it would grow under longer steps
            step_s = quiet_s
        still_s = 0.0 if drive[i, PUMP_DUTY] > 0.0 else still_s + drive[i, SECONDS]
        steps = max(1, math.ceil(drive[i, SECONDS] / step_s))
        integrate.advance(x, u, p, work, t, drive[i, SECONDS] / steps, steps)
        row = int(drive[i, SAMPLE])
        if row >= 0:
            seen[row, STORE_LOW_C] = x[state.STORE_LOW_PROBE_C]
            seen[row, STORE_HIGH_C] = x[state.STORE_HIGH_PROBE_C]
            seen[row, ROOM_C] = x[state.ROOM_PROBE_C]
            seen[row, COIL_IN_C] = x[state.COIL_IN_PROBE_C]
            seen[row, COIL_AIR_C] = x[state.COIL_AIR_PROBE_C]
            seen[row, FREEZER_W] = t[tap.FREEZER_W]
