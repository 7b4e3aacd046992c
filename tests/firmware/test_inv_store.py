"""Invariants of the store side over random stories, judged from readings and outputs alone."""

from __future__ import annotations

import judge
from drive import Drive, cell, fitted, mode, output, reading, setting, timekeeping, week
from hypothesis import given
from hypothesis import strategies as st
from story import (
    KITS,
    READINGS,
    Record,
    Scan,
    Story,
    change,
    heal,
    mix,
    play,
    story,
)

C = output.COMPRESSOR


def _probes(record: Record) -> tuple[judge.Probe, judge.Probe]:
    return judge.Probe(record, judge.LOW), judge.Probe(record, judge.HIGH)


def _watch(probes: tuple[judge.Probe, ...], before: Scan | None, scan: Scan) -> None:
    for probe in probes:
        probe.see(scan, bool(before and before.out & C))


_COLD = mix(want=4, cold=6, frame=1, wait=1)
_ERRORS = st.fixed_dictionaries(
    {
        "FREEZE_MC": st.sampled_from((0, 500, 1200)),
        "STORE_LOW_ERR_MK": st.sampled_from((50, 500, 900)),
        "STORE_HIGH_ERR_MK": st.sampled_from((50, 500, 900)),
        "STORE_HIGH_OFFSET_MK": st.sampled_from((-400, 0, 400)),
        "MIN_OFF_S": st.just(300),
    }
)


@given(story(acts=_COLD, settings=_ERRORS, kit=st.sampled_from(KITS)))
def test_inv_01_no_compressor_with_a_trusted_store_probe_at_the_freeze_limit(told: Story) -> None:
    record = play(told)
    probes = _probes(record)
    limit_mc = record.setting("FREEZE_MC")
    for before, scan in judge.pairs(record):
        _watch(probes, before, scan)
        for probe in probes:
            if scan.out & C and probe.sure and probe.mc is not None:
                assert probe.mc - probe.error > limit_mc, (scan.t_ms, probe.name)


@given(story(acts=mix(want=4, cold=3, frame=3, silent=1, heal=1), kit=st.sampled_from(KITS)))
def test_inv_02_no_compressor_blind_nor_below_the_floor_without_the_high_probe(told: Story) -> None:
    record = play(told)
    low, high = probes = _probes(record)
    floor_mc = max(record.setting("FLOOR_MC"), record.setting("FREEZE_MC"))
    for before, scan in judge.pairs(record):
        _watch(probes, before, scan)
        if not scan.out & C:
            continue
        assert low.may or high.may or low.unsure or high.unsure, scan.t_ms
        if not high.may and not high.unsure and low.mc is not None:
            assert low.mc - low.error > floor_mc, scan.t_ms


_DOUBT = mix(want=6, frame=4, silent=4, odd=4, wait=2)
_SOON = st.sampled_from([(1000, n) for n in (1, 2, 7, 9, 12)] + [(2000, 6), (5000, 3)])
_LOW_ALONE = st.just(fitted.STORE_LOW | fitted.ROOM)


@given(story(acts=_DOUBT, scans=_SOON, kit=_LOW_ALONE, settings=_ERRORS))
def test_inv_03_one_probe_alone_is_believed_only_as_the_rules_of_trust_allow(told: Story) -> None:
    record = play(told)
    probe = judge.Probe(record, judge.LOW)
    for before, scan in judge.pairs(record):
        _watch((probe,), before, scan)
        if scan.out & C and not probe.unsure:
            assert probe.may, scan.t_ms
            assert scan.age_ms[judge.LOW] <= 10000


@given(story())
def test_inv_04_every_off_period_is_as_long_as_the_minimum(told: Story) -> None:
    record = play(told)
    off_at = None
    for before, scan in judge.pairs(record):
        if before is None:
            off_at = None
        if judge.rises(before, scan, C) and off_at is not None:
            assert scan.t_ms - off_at >= record.setting("MIN_OFF_S") * 1000
        if judge.falls(before, scan, C):
            off_at = scan.t_ms


_MAINS = st.sampled_from([kit for kit in KITS if kit & fitted.MAINS])


@given(story(acts=mix(want=5, power=4, boot=1, wait=1), kit=_MAINS))
def test_inv_05_whole_wait_after_boot_and_after_mains_returns(told: Story) -> None:
    record = play(told)
    wait_ms = (record.setting("MIN_OFF_S") + record.setting("RESTART_STAGGER_S")) * 1000
    sensed = record.fitted(fitted.MAINS)
    since = 0
    for before, scan in judge.pairs(record):
        returned = sensed and before is not None and not before["MAINS_OK"] and scan["MAINS_OK"]
        if before is None or returned:
            since = scan.t_ms
        if scan.out & C and not (before and before.out & C):
            assert scan.t_ms - since >= wait_ms


