"""Which frames make a probe believed, and which lose it."""

from __future__ import annotations

import pytest
from drive import EVERY_SENSOR, Drive, cell, fitted, reading, setting, statechart

LOW_ONLY = fitted.STORE_LOW | fitted.ROOM


def charging(fit: int = LOW_ONLY, **settings: int) -> Drive:
    d = Drive(fit=fit, settings=settings)
    d.minutes(11)
    assert d.compressor
    return d


def until_off(d: Drive) -> int:
    return d.until(lambda d: not d.compressor, 60)


def test_three_good_frames_make_trust_and_repeating_one_does_not() -> None:
    d = Drive(fit=LOW_ONLY)
    d.tick()
    d.silent.add("STORE_LOW")
    d.seconds(5)
    assert d.store_state == statechart.STORE_BLIND
    d.silent.clear()
    d.tick()
    assert d.store_state == statechart.STORE_BLIND
    d.tick()
    assert d.store_state == statechart.HOLD


@pytest.mark.parametrize("fault", [1, 2, 3, 4, 5, 6])
def test_a_frame_the_driver_rejects_is_not_believed(fault: int) -> None:
    """Code 3 is the shorted bus: nine zero bytes pass the checksum and would read 0.00 °C."""
    d = charging()
    d.set(STORE_LOW_FAULT=fault, STORE_LOW_MC=0)
    d.seconds(7)
    assert d.compressor  # one lost frame is no reason to stop; the last good value stands in
    assert 7 + until_off(d) <= 10
    assert d.store_state == statechart.STORE_BLIND


@pytest.mark.parametrize("mc", [85000, -5001, 45001])
def test_the_power_on_value_and_values_out_of_range_are_never_a_number(mc: int) -> None:
    """85.000 °C is the register before its first conversion (datasheet p. 6, check-values S3)."""
    d = charging()
    d.set(STORE_LOW_MC=mc)
    assert until_off(d) <= 10
    d.minutes(30)
    assert d.store_state == statechart.STORE_BLIND


def test_one_wild_frame_is_ignored_a_lasting_jump_begins_trust_anew() -> None:
    d = charging()
    d.tick(STORE_LOW_MC=14001)
    d.seconds(3, STORE_LOW_MC=8000)
    assert d.compressor
    d.set(STORE_LOW_MC=14001)
    took = until_off(d)
    assert 8 <= took <= 10
    assert d.until(lambda d: d.store_state == statechart.HOLD, 10) <= 4


def test_a_step_of_five_kelvin_is_still_believed() -> None:
    d = charging()
    d.seconds(20, STORE_LOW_MC=13000)
    assert d.compressor


@pytest.mark.parametrize("gap_s", [2, 10])
def test_frames_may_be_ten_seconds_old(gap_s: int) -> None:
    d = charging()
    d.silent.add("STORE_LOW")
    d.seconds(gap_s)
    assert d.compressor
    if gap_s == 10:
        d.tick()
        assert not d.compressor


def test_a_frame_from_the_future_is_old() -> None:
    d = charging()
    d.silent.add("STORE_LOW")
    d.readings[reading.STORE_LOW_AT_MS] = d.readings[reading.NOW_MS] + 5000
    d.tick()
    assert not d.compressor


def test_bad_frames_after_a_gap_can_keep_a_probe_at_most_18_seconds() -> None:
    """Accepted limit: the age of the last good frame is not kept, only that of the last frame."""
    d = charging()
    d.silent.add("STORE_LOW")
    d.seconds(10)
    d.silent.clear()
    d.set(STORE_LOW_FAULT=2)
    assert 10 + until_off(d) <= 19


def test_a_probe_that_stands_still_while_chilled_is_not_believed() -> None:
    d = charging(STUCK_MIN=60)
    d.minutes(59)
    assert d.compressor
    d.minutes(2)
    assert d.store_state == statechart.STORE_BLIND
    d.minutes(30)
    assert not d.compressor
    d.seconds(4, STORE_LOW_MC=8062)  # it moves after all
    assert d.store_state == statechart.CHARGE


def test_a_probe_that_flickers_by_one_step_is_alive() -> None:
    d = charging(STUCK_MIN=30, PROGRESS_MIN=720)
    for n in range(180):
        d.minutes(1, STORE_LOW_MC=8000 + n % 2 * 62)
    assert d.compressor


def test_standing_still_is_not_held_against_it_while_delivering() -> None:
    d = Drive(settings={"STUCK_MIN": 30}, ROOM_MC=27000)
    d.minutes(180)
    assert d.compressor
    assert d.pump


def test_the_bottom_may_rest_at_4_degrees_while_the_high_probe_is_watching() -> None:
    """Kell 1975: water is heaviest at 3.98 °C, so the bottom stays there as the top cools on."""
    d = charging(EVERY_SENSOR, STUCK_MIN=30)
    for n in range(40):
        d.seconds(3, STORE_LOW_MC=max(4000, 8000 - n * 200), STORE_HIGH_MC=8000 - n * 100)
    for n in range(45):
        d.minutes(1, STORE_HIGH_MC=4100 - n * 10)
    d.set(STORE_HIGH_FAULT=1)  # if the low probe were disbelieved by now, this would be blind
    d.seconds(12)
    assert d.store_state == statechart.FREEZE_GUARD


def test_one_probe_lost_the_other_goes_on() -> None:
    d = charging(EVERY_SENSOR)
    d.minutes(1, STORE_LOW_FAULT=1)
    assert d.compressor
    d.set(STORE_HIGH_FAULT=1)
    assert until_off(d) <= 10


def test_calibration_is_added_and_range_is_judged_on_the_raw_value() -> None:
    d = charging(STORE_LOW_OFFSET_MK=-3000)
    d.seconds(4, STORE_LOW_MC=7501)  # 4.501 °C after calibration, floor 4 °C + 0.5 K
    assert d.compressor
    d.seconds(2, STORE_LOW_MC=7500)
    assert not d.compressor
    assert d.settings[setting.STORE_LOW_OFFSET_MK] == -3000


@pytest.mark.parametrize(
    ("i", "name", "lowest_mc", "highest_mc"),
    [
        (0, "STORE_LOW", -5000, 45000),
        (1, "STORE_HIGH", -5000, 45000),
        (2, "ROOM", -10000, 60000),
        (3, "COIL_IN", -10000, 60000),
        (4, "COIL_AIR", -10000, 60000),
    ],
)
def test_the_range_of_each_probe_ends_where_it_should(
    i: int, name: str, lowest_mc: int, highest_mc: int
) -> None:
    for mc, inside in (
        (lowest_mc - 1, False),
        (lowest_mc, True),
        (highest_mc, True),
        (highest_mc + 1, False),
    ):
        d = Drive(fit=EVERY_SENSOR)
        d.set(**{f"{name}_MC": mc})
        d.tick()
        assert bool(d.memory[cell.VALID] >> i & 1) is inside, mc
