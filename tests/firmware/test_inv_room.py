"""Invariants of the room side over random stories, judged from readings and outputs alone."""

from __future__ import annotations

import judge
from drive import EVERY_SENSOR, fitted, mode, output
from hypothesis import given
from hypothesis import strategies as st
from story import KITS, Record, Story, mix, play, story

P, F = output.PUMP, output.FAN
DAY_MS = 86400000

WITH_FLOW = st.sampled_from(
    (EVERY_SENSOR, fitted.STORE_LOW | fitted.ROOM | fitted.FLOW, EVERY_SENSOR & ~fitted.TRAY)
)
WITH_TRAY = st.sampled_from([kit for kit in KITS if kit & fitted.TRAY])
WITH_TACH = st.sampled_from([kit for kit in KITS if kit & fitted.FAN_TACH])
WITH_WATER = st.sampled_from([kit for kit in KITS if kit & fitted.LEVEL])
_PLAIN = st.fixed_dictionaries({"TRAY_RETURN_S": st.sampled_from((600, 900))})
_PUMPING = mix(deliver=3, dry=4, wet=3, wait=3, change=1, press=1, boot=1)


class DryWatch:
    """The onlooker's own stopwatch on the flow sensor."""

    def __init__(self, record: Record) -> None:
        self.least = record.setting("FLOW_LEAST_ML_MIN")
        self.prime_ms = record.setting("PRIME_S") * 1000
        self.gap_ms = record.setting("FLOW_GAP_S") * 1000
        self.deadline_ms: int | None = None

    def overdue(self, before: judge.Scan | None, scan: judge.Scan) -> bool:
        """Whether the pump has by now run too long without flow."""
        if before is None or not before.out & P or scan["FLOW_ML_MIN"] >= self.least:
            self.deadline_ms = None
        elif self.deadline_ms is None:
            self.deadline_ms = scan.t_ms + self.gap_ms
        over = self.deadline_ms is not None and scan.t_ms >= self.deadline_ms
        if over:
            self.deadline_ms = None
        if judge.rises(before, scan, P):
            self.deadline_ms = scan.t_ms + self.prime_ms
        return over


@given(story(acts=_PUMPING, kit=WITH_FLOW))
def test_inv_09_no_pump_without_flow_in_time(told: Story) -> None:
    record = play(told)
    watch = DryWatch(record)
    for before, scan in judge.pairs(record):
        if watch.overdue(before, scan):
            assert not scan.out & P, scan.t_ms


@given(story(acts=mix(deliver=2, dry=4, wet=1, wait=5), kit=WITH_FLOW, windows=False))
def test_inv_10_four_dry_runs_then_a_person(told: Story) -> None:
    """Retries after 1, 5 and 30 minutes; the fourth dry run within a day stays off."""
    record = play(told)
    watch = DryWatch(record)
    runs: list[int] = []
    for before, scan in judge.pairs(record):
        if before is None or judge.pressed(before, scan):
            runs = []
        if runs and scan.t_ms - runs[-1] >= DAY_MS and len(runs) < 4:
            runs = []
        if runs and scan.out & P:
            assert len(runs) < 4
            assert scan.t_ms - runs[-1] >= (60000, 300000, 1800000)[len(runs) - 1]
        if watch.overdue(before, scan):
            runs.append(scan.t_ms)


@given(story(acts=mix(deliver=3, water=5, press=2, ask=5, wait=1), kit=WITH_WATER, settings=_PLAIN))
def test_inv_11_level_low_or_wet_floor_stops_all_until_acknowledged(told: Story) -> None:
    record = play(told)
    owner = judge.Mode()
    level = floor = False
    for before, scan in judge.pairs(record):
        owner.see(scan)
        if before is None or judge.pressed(before, scan):
            level = floor = False
        if record.fitted(fitted.LEVEL) and not scan["LEVEL_OK"] and owner.now != mode.SERVICE:
            level = True
        if record.fitted(fitted.FLOOR) and not scan["FLOOR_DRY"]:
            floor = True
        if level or floor:
            assert not scan.out & (output.COMPRESSOR | P | F), scan.t_ms


