"""The horizon as a promise: inside its bands and before its deadline nothing changes."""

from __future__ import annotations

from array import array

import pytest
from drive import HEALTHY, Drive, cell, mode, reading, statechart, timekeeping, week
from hypothesis import given
from hypothesis import strategies as st
from springhouse import horizon, probes
from story import KITS, Player, Story, mix, story

_DENSE = mix(want=4, change=3, coil=2, power=1, tray=1, ask=2, press=1, wait=1)
PICKS = st.lists(st.integers(0, 3), min_size=reading.SIZE, max_size=reading.SIZE)
SHARES = st.floats(0, 1, exclude_max=True)


def _inside(watch: array[int], slot: int, now: int, pick: int) -> int:
    """An end of the band, or where the reading is; open ends are not gone to."""
    low, high = watch[2 * slot], watch[2 * slot + 1]
    if pick == 0 and low > -1000000:
        return low
    if pick == 1 and high < 1000000:
        return high
    return now


MOVABLE = [  # readings but for the clock and the times of the frames
    slot
    for slot in range(reading.SIZE)
    if slot != reading.NOW_MS and not reading.STORE_LOW_AT_MS <= slot <= reading.COIL_AIR_AT_MS
]


def _settled(told: Story) -> Drive:
    """Play a story to its end, and on until nothing changes by itself."""
    player = Player(told)
    for act, scans in told.acts:
        player.act(*act)
        player.run(*scans)
    player.drive.silent.clear()
    player.drive.settle()
    return player.drive


@given(
    story(acts=_DENSE, kit=st.sampled_from(KITS), length=16),
    st.lists(st.tuples(PICKS, SHARES), min_size=4, max_size=4),
)
def test_nothing_changes_inside_the_bands_before_the_deadline(
    told: Story, tries: list[tuple[list[int], float]]
) -> None:
    d = _settled(told)
    ms, watch = d.horizon()
    d.honest = False
    kept = d.memory.tobytes()
    shown = array("i", d.readings)
    clock_ms = 0
    for picks, share in sorted(tries, key=lambda t: t[1]):
        if ms == 0:
            return
        for slot in MOVABLE:
            d.readings[slot] = _inside(watch, slot, shown[slot], picks[slot])
        wanted_ms = int(share * ms)
        out = d.out
        d.tick(wanted_ms - clock_ms)
        clock_ms = wanted_ms
        assert d.memory.tobytes() == kept
        assert d.out == out


PROBE_SLOTS = {
    *range(cell.VALID, cell.DRY_COUNT),  # trust and anchors
    *(cell.STORE_LOW_STUCK_LEFT_MS, cell.STORE_HIGH_STUCK_LEFT_MS),
    *(cell.STORE_LOW_STUCK_T, cell.STORE_HIGH_STUCK_T),
}
WORD_SLOTS = {cell.STORE_WORD, cell.ROOM_WORD, cell.LOCK_WORD}
DECIDING = [n for n in range(cell.SIZE) if n not in PROBE_SLOTS | WORD_SLOTS]


@given(
    story(acts=_DENSE, kit=st.sampled_from(KITS), length=16),
    st.lists(st.tuples(PICKS, SHARES), min_size=8, max_size=8),
)
def test_no_decision_changes_inside_the_wider_bands(
    told: Story, tries: list[tuple[list[int], float]]
) -> None:
    """Readings creep to the ends of the wider bands; anchors may follow, nothing else may move."""
    d = _settled(told)
    ms, watch = d.horizon(horizon.decisions)
    d.honest = False
    kept, believed = [d.memory[n] for n in DECIDING], _believed(d)
    out = d.out
    clock_ms = 0
    for picks, share in sorted(tries, key=lambda t: t[1]):
        if ms == 0:
            return
        for slot in MOVABLE:
            now = d.readings[slot]
            goal = _inside(watch, slot, now, picks[slot])
            creep = 2500 if reading.STORE_LOW_MC <= slot <= reading.COIL_AIR_MC else 100000
            d.readings[slot] = max(now - creep, min(now + creep, goal))
        wanted_ms = int(share * ms)
        d.tick(wanted_ms - clock_ms)
        clock_ms = wanted_ms
        if _believed(d) != believed:
            return  # what `probes.update` keeps has changed: the runner scans again
        assert [d.memory[n] for n in DECIDING] == kept
        assert d.out == out


def _believed(d: Drive) -> list[bool]:
    return [probes.trusted(d.memory, i) for i in range(reading.PROBES)]