# Nothing here gives the store side a reason to stop: the room side may do as it likes.
_CALM = {
    name: READINGS[name]
    for name in ("WEEK_MIN", "ROOM_MC", "COIL_IN_MC", "COIL_AIR_MC", "BATTERY_MV", "TRAY_OK")
} | {
    "STORE_LOW_MC": st.sampled_from((9100, 9190, 9900)) | st.integers(9100, 9900),
    "STORE_HIGH_MC": st.sampled_from((9100, 9190, 9900)) | st.integers(9100, 9900),
    "FLOW_ML_MIN": READINGS["FLOW_ML_MIN"],
}
_CALM_MODE = st.tuples(
    st.just("ask"),
    st.sampled_from((mode.AUTOMATIC, mode.CHARGE_NOW, mode.COOL_NOW, mode.QUIET, mode.PURGE)),
    st.sampled_from((1, 10)),
)
_TARGETS = st.fixed_dictionaries(
    {
        "MIN_ON_S": st.sampled_from((60, 300, 1800)),
        "MIN_OFF_S": st.just(300),
        "STARTS_PER_HOUR": st.sampled_from((1, 4)),
        "DEEP_MC": st.just(9200),
        "SHALLOW_MC": st.just(9600),
        "BAND_MK": st.just(200),
        "ROOM_TARGET_MC": st.sampled_from((15000, 24000)),
    }
)
_WARM = st.sampled_from((("want", 9900, 20000, 5), ("want", 9900, 20000, 6)))
_FULL = st.sampled_from((("want", 9150, 20000, 0), ("want", 9150, 20000, 1)))
_CALM_ACT = st.sampled_from((_WARM, _WARM, _FULL, _FULL, change(_CALM), _CALM_MODE)).flatmap(
    lambda acts: acts
)


@given(story(acts=_CALM_ACT, settings=_TARGETS, kit=st.sampled_from(KITS)))
def test_inv_06_a_run_lasts_its_minimum_unless_a_guard_ends_it(told: Story) -> None:
    record = play(told)
    on_at = None
    total_ms = 0  # a guard on progress, disagreement or a stuck probe needs half an hour of running
    for before, scan in judge.pairs(record):
        if before and before.out & C:
            total_ms += scan.t_ms - before.t_ms
        if judge.rises(before, scan, C):
            on_at = scan.t_ms
        if judge.falls(before, scan, C) and total_ms < 1800000:
            assert on_at is not None
            assert scan.t_ms - on_at >= record.setting("MIN_ON_S") * 1000


_CHATTER = mix(want=3, wait=1, change=2, ask=1, honest=1)


@given(story(acts=_CHATTER, length=40))
def test_inv_07_starts_in_any_hour(told: Story) -> None:
    record = play(told)
    starts: list[int] = []
    for before, scan in judge.pairs(record):
        if before is None:
            starts = []  # accepted limit: the ring of starts does not survive a reset
        if judge.rises(before, scan, C):
            starts = [t for t in starts if t > scan.t_ms - 3600000] + [scan.t_ms]
            assert len(starts) <= record.setting("STARTS_PER_HOUR")


_FLAT = change(
    {
        "STORE_LOW_MC": st.integers(8700, 9300),
        "STORE_HIGH_MC": st.integers(8700, 9300),
        "ROOM_MC": st.sampled_from((20000, 20000, 26000)),
    }
)
_LONG = st.sampled_from(((60000, 60), (300000, 12), (600000, 30)))
_FLAT_SETTINGS = st.fixed_dictionaries(
    {
        "PROGRESS_MIN": st.integers(60, 720),
        "REST_MIN": st.integers(30, 240),
        "STUCK_MIN": st.just(720),
    }
)