@given(
    story(
        acts=mix(deliver=2, full=6, tray=1, press=1, ask=1),
        kit=WITH_TRAY,
        settings=_PLAIN,
        windows=False,
    )
)
def test_inv_12_full_tray_stops_delivery_and_two_returns_a_day_are_all(told: Story) -> None:
    record = play(told)
    owner = judge.Mode()
    return_ms = record.setting("TRAY_RETURN_S") * 1000
    ready_ms, openings, latched = return_ms, 0, False
    last_ms = -DAY_MS
    was_open = False
    for before, scan in judge.pairs(record):
        owner.see(scan)
        is_open = not scan["TRAY_OK"]
        if before is None:
            ready_ms, openings, latched, was_open = scan.t_ms + return_ms, 0, False, False
        elif judge.pressed(before, scan) and not is_open and not was_open:
            openings, latched = 0, False
            ready_ms = min(ready_ms, scan.t_ms + 60000)
        if scan.t_ms - last_ms >= DAY_MS:
            openings = 0
        if is_open and not was_open and owner.now != mode.SERVICE:
            openings, last_ms = openings + 1, scan.t_ms
            latched |= openings >= 3
        if was_open and not is_open:
            ready_ms = scan.t_ms + (60000 if owner.now == mode.SERVICE else return_ms)
        was_open = is_open
        if is_open or latched or scan.t_ms < ready_ms:
            assert not scan.out & (P | F), scan.t_ms


_COIL = st.fixed_dictionaries(
    {
        "BRINE": st.sampled_from((0, 0, 1)),
        "BRINE_LIMIT_MC": st.sampled_from((0, 2800)),
        "COIL_IN_ERR_MK": st.sampled_from((50, 500, 900)),
        "COIL_AIR_ERR_MK": st.sampled_from((50, 500, 900)),
        "STORE_LOW_ERR_MK": st.sampled_from((50, 500)),
    }
)


@given(story(acts=mix(deliver=5, coil=8), settings=_COIL, kit=st.sampled_from(KITS), windows=False))
def test_inv_13_no_pump_with_water_or_air_at_the_coil_at_its_freezing_limit(told: Story) -> None:
    record = play(told)
    brine = record.setting("BRINE")
    low, room = judge.Probe(record, judge.LOW), judge.Probe(record, judge.ROOM)
    inlet, air = judge.Probe(record, judge.COIL_IN), judge.Probe(record, judge.COIL_AIR)
    for before, scan in judge.pairs(record):
        for probe in (low, room, inlet, air):
            probe.see(scan, bool(before and before.out & output.COMPRESSOR))
        if not scan.out & P:
            continue
        water = inlet if before and before.out & P and inlet.may else low
        if water.sure and water.mc is not None:
            if brine:
                assert water.mc - water.error >= record.setting("BRINE_LIMIT_MC"), scan.t_ms
            else:
                assert water.mc + water.error >= 0, scan.t_ms
        breath = air if air.may else room
        if not brine and breath.sure and breath.mc is not None:
            assert breath.mc - breath.error >= 3000, scan.t_ms


@given(story(acts=mix(deliver=3, still=4, wet=2, wait=3), kit=WITH_TACH, windows=False))
def test_inv_14_pump_and_fan_on_without_air_end_in_time(told: Story) -> None:
    record = play(told)
    both = P | F
    still_since: int | None = None
    for before, scan in judge.pairs(record):
        turning = scan["FAN_RPM"] >= record.setting("FAN_LEAST_RPM")
        if before is None or before.out & both != both or turning:
            still_since = None
        elif still_since is None:
            still_since = scan.t_ms
        if scan.out & both == both and still_since is not None:
            assert scan.t_ms - still_since < record.setting("FAN_STILL_S") * 1000


@given(story())
def test_inv_15_motors_start_one_by_one_five_seconds_apart(told: Story) -> None:
    record = play(told)
    last_ms: int | None = None
    for before, scan in judge.pairs(record):
        if before is None:
            last_ms = None  # accepted limit: the spacing does not survive a reset
        rising = sum(judge.rises(before, scan, bit) for bit in judge.MOTORS)
        assert rising <= 1, scan.t_ms
        if rising:
            assert last_ms is None or scan.t_ms - last_ms >= 5000
            last_ms = scan.t_ms


@given(story(acts=mix(deliver=2, power=8, wait=1), kit=st.sampled_from(KITS), windows=False))
def test_inv_17_battery_below_its_cut_off_stops_delivery_until_it_has_recovered(
    told: Story,
) -> None:
    record = play(told)
    cut_mv = record.setting("BATTERY_CUT_MV")
    rearm_mv = cut_mv + record.setting("BATTERY_REARM_MV")
    flat = False
    for before, scan in judge.pairs(record):
        if before is None:
            flat = False
        mains = record.fitted(fitted.MAINS) and scan["MAINS_OK"]
        if record.fitted(fitted.BATTERY):
            flat = not mains and (
                scan["BATTERY_MV"] < cut_mv or (flat and scan["BATTERY_MV"] <= rearm_mv)
            )
        else:
            flat = record.fitted(fitted.MAINS) and not mains
        if flat:
            assert not scan.out & (P | F), scan.t_ms