class World:
    """A toy plant: what second `t` shows depends on the time and on what the outputs did before."""

    # From second, for so many seconds, a reading stays at a value.
    SCRIPT = (
        (1500, 40, "STORE_LOW_FAULT", 1),
        (1500, 40, "STORE_HIGH_FAULT", 1),
        (1800, 60, "ROOM_FAULT", 2),
        (2200, 30, "COIL_AIR_MC", 2000),
        (2900, 20, "TRAY_OK", 0),
        (4100, 20, "FLOW_ML_MIN", 0),
        (4900, 300, "STORE_HIGH_MC", 900),
        (6000, 5, "LEVEL_OK", 0),
        (7000, 400, "MAINS_OK", 0),
        (7100, 100, "BATTERY_MV", 11000),
        (8600, 200, "FAN_RPM", 100),
    )
    REQUESTS = ((3700, mode.PURGE, 1), (8000, mode.QUIET, 20), (9500, mode.COOL_NOW, 10))
    PRESSES = (3000, 6200)
    SECONDS = 11000

    def __init__(self, origin: int) -> None:
        self.d = Drive(origin, settings={"PROGRESS_MIN": 60, "MIN_OFF_S": 300, "DEEP_MC": 2000})
        self.d.window(0, week.NO_START, 127, 20, 40)
        self.d.window(1, week.WANTED, 127, 5, 175)
        self.store = 6000 << 6  # in 1/64 m°C, so that slow drifts stay integers
        self.room = 24600 << 6

    def show(self, t: int) -> None:
        d = self.d
        d.show(1000)
        self.store += (-60 if d.compressor else 4) + (50 if d.pump else 0)
        self.room += -150 if d.pump else 90
        d.store(self.store >> 6)
        d.set(ROOM_MC=self.room >> 6, WEEK_MIN=t // 60)
        for start, length, name, value in self.SCRIPT:
            if start <= t < start + length:
                d.set(**{name: value})
            elif t == start + length:
                d.set(**{name: 0 if name.endswith("FAULT") else HEALTHY[name]})
        for when, wanted, minutes in self.REQUESTS:
            if t == when:
                d.ask(wanted, minutes)
        if t in self.PRESSES:
            d.press()

    def run(self, jumping: bool) -> tuple[list[tuple[int, int, int]], int]:
        """(store state, room state, outputs) of every second, and how many scans it took."""
        d = self.d
        trace: list[tuple[int, int, int]] = []
        scans = 0
        deadline, watch = 0, array("i", [0] * (2 * reading.SIZE))
        for t in range(self.SECONDS):
            self.show(t)
            if not jumping or t * 1000 >= deadline or not _in_bands(d.readings, watch):
                before = d.memory.tobytes()
                d.scan()
                scans += 1
                deadline = 0
                if d.memory.tobytes() == before:  # a fixed point: only from here may it jump
                    ms, watch = d.horizon()
                    deadline = t * 1000 + ms
            trace.append((d.store_state, d.room_state, d.out))
        return trace, scans


def _in_bands(readings: array[int], watch: array[int]) -> bool:
    return all(watch[2 * s] <= readings[s] <= watch[2 * s + 1] for s in range(reading.SIZE))


@pytest.mark.parametrize("origin", [0, (1 << 30) - 4000000])
def test_jumping_gives_what_scanning_every_second_gives(origin: int) -> None:
    steady, jumping = World(origin), World(origin)
    every, all_scans = steady.run(jumping=False)
    some, few_scans = jumping.run(jumping=True)
    assert some == every
    assert jumping.d.memory == steady.d.memory
    assert few_scans < all_scans // 4
    assert {store for store, _, _ in every} == set(range(statechart.STORE_STATES))
    assert {room for _, room, _ in every} == set(range(statechart.ROOM_STATES))


def test_the_nearest_deadline_of_all_timers() -> None:
    memory = array("i", [timekeeping.IDLE] * cell.SIZE)
    assert horizon.nearest_ms(memory, 40) == 1 << 28
    memory[cell.SIZE - 1] = 90
    memory[cell.TIMERS] = timekeeping.DUE
    assert horizon.nearest_ms(memory, 40) == 50
    memory[cell.TIMERS] = 0
    assert horizon.nearest_ms(memory, (1 << 30) - 8) == 8
    memory[cell.TIMERS + 1] = (1 << 30) - 7
    assert horizon.nearest_ms(memory, (1 << 30) - 8) == 1
