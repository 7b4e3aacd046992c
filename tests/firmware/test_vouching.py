"""Two store probes below 4 °C: what they may differ by, and when the high one is believed.

Greatest density of water 3.98 °C: Kell 1975. Error budgets are 0.5 K a probe here, so that honest
readings of mixed water differ by at most 1.5 K, and are compared down to 5.0 °C at the bottom.
"""

from __future__ import annotations

import pytest
from drive import EVERY_SENSOR, Drive, cell, fitted, latch, setting, statechart
from drive import reading as reading_slot
from hypothesis import given
from hypothesis import strategies as st
from springhouse import vouching

DEEP = {"DEEP_MC": 500, "SHALLOW_MC": 500, "STUCK_MIN": 720}


def chilled(high_mc: int = 6000, **settings: int) -> Drive:
    """Chilling, the bottom at 6 °C."""
    d = Drive(settings={**DEEP, **settings}, STORE_LOW_MC=6000, STORE_HIGH_MC=high_mc)
    d.minutes(11)
    assert d.compressor
    return d


def show(d: Drive, low_mc: int, high_mc: int) -> Drive:
    d.seconds(2, STORE_LOW_MC=low_mc, STORE_HIGH_MC=high_mc)
    return d


def down(d: Drive, *pairs: tuple[int, int]) -> Drive:
    for low_mc, high_mc in pairs:
        show(d, low_mc, high_mc)
    return d


def vouched(d: Drive) -> bool:
    return bool(d.memory[cell.FLAGS] & cell.FLAG_VOUCHED)


def sunk(d: Drive) -> bool:
    return bool(d.memory[cell.FLAGS] & cell.FLAG_SUNK)


INVERSION = ((5000, 5200), (4600, 4200), (4300, 3300), (4000, 2400), (3700, 1600))


def test_an_honest_pair_goes_down_to_the_freeze_limit() -> None:
    d = down(chilled(), *INVERSION)
    assert vouched(d)
    assert d.compressor
    assert not show(d, 3500, 1000).compressor  # its own limit: 0.5 °C and its error


@pytest.mark.parametrize("apart_mk", [1500, -1500])
def test_both_vouch_down_to_half_a_kelvin_above_the_floor(apart_mk: int) -> None:
    sign = 1 if apart_mk > 0 else -1
    for low_mc, counts in ((5000, True), (4999, False)):
        d = show(chilled(), low_mc, low_mc + apart_mk + sign)
        assert vouched(d) != counts, (low_mc, "too far apart")
        d = show(chilled(), low_mc, low_mc + apart_mk)
        assert vouched(d), low_mc


def test_they_are_compared_only_while_chilled_without_delivery() -> None:
    d = chilled()
    d.ask(1)  # off
    d.seconds(3)
    show(d, 6000, 12000)
    assert vouched(d)


def test_a_warm_offset_seen_above_keeps_the_store_at_the_floor() -> None:
    d = down(chilled(7501), *((low, high + 1501) for low, high in INVERSION[:2]))
    assert not vouched(d)
    assert show(d, 4501, 4400).compressor is False or show(d, 4501, 5100).compressor
    assert not show(d, 4500, 4900).compressor


def test_a_top_that_comes_up_is_believed_no_longer() -> None:
    d = down(chilled(), *INVERSION)
    assert show(d, 3700, 2349).compressor
    assert not show(d, 3700, 2350).compressor
    assert not vouched(d)


def test_a_top_that_does_not_fall_while_chilled_is_believed_for_half_an_hour() -> None:
    d = down(chilled(), *INVERSION)
    took_s = d.until(lambda d: not d.compressor, 1900)
    assert 1795 <= took_s <= 1802
    d = down(chilled(), *INVERSION)
    d.minutes(29)
    assert show(d, 3700, 1400).compressor  # 0.2 K: what a weak compressor surely does by then
    d.minutes(29)
    assert show(d, 3700, 1201).compressor
    assert d.until(lambda d: not d.compressor, 90) <= 62


def test_at_rest_the_top_need_not_fall() -> None:
    d = down(chilled(), *INVERSION)
    d.ask(1, 240)
    d.minutes(60)
    assert vouched(d)


def test_only_a_warm_bottom_vouches_again() -> None:
    d = down(chilled(), *INVERSION)
    show(d, 3700, 3000)
    assert not vouched(d)
    show(d, 4999, 4999)
    d.minutes(20)
    assert not vouched(d)
    show(d, 5500, 5500)
    d.minutes(20)
    assert d.compressor
    assert vouched(d)


def test_a_bottom_that_falls_below_4_degrees_gives_a_warm_top_the_lie() -> None:
    """A store full of warm water over a bottom at 4 °C is chilled on; one that lies is not."""
    d = down(chilled(), (6000, 9000), (5000, 8500), (4200, 8000))
    assert not vouched(d)
    assert show(d, 3480, 7000).compressor  # 3.98 less its error
    assert not show(d, 3479, 7000).compressor
    assert sunk(d)
    assert d.store_state == statechart.FREEZE_GUARD