@given(story(acts=_FLAT, scans=_LONG, settings=_FLAT_SETTINGS, kit=st.just(KITS[0]), windows=False))
def test_inv_08_no_run_without_progress_beyond_its_time_and_then_a_rest(told: Story) -> None:
    """Time and progress count only while the compressor chills and nothing is delivered."""
    told.acts.insert(0, (("want", 9000, 20000, 12), (1000, 0)))
    record = play(told)
    probes = _probes(record)
    used_ms = made_mk = 0
    counted: Scan | None = None
    tripped_at = None
    for before, scan in judge.pairs(record):
        _watch(probes, before, scan)
        judged = bool(before and before.out & (C | output.PUMP) == C)
        if judged and not all(p.sure for p in probes):
            return  # a probe that stood still for the time of `STUCK_MIN` is another story
        if counted:
            used_ms += scan.t_ms - counted.t_ms
            made_mk += _mean(counted) - _mean(scan)
        counted = scan if judged else None
        if judged and made_mk >= record.setting("PROGRESS_MK"):
            used_ms = made_mk = 0
        if used_ms >= record.setting("PROGRESS_MIN") * 60000:
            assert not scan.out & C
            tripped_at = scan.t_ms
            used_ms = made_mk = 0
            counted = None
        if scan.out & C and tripped_at is not None:
            assert scan.t_ms - tripped_at >= record.setting("REST_MIN") * 60000


def _mean(scan: Scan) -> int:
    return (scan["STORE_LOW_MC"] + scan["STORE_HIGH_MC"]) >> 1


@given(story(acts=mix(want=5, power=5, wait=1), kit=_MAINS))
def test_inv_16_no_compressor_without_mains_nor_in_its_first_minute(told: Story) -> None:
    record = play(told)
    good_since = None
    for scan in record.scans:
        if record.fitted(fitted.MAINS) and not scan["MAINS_OK"]:
            good_since = None
        elif good_since is None:
            good_since = scan.t_ms
        if scan.out & C:
            assert good_since is not None
            assert scan.t_ms - good_since >= 60000


def _inside(told: Story, kind: int, week_min: int) -> bool:
    """Whether a window of a kind holds; never with the clock unknown."""
    if week_min < 0:
        return False
    for k, days, start, end in told.windows:
        length = (end - start - 1) % 1440 + 1
        if k == kind:
            for day in range(7):
                if days >> day & 1 and (week_min - day * 1440 - start) % 10080 < length:
                    return True
    return False


@given(story(acts=mix(want=4, change=3, ask=1, frame=1, wait=1)), st.integers(0, 10079))
def test_inv_25_no_start_inside_a_no_start_window(told: Story, week_min: int) -> None:
    told.windows.append((week.NO_START, 127, 600, 900))
    told.acts.insert(0, (("set", "WEEK_MIN", week_min), (1000, 1)))
    record = play(told)
    owner = judge.Mode()
    room = judge.Probe(record, judge.ROOM)
    over_mc = (
        record.setting("ROOM_LIMIT_MC") - 300 - 125
    )  # its hysteresis; how far a frame may hide
    for before, scan in judge.pairs(record):
        owner.see(scan)
        room.see(scan, False)
        if not judge.rises(before, scan, C) or not _inside(told, week.NO_START, scan["WEEK_MIN"]):
            continue
        asked = owner.now in (mode.CHARGE_NOW, mode.FIRST_PULL_DOWN)
        hot = room.last is not None and room.last + room.offset >= over_mc
        assert asked or (record.setting("TARIFF_OVERRIDE") == 1 and hot), scan.t_ms


@given(story(settings=_TARGETS, kit=st.sampled_from(KITS), windows=False))
def test_inv_26_healthy_and_in_demand_the_compressor_comes_on(told: Story) -> None:
    """Healed, acknowledged and warm, it runs as soon as the waits in force are over."""
    d = play(told).drive
    heal(d)
    d.set(STORE_LOW_MC=17000, STORE_HIGH_MC=17000, COIL_IN_MC=17000, ROOM_MC=20000)
    d.ask(mode.AUTOMATIC)
    d.tick()
    d.press()
    d.seconds(12)  # a jump is disbelieved for 8 s, then three frames
    off_s = d.settings[setting.MIN_OFF_S] + d.settings[setting.RESTART_STAGGER_S]
    rest_s = max(d.settings[setting.REST_MIN], d.settings[setting.PULL_DOWN_REST_MIN]) * 60
    waits = [_left_s(d, "OFF_T", off_s), _left_s(d, "REST_T", rest_s)]
    starts = range(1, 1 + d.settings[setting.STARTS_PER_HOUR])
    waits.append(min(_left_s(d, f"START_{n}_T", 3600) for n in starts))
    d.until(lambda d: d.compressor, max(waits) + 2 + 10)  # two scans; fan and pump 5 s before


def _left_s(d: Drive, timer: str, longest_s: int) -> int:
    """Time left of a wait in force, never more than the rule allows it."""
    at = d.memory[getattr(cell, timer)]
    return (
        min(longest_s, max(0, timekeeping.ticks_diff(at, d.readings[reading.NOW_MS])) // 1000)
        if at >= 0
        else 0
    )
