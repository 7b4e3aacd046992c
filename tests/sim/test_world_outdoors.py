"""The weather as it is written: at any moment what straight lines through the series give."""

from datetime import datetime, timedelta

import numpy as np
import pytest
import simpy
from springhouse_sim.plant import given, moist_air, state
from springhouse_sim.world.outdoors import Outdoors
from springhouse_sim.world.stage import Calendar, Stage
from springhouse_sim.world.sun import Glazing
from springhouse_sim.world.weather import Place, Weather

FIRST = datetime(2025, 7, 1, 12)
AIR_C = np.array([25.0, 31.0, 22.0, 28.0, 24.0, 30.0])
DEW_C = np.array([15.0, 18.0, 12.0, 20.0, 14.0, 19.0])
SUN = np.array([400.0, 600.0, 100.0, 500.0, 300.0, 0.0])


def outdoors(cyclic: bool) -> Outdoors:
    w = Weather(
        "six hours", Place(36.0, -80.0, 270.0, -5.0), FIRST, cyclic, AIR_C, DEW_C,
        np.linspace(98_000.0, 99_000.0, 6), SUN, np.zeros(6), SUN,
    )  # fmt: skip
    return Outdoors(w, (Glazing(2.0, 0.5, 180.0),))


def seen(made: Outdoors, start: datetime, minutes: list[float]) -> np.ndarray:
    """What acts on the plant so long after the start, shape (minutes, 3): air, moisture, sun.

    The plant's part, to let the weather grow older, is done here.
    """
    env = simpy.Environment()
    x, u = np.zeros(state.SIZE), given.neutral_given()
    stage = Stage(env, u, np.zeros(1), x, Calendar(start, 60))  # type: ignore[arg-type]
    env.process(made.act(stage))
    rows = []
    now = 0.0
    for ms in (m * 60_000.0 for m in minutes):
        while env.peek() <= ms:
            x[state.WEATHER_AGE_S] += (env.peek() - now) / 1000.0
            now = env.peek()
            env.step()
        x[state.WEATHER_AGE_S] += (ms - now) / 1000.0
        now = ms
        slots = (given.OUTDOOR_C, given.OUTDOOR_HUMIDITY_RATIO, given.SUN_W)
        rows.append([given.now(u, slot, x[state.WEATHER_AGE_S]) for slot in slots])
    return np.array(rows)


@pytest.mark.parametrize("begins_min", [0.0, 10.0, 47.5])
@pytest.mark.parametrize("cyclic", [False, True])
def test_straight_lines_from_any_start_to_the_end(cyclic: bool, begins_min: float) -> None:
    """numpy.interp of the series; a mean of an hour belongs to its middle (TMY3, section 12).

    To the last stamp of a series that ends, and once round one that does not.
    """
    made = outdoors(cyclic)
    length_min = 5 * 60.0 if not cyclic else 12 * 60.0
    minutes = [float(m) for m in np.arange(0.0, length_min - begins_min, 2.5)]
    minutes.append(length_min - begins_min)
    found = seen(made, FIRST + timedelta(minutes=begins_min), minutes)
    hours = (np.array(minutes) + begins_min) / 60.0
    period = 6.0 if cyclic else None
    rows = np.arange(6.0)
    assert found[:, 0] == pytest.approx(np.interp(hours, rows, AIR_C, period=period), abs=1e-9)
    sun_w = np.interp(hours, rows - 0.5, made.hourly_sun_w, period=period)
    assert np.ptp(sun_w) > 100.0
    assert found[:, 2] == pytest.approx(sun_w, abs=1e-6)
    dew_c = np.interp(hours, rows, DEW_C, period=period)
    ratio = [moist_air.saturated_humidity_ratio(c, 98_500.0) for c in dew_c]
    assert found[:, 1] == pytest.approx(ratio, rel=0.02)  # straight for half an hour at a time