def test_a_cold_bottom_under_a_warm_top_is_no_lie_while_it_does_not_fall() -> None:
    """Delivery draws the cold top down to the bottom and puts warm water over it."""
    d = Drive(settings=DEEP, STORE_LOW_MC=3000, STORE_HIGH_MC=9000)
    d.minutes(11)
    assert d.compressor
    assert show(d, 2751, 9000).compressor
    assert not sunk(d)
    assert not show(d, 2750, 9000).compressor
    assert sunk(d)


def test_the_fall_is_measured_from_the_highest_of_the_chill() -> None:
    d = Drive(settings=DEEP, STORE_LOW_MC=3000, STORE_HIGH_MC=9000)
    d.minutes(11)
    show(d, 3124, 9000)
    assert show(d, 2751, 9000).compressor
    show(d, 3125, 9000)
    assert not show(d, 2875, 9000).compressor


def delivered(**readings: int) -> Drive:
    """Chilling and delivering at once, after the bottom was at 6 °C."""
    d = Drive(settings=DEEP, **{"STORE_LOW_MC": 6000, "STORE_HIGH_MC": 6000, **readings})
    d.minutes(11)
    assert d.compressor
    d.set(ROOM_MC=30000)
    d.until(lambda d: d.pump, 600)
    return d


@pytest.mark.requirement("ROW-63")
def test_a_bottom_colder_than_its_top_ever_was_is_a_lie_while_the_pump_runs_too() -> None:
    """Round the clock: delivery again and again, no chill lasts; the top reads 12 K warm."""
    d = delivered(STORE_HIGH_MC=18000)
    for low_mc, high_mc in ((4500, 16500), (3900, 15500), (3300, 15000), (2481, 14500)):
        assert show(d, low_mc, high_mc).compressor
    assert d.pump
    assert not sunk(d)
    assert not show(d, 2480, 14500).compressor  # 3.98 less its error, and a kelvin
    assert sunk(d)


def test_cold_water_that_delivery_draws_down_from_the_top_is_no_lie() -> None:
    d = down(delivered(), (5000, 5200), (4600, 4200), (4300, 3300), (4000, 2900))
    for low_mc, high_mc in ((3800, 3000), (3500, 7500), (2600, 9000), (1701, 9000)):
        show(d, low_mc, high_mc)
        assert not sunk(d)
    assert d.compressor
    show(d, 1700, 9000)  # a step of the fall, 0.2 K, and a kelvin below what the top was
    assert sunk(d)


def test_what_the_top_was_counts_though_nothing_vouches_for_it() -> None:
    """Cold on top for a while, then delivered from: what was drawn down is no lie."""
    d = down(delivered(STORE_HIGH_MC=9000), (5200, 9000), (4600, 5000), (4300, 2600))
    assert not vouched(d)
    down(d, (3800, 5500), (3200, 9000), (2600, 9000))
    d.minutes(11)
    assert d.compressor
    show(d, 1401, 9000)
    assert not sunk(d)
    show(d, 1400, 9000)  # 2.6 less a step of the fall, 0.2 K, and a kelvin
    assert sunk(d)


def test_what_the_top_was_is_not_known_after_a_reset() -> None:
    d = delivered()
    show(d, 3000, 9000)
    d.boot()
    d.minutes(12)
    assert d.compressor
    assert d.pump
    show(d, 2300, 9000)
    assert not sunk(d)


def test_a_lie_is_forgiven_once_the_bottom_is_warm_again() -> None:
    d = down(chilled(), (6000, 9000), (5000, 8500), (4200, 8000), (3400, 7000))
    show(d, 4999, 5500)
    assert sunk(d)
    show(d, 5000, 5500)
    assert not sunk(d)


def test_a_bottom_that_lies_latches_in_six_hours() -> None:
    d = down(chilled(), (6000, 9000), (5000, 8500), (4200, 8000), (3400, 7000))
    assert sunk(d)
    for _ in range(2):
        d.minutes(121)
        assert not d.latched(latch.PROBES)
    d.minutes(121)
    assert d.latched(latch.PROBES)


def test_a_low_probe_that_reads_warm_in_the_cold_stops_the_chill() -> None:
    d = down(chilled(), *INVERSION)
    assert not show(d, 5481, 1600).compressor
    d.minutes(3 * 121)
    assert d.latched(latch.PROBES)  # the bottom is warmer than the top and than 3.98 °C
    d = down(chilled(), *INVERSION)
    d.ask(1, 480)
    d.seconds(3)
    show(d, 5480, 1600)  # 3.98 and what both may err
    d.minutes(3 * 121)
    assert not d.latched(latch.PROBES)


