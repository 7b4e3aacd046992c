"""Figures kept at every tick and sensor arithmetic, by hand."""

import pytest
from springhouse_sim import gauge, sensing
from springhouse_sim import sense as sense_slot


def fresh() -> tuple[list[int], list[float]]:
    counts, peaks = [0] * gauge.COUNTS, [0.0] * gauge.PEAKS
    gauge.clear(counts, peaks)  # type: ignore[arg-type]
    return counts, peaks


def test_motor_starts_and_gaps() -> None:
    """On at 600, 1500, 2400, 3300 and 4199 s, off 300 s later: 5 starts within 3600 s."""
    counts, _ = fresh()
    for tick in range(6000):
        on = any(start <= tick < start + 300 for start in (600, 1500, 2400, 3300, 4199))
        gauge.motor(counts, on, tick)
    assert counts[gauge.STARTS] == counts[gauge.STARTS_PER_HOUR_MAX] == 5
    assert counts[gauge.OFF_GAP_MIN_S] == 599


def test_a_start_exactly_an_hour_later_is_in_another_hour() -> None:
    """The window is (t - 3600 s, t]."""
    counts, _ = fresh()
    for tick in range(4300):
        gauge.motor(counts, tick in (600, 4200), tick)
    assert counts[gauge.STARTS_PER_HOUR_MAX] == 1


def test_longest_spell() -> None:
    counts, _ = fresh()
    for dry in [True] * 3 + [False] + [True] * 5 + [False]:
        gauge.spell(counts, gauge.DRY_S, dry)
    assert counts[gauge.DRY_MAX_S] == 5
    assert counts[gauge.DRY_S] == 0


@pytest.mark.parametrize(
    ("true_mc", "shown_mc"),
    [
        (125_000, 125_000),
        (25_062.5, 25_062),
        (10_125, 10_125),
        (500, 500),
        (0, 0),
        (-500, -500),
        (-10_125, -10_125),
        (-25_062.5, -25_063),
        (-55_000, -55_000),
        (31, 0),
        (32, 62),
    ],
)
def test_probe_counts(true_mc: float, shown_mc: int) -> None:
    """S4, datasheet table 1: one count is 62.5 m°C, integers within 1 m°C."""
    assert sensing.quantised_mc(true_mc) == shown_mc


def test_noise_is_bounded_repeatable_and_even() -> None:
    """A function of tick, seed and stream; mean and spread of an even distribution +-40."""
    values = [sensing.noise_mk(40, tick, 5, 0) for tick in range(20_000)]
    assert values == [sensing.noise_mk(40, tick, 5, 0) for tick in range(20_000)]
    assert (min(values), max(values)) == (-40, 40)
    assert sum(values) / len(values) == pytest.approx(0.0, abs=0.7)
    spread = sum(v * v for v in values) / len(values)
    assert spread == pytest.approx(40 * 41 / 3, rel=0.03)
    for other in (
        [sensing.noise_mk(40, tick, 6, 0) for tick in range(20_000)],
        [sensing.noise_mk(40, tick, 5, 1) for tick in range(20_000)],
        [sensing.noise_mk(40, tick + 1, 5, 0) for tick in range(20_000)],
    ):
        together = sum(a * b for a, b in zip(values, other, strict=True)) / len(values) / spread
        assert abs(together) < 0.03


def test_flow_sensor() -> None:
    """S14: below its starting flow the impeller stands still; the gain is what it misreads."""
    sense = [0] * sense_slot.SIZE
    sense_slot.fill_neutral(sense)
    sense_slot.Sensors(flow_gain_pm=1050, flow_starts_ml_min=200).put(sense)
    assert sensing.flow_ml_min(sense, 0.199) == 0
    assert sensing.flow_ml_min(sense, 1.2) == 1260


def test_week_minute_wraps_on_sunday_midnight() -> None:
    sense = [0] * sense_slot.SIZE
    sense_slot.fill_neutral(sense)
    sense[sense_slot.CLOCK_S] = 604_800 - 60
    assert sensing.week_min(sense, 59) == 10_079
    assert sensing.week_min(sense, 60) == 0


def test_bad_sensors_are_refused() -> None:
    with pytest.raises(ValueError, match=r"Sensors\.noise_mk: 6000 is outside 0 to 5000"):
        sense_slot.Sensors(noise_mk=6000)
