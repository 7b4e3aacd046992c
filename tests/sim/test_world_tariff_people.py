"""Windows, tariff, metering and people, by hand and against published heat gains."""

from datetime import datetime

import pytest
import simpy
from springhouse_sim import sense as sense_slot
from springhouse_sim.plant import given, moist_air, state
from springhouse_sim.world import people, tariff
from springhouse_sim.world.stage import Calendar, Stage
from springhouse_sim.world.windows import Window, minutes_to_edge

WEEKDAYS = 0b0011111
NIGHT = Window(23 * 60, 7 * 60)


def stage_at(start: datetime) -> Stage:
    env = simpy.Environment()
    sense = [0] * sense_slot.SIZE
    return Stage(env, given.neutral_given(), sense, [0.0] * state.SIZE, Calendar(start))  # type: ignore[arg-type]


def test_night_window_runs_over_midnight_and_over_the_week() -> None:
    sunday_night = Window(23 * 60, 7 * 60, days=1 << 6)
    assert sunday_night.contains(6 * 1440 + 23 * 60)
    assert sunday_night.contains(6 * 60 + 59)  # Monday morning
    assert not sunday_night.contains(7 * 60)
    assert not sunday_night.contains(1440 + 60)  # Tuesday
    assert sunday_night.edges() == {6 * 1440 + 23 * 60, 7 * 60}


def test_minutes_to_edge() -> None:
    assert minutes_to_edge([NIGHT], 0) == 7 * 60
    assert minutes_to_edge([NIGHT], 7 * 60) == 16 * 60
    assert minutes_to_edge([NIGHT], 23 * 60 - 1) == 1
    assert minutes_to_edge([], 5) == 10080


@pytest.mark.parametrize(("start", "end", "days"), [(1440, 0, 1), (0, 1441, 1), (0, 1, 128)])
def test_bad_window_is_refused(start: int, end: int, days: int) -> None:
    with pytest.raises(ValueError, match=r"Window\.\w+: \d+ is outside"):
        Window(start, end, days)


def test_prices_and_precedence() -> None:
    peak = tariff.Rate("peak", 0.50, (Window(16 * 60, 20 * 60, WEEKDAYS),))
    cheap = tariff.Rate("cheap", 0.10, (NIGHT, Window(12 * 60, 17 * 60)))
    t = tariff.Tariff((peak, cheap, tariff.Rate("base", 0.30)))
    assert t.price_at(16 * 60) == 0.50  # Monday: peak before cheap
    assert t.price_at(5 * 1440 + 16 * 60) == 0.10  # Saturday
    assert t.price_at(10 * 60) == 0.30
    assert t.minutes_to_edge(16 * 60) == 60
    assert tariff.flat(0.25).price_at(1234) == 0.25


def test_tariff_without_a_base_rate_is_refused() -> None:
    with pytest.raises(ValueError, match="last rate"):
        tariff.Tariff((tariff.Rate("cheap", 0.1, (NIGHT,)),))
    with pytest.raises(ValueError, match="last rate"):
        tariff.Tariff((tariff.Rate("a", 0.1), tariff.Rate("b", 0.1)))
    with pytest.raises(ValueError, match="same name"):
        tariff.Tariff((tariff.Rate("a", 0.1, (NIGHT,)), tariff.Rate("a", 0.1)))


def test_meter_by_hand() -> None:
    """100 W from Monday 22:00 to Tuesday 08:00: 8 h cheap, 1 h before and 1 h after dear.

    0.8 kWh x 0.10 + 0.2 kWh x 0.30 = 0.14. Readings are half a second early: 1e-4 of an hour.
    """
    stage = stage_at(datetime(2025, 7, 7, 22))
    meter = tariff.Meter(tariff.two_rate(0.10, 0.30, (NIGHT,)))

    def load() -> object:
        while True:
            yield stage.env.timeout(500)
            stage.state[state.MAINS_J] += 50.0

    stage.env.process(load())  # type: ignore[arg-type]
    stage.env.process(meter.act(stage))
    stage.env.run(10 * 3_600_000 + 1)
    meter.read(float(stage.state[state.MAINS_J]))
    assert meter.kwh["cheap"] == pytest.approx(0.8, rel=2e-4)
    assert meter.kwh["dear"] == pytest.approx(0.2, rel=2e-4)
    assert meter.cost == pytest.approx(0.14, rel=2e-4)


def test_events_fall_half_a_tick_before_their_second() -> None:
    stage = stage_at(datetime(2025, 7, 7))
    seen = []

    def actor() -> object:
        for ms in (3000, 10_000, 10_001):
            yield stage.until(ms)
            seen.append((stage.env.now, stage.now_ms))

    stage.env.process(actor())  # type: ignore[arg-type]
    stage.env.run()
    assert seen == [(2500, 3000), (9500, 10_000), (10_500, 11_000)]


def test_heat_of_people() -> None:
    """L1: seated 70 + 45 W at 24 °C. L3: office 75 + 55 W. L4: at 27 °C L1 is 56 + 59 W.

    ASHRAE Fundamentals (SI) 2009 and 2013, chapter 18, table 1 and its note 1.
    """
    assert people.heat_of_person_w("seated", 24.0) == (70.0, 45.0)
    assert people.heat_of_person_w("office", 24.0) == (75.0, 55.0)
    assert people.heat_of_person_w("seated", 27.0) == pytest.approx((56.0, 59.0))
    with pytest.raises(ValueError, match=r"Occupancy\.activity: 'dancing' is not one of"):
        people.Occupancy(1, "dancing", (NIGHT,))


def test_asleep() -> None:
    """L6: 0.7 met, 40 W/m2 on 1.8 m2, about 73 W (from memory)."""
    assert sum(people.heat_of_person_w("asleep", 24.0)) == pytest.approx(73.0, abs=1.0)


def test_people_and_equipment_follow_their_schedules() -> None:
    """L8: 45 W latent is 65.4 g/h. Equipment: all its power is room heat (L9)."""
    stage = stage_at(datetime(2025, 7, 7, 13, 59))
    stage.state[state.ROOM_AIR_C] = 24.0
    afternoon = (Window(14 * 60, 18 * 60, WEEKDAYS),)
    actor = people.People(
        (people.Occupancy(2, "seated", afternoon),), (people.Equipment(100.0, afternoon),)
    )
    stage.env.process(actor.act(stage))
    stage.env.run(59_499)
    assert stage.given[given.PEOPLE_SENSIBLE_W] == stage.given[given.EQUIPMENT_W] == 0.0
    stage.env.run(59_501)
    assert stage.given[given.PEOPLE_SENSIBLE_W] == 140.0
    assert stage.given[given.EQUIPMENT_W] == 100.0
    assert stage.given[given.PEOPLE_MOISTURE_KG_S] * 3.6e6 == pytest.approx(2 * 65.4, rel=0.01)
    stage.state[state.ROOM_AIR_C] = 27.0
    stage.env.run(700_000)  # ten minutes after they came
    assert stage.given[given.PEOPLE_SENSIBLE_W] == pytest.approx(112.0)
    latent_w = stage.given[given.PEOPLE_MOISTURE_KG_S] * moist_air.LATENT_J_KG
    assert latent_w == pytest.approx(118.0)
    stage.env.run(4 * 3_600_000 + 60_000)
    assert stage.given[given.PEOPLE_SENSIBLE_W] == stage.given[given.PEOPLE_MOISTURE_KG_S] == 0.0