def test_swapped_probes_stop_at_the_floor() -> None:
    d = down(chilled(), *((high, low) for low, high in INVERSION[:4]))
    assert not d.compressor


def test_a_probe_lost_in_the_cold_leaves_the_other_alone() -> None:
    for name in ("STORE_LOW", "STORE_HIGH"):
        d = down(chilled(), *INVERSION)
        d.set(**{f"{name}_FAULT": 1})
        assert d.until(lambda d: not d.compressor, 12) <= 10
        d.set(**{f"{name}_FAULT": 0})
        d.minutes(12)
        assert not d.compressor
        assert not vouched(d)


def test_after_a_reset_in_the_cold_nothing_is_vouched_for() -> None:
    d = down(chilled(), *INVERSION)
    d.boot()
    d.minutes(15)
    assert not d.compressor


def test_one_probe_alone_by_choice_and_an_ice_bank_need_no_voucher() -> None:
    for fit, changes in (
        (EVERY_SENSOR & ~fitted.STORE_LOW, {}),
        (EVERY_SENSOR, {"ICE_BANK": 1, "ICE_RUN_MIN": 600, "FREEZE_MC": -1000}),
    ):
        d = Drive(fit=fit, settings=changes)
        d.seconds(3, STORE_LOW_MC=3000, STORE_HIGH_MC=2500)
        limit_mc = d.settings[setting.FREEZE_MC] + d.settings[setting.STORE_HIGH_ERR_MK]
        assert d.settings[setting.STORE_LOW_ERR_MK] == d.settings[setting.STORE_HIGH_ERR_MK]
        for mc, freezes in ((limit_mc, True), (limit_mc + 1, False)):
            d.readings[reading_slot.STORE_HIGH_MC] = mc
            assert vouching.freezing(d.memory, d.settings, d.readings, 1) == freezes


@given(st.integers(50, 2000), st.integers(50, 2000), st.integers(-2000, 2000), st.integers())
def test_no_honest_pair_contradicts_water(low_err: int, high_err: int, at: int, dice: int) -> None:
    """Any true order of water, any errors inside their budgets."""
    d = Drive(settings={"STORE_LOW_ERR_MK": low_err, "STORE_HIGH_ERR_MK": high_err})
    true_low = vouching.DENSEST_MC + at
    warm, cold = max(true_low, vouching.DENSEST_MC), min(true_low, vouching.DENSEST_MC)
    high = warm + dice % 9000 if at >= 0 else cold - dice % 3000
    d.set(
        STORE_LOW_MC=true_low + dice % (2 * low_err + 1) - low_err,
        STORE_HIGH_MC=high + dice % (2 * high_err + 1) - high_err,
    )
    d.seconds(4)
    assert not vouching.upside_down(d.memory, d.settings, d.readings)
    claims_warm = vouching.gap_mk(d.memory, d.settings, d.readings) > vouching.may_differ_mk(
        d.settings
    )
    sinks = d.readings[d_slot("STORE_LOW_MC")] < vouching.sinks_below_mc(d.settings)
    assert not (claims_warm and sinks)


@given(
    st.integers(50, 2000),
    st.integers(50, 2000),
    st.lists(st.tuples(st.integers(-4500, 4500), st.integers(-4500, 4500)), max_size=8),
    st.integers(0),
)
def test_no_honest_bottom_is_colder_than_4_degrees_and_its_top_ever_were(
    low_err: int, high_err: int, moves: list[tuple[int, int]], dice: int
) -> None:
    """Any tops in turn, any bottoms that came from there or are warmer, any errors in budget.

    No move is so large that a probe would be called wrong for its step.
    """
    errors = {"STORE_LOW_ERR_MK": low_err, "STORE_HIGH_ERR_MK": high_err}
    low_by = dice % (2 * low_err + 1) - low_err
    high_by = dice // 5000 % (2 * high_err + 1) - high_err
    d = Drive(settings={**DEEP, **errors}, STORE_LOW_MC=9000 + low_by, STORE_HIGH_MC=9000 + high_by)
    d.minutes(11)
    top = bottom = least = 9000
    for top_by, bottom_by in moves:
        top = max(0, top + top_by)
        least = min(least, top)
        bottom = max(min(least, vouching.DENSEST_MC), bottom + bottom_by)
        show(d, bottom + low_by, top + high_by)
        claims_warm = vouching.gap_mk(d.memory, d.settings, d.readings) > vouching.may_differ_mk(
            d.settings
        )
        colder = d.readings[d_slot("STORE_LOW_MC")] <= vouching.colder_than_ever_mc(
            d.memory, d.settings
        )
        assert not (claims_warm and colder)


def d_slot(name: str) -> int:
    from springhouse import reading

    return int(getattr(reading, name))
