"""Slices of the store side: the compressor, its care, the trust of a probe."""

from collections.abc import Iterator
from itertools import product

from springhouse import fitted, latch, output, reading, setting, statechart, timekeeping, week
from springhouse import memory as cell
from springhouse import mode as mode_names
from springhouse import probes as probe_rules
from springhouse_sim.abstract import env, fields, judge

from .slice_parts import (
    NOW_MS,
    Dial,
    KeptSlots,
    Option,
    Slice,
    Write,
    bit,
    fitting,
    means,
    mem,
    mem_or,
    number,
    one_of_both,
    running,
    seen,
    settings,
    shown,
    switch,
    trip,
    wait,
)

HOUR_MS = 3_600_000
DAY_MS = 86_400_000
BOTH = fitted.STORE_LOW | fitted.STORE_HIGH

# Where the store may stand against freeze limit (0.5, clear 1.5 °C; 4.0, clear 5.0 with the bottom
# probe alone), stop and start threshold (6.0, 6.8 °C), warm fill (22 °C); error budgets 0.5 K.
# Two probes that differ bring the coldest and the mean apart.
BOTH_MC = (
    ("freezing and full", 1000, 1000),
    ("freezing, mean between", 500, 12300),
    ("freezing, mean warm", 500, 20000),
    ("freezing, mean hot", 1000, 44000),
    ("just above the limit, full", 1500, 1500),
    ("just above the limit, mean between", 1500, 11300),
    ("just above the limit, mean warm", 1500, 20000),
    ("just above the limit, mean hot", 1500, 44000),
    ("full", 5000, 5000),
    ("between", 6400, 6400),
    ("warm", 8000, 8000),
    ("hot", 25000, 25000),
)
LOW_MC = (
    ("at the floor", 4500),
    ("just above the floor", 5000),
    ("full", 5800),
    ("between", 6400),
    ("warm", 8000),
    ("hot", 25000),
)
HIGH_MC = (
    ("freezing", 1000),
    ("just above the limit", 1500),
    ("full", 5000),
    ("between", 6400),
    ("warm", 8000),
    ("hot", 25000),
)
MODES = {
    mode_names.AUTOMATIC: (),
    mode_names.OFF: (means(env.OWNER_STOP),),
    mode_names.CHARGE_NOW: (means(env.FREE_MODE),),
    mode_names.COOL_NOW: (),
    mode_names.QUIET: (),
    mode_names.SERVICE: (means(env.OWNER_STOP), means(env.SERVICE)),
    mode_names.PURGE: (),
    mode_names.FIRST_PULL_DOWN: (means(env.FREE_MODE),),
}

# The others are to the store side what one of these is; a single probe meets them all.
MODES_APART = (
    mode_names.AUTOMATIC,
    mode_names.OFF,
    mode_names.CHARGE_NOW,
    mode_names.QUIET,
    mode_names.FIRST_PULL_DOWN,
)
MAINS_DIAL = switch("mains", "good", "away", shown(reading.MAINS_OK, 0), means(env.MAINS_BAD))


def store_dial(fit: int) -> Dial:
    """Which store probes are trusted, and where they stand."""
    options = [Option("no store probe trusted")]
    if fit & fitted.STORE_LOW and fit & fitted.STORE_HIGH:
        for name, low, high in BOTH_MC:
            writes = (*seen(probe_rules.LOW, low), *seen(probe_rules.HIGH, high))
            options.append(Option(f"both probes: {name}", writes))
    if fit & fitted.STORE_LOW:
        options += [Option(f"low probe alone: {n}", seen(probe_rules.LOW, mc)) for n, mc in LOW_MC]
    if fit & fitted.STORE_HIGH:
        options += [
            Option(f"high probe alone: {n}", seen(probe_rules.HIGH, mc)) for n, mc in HIGH_MC
        ]
    if fit & fitted.STORE_LOW and fit & fitted.STORE_HIGH:
        # Without these nothing vouches for the top, and the floor is the limit.
        for word, flag in (("vouched for", cell.FLAG_VOUCHED), ("sunk", cell.FLAG_SUNK)):
            for name, low, high in BOTH_MC[4:9]:
                both = (*seen(probe_rules.LOW, low), *seen(probe_rules.HIGH, high))
                writes = (*both, mem_or(cell.FLAGS, flag))
                options.append(Option(f"both probes, {word}: {name}", writes))
        for name, low, high in BOTH_MC[:4]:
            both = (*seen(probe_rules.LOW, low), *seen(probe_rules.HIGH, high))
            writes = (*both, mem_or(cell.FLAGS, cell.FLAG_VOUCHED))
            options.append(Option(f"both probes, vouched for: {name}", writes))
    return Dial("store", tuple(options))


def modes_dial(modes: tuple[int, ...], now_ms: int) -> Dial:
    """The owner's mode, as if asked for just now."""
    options = []
    for mode in modes:
        end = timekeeping.IDLE if mode == mode_names.AUTOMATIC else running(now_ms, 60_000)
        writes = (mem(cell.MODE, mode), mem(cell.MODE_T, end), *MODES[mode])
        options.append(Option(f"mode {mode}", writes))
    return Dial("mode", tuple(options))


def room_side(fan_and_pump: int, state: int) -> tuple[Write, ...]:
    """What the other region has on and asks for; a hot room that is wanted cool."""
    hot = seen(probe_rules.ROOM, 60000)
    return (mem_or(cell.OUT, fan_and_pump), mem(cell.ROOM_STATE, state), *hot)


ROOM_SIDE = Dial(
    "room side",
    (
        Option("at rest"),
        Option("asks for fan and pump", room_side(0, statechart.DISCHARGE)),
        Option("fan on, asks for the pump", room_side(output.FAN, statechart.DISCHARGE)),
        Option("pump on, asks for the fan", room_side(output.PUMP, statechart.DISCHARGE)),
        Option("delivers", room_side(output.FAN | output.PUMP, statechart.DISCHARGE)),
        Option("stops", (mem_or(cell.OUT, output.FAN | output.PUMP),)),
    ),
)


def compressor_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield the compressor under each fitting of store probes and mains sense, and each ration.

    Kept: state, output, off-time, on-time, spacing, start ring, freeze and mains flags. Free:
    trust and temperatures, latches, rests, modes, tariff, the room side. A guard and a mode at
    once are met by the slices of one probe without mains sense.
    """
    for probes, mains in product((BOTH, fitted.STORE_LOW, fitted.STORE_HIGH, 0), (fitted.MAINS, 0)):
        yield _compressor(probes | mains, now_ms)
    for starts in (1, 2, 3):
        yield _compressor(fitted.STORE_HIGH, now_ms, STARTS_PER_HOUR=starts)
    yield _compressor(BOTH, now_ms, ICE_BANK=1, ICE_RUN_MIN=60)


def _compressor(fit: int, now_ms: int, **changes: int) -> Slice:
    held = settings(
        fit | fitted.ROOM | fitted.LEVEL, RESTART_STAGGER_S=120, TARIFF_OVERRIDE=0, **changes
    )
    off_ms = (held[setting.MIN_OFF_S] + held[setting.RESTART_STAGGER_S]) * 1000
    guards = Dial(
        "guard",
        (
            Option("none"),
            Option("latched", (mem(cell.LATCH, latch.NO_COOLING),)),
            Option("settings bad", (shown(reading.SETTINGS_OK, 0), means(env.SETTINGS_BAD))),
            Option("level low", (shown(reading.LEVEL_OK, 0), means(env.FLOODED))),
            Option("resting", (mem(cell.REST_T, running(now_ms, HOUR_MS)),)),
        ),
    )
    modes = modes_dial(MODES_APART if fit & BOTH == BOTH else tuple(MODES), now_ms)
    every_pair = fit & BOTH != BOTH and not fit & fitted.MAINS
    dials = [
        store_dial(fit),
        *((guards, modes) if every_pair else (one_of_both(guards, modes),)),
        switch(
            "tariff",
            "free",
            "no-start window",
            mem(cell.PLAN, week.PLAN_CHARGE | week.PLAN_WANTED | week.PLAN_NO_START),
            means(env.NO_START),
        ),
        ROOM_SIDE,
    ]
    if fit & fitted.MAINS:
        dials.append(MAINS_DIAL)
    if held[setting.ICE_BANK]:
        used_up = mem(cell.ICE_T, timekeeping.DUE)
        dials.append(switch("ice", "ration left", "ration used up", used_up))
    return Slice(
        judge.STORE,
        f"compressor: {_sensors(fit)}{''.join(f', {k} {v}' for k, v in changes.items())}",
        held,
        (
            number("store state", cell.STORE_STATE, statechart.STORE_STATES),
            bit("compressor", cell.OUT, output.COMPRESSOR),
            bit("freeze guard", cell.FLAGS, cell.FLAG_FREEZE),
            bit("mains was good", cell.FLAGS, cell.FLAG_MAINS),
            wait("off-time", cell.OFF_T, off_ms),
            wait("on-time", cell.ON_T, held[setting.MIN_ON_S] * 1000),
            wait("spacing", cell.SPACING_T, 5000),
            KeptSlots(
                "starts this hour", cell.START_1_T, fields.RING, fields.START_STAMPS + 1, 0, HOUR_MS
            ),
        ),
        tuple(dials),
        fair=(_warm(dials[0]), *(0 for _ in dials[1:])) if fit & BOTH else (),
        served=output.COMPRESSOR if fit & BOTH else 0,
        reaches_store=(1 << statechart.STORE_STATES) - 1 if fit & BOTH else 0,
        now_ms=now_ms,
    )


def _warm(dial: Dial) -> int:
    return next(n for n, option in enumerate(dial.options) if option.name.endswith(": warm"))


def _sensors(fit: int) -> str:
    words = {
        fitted.STORE_LOW: "low probe",
        fitted.STORE_HIGH: "high probe",
        fitted.MAINS: "mains sense",
    }
    return fitting(fit, words)


def care_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield progress, disagreement, rests and the ration of ice.

    Kept: compressor, the timers and counts of rests, two latches, the ration. Free: trust and
    temperatures, progress, the pump, mode, acknowledgement.
    """
    for fit in (BOTH, fitted.STORE_LOW, fitted.STORE_HIGH):
        yield _care(fit, 0, now_ms)
    for fit in (BOTH, fitted.STORE_HIGH):
        yield _care(fit, 1, now_ms)


def _care(fit: int, bank: int, now_ms: int) -> Slice:
    held = settings(fit | fitted.ROOM, ICE_BANK=bank, ICE_RUN_MIN=60)
    options = [Option("no store probe trusted", (mem(cell.PROGRESS_BY, 0),))]
    judged = means(env.JUDGED)
    low = (*seen(probe_rules.LOW, 8000), judged)
    if fit & fitted.STORE_LOW:
        options.append(Option("low probe", (*low, mem(cell.PROGRESS_BY, fitted.STORE_LOW))))
    if fit & fitted.STORE_HIGH:
        by = mem(cell.PROGRESS_BY, fitted.STORE_HIGH)
        melted = (by, means(env.MELTED), judged)
        options.append(Option("high probe, melted", (*seen(probe_rules.HIGH, 8000), *melted)))
        options.append(Option("high probe, between", (*seen(probe_rules.HIGH, 3000), by, judged)))
        cold = (by,) if bank else (by, judged)
        options.append(Option("high probe, ice zone", (*seen(probe_rules.HIGH, 900), *cold)))
    if fit == BOTH:
        by = mem(cell.PROGRESS_BY, BOTH)
        apart = (by, means(env.APART), means(env.MELTED), judged)
        both = (*seen(probe_rules.LOW, 6000), *seen(probe_rules.HIGH, 12000))
        options.append(Option("far apart", (*both, *apart)))
        # A mean that fell only because a warmer probe was lost is no progress.
        lost = (mem(cell.PROGRESS_BY, BOTH), mem(cell.STORE_HIGH_ANCHOR_MC, 20000))
        so_far = (mem(cell.PROGRESS_MC, 14000), mem(cell.PROGRESS_MADE_MK, 0))
        options.append(Option("high probe just lost, 12 K warmer", (*low, *lost, *so_far)))
    dials = (
        Dial(
            "progress",
            (
                Option("none", (mem(cell.PROGRESS_MC, -5000), mem(cell.PROGRESS_MADE_MK, -13000))),
                Option(
                    "half a kelvin",
                    (
                        mem(cell.PROGRESS_MC, 45000),
                        mem(cell.PROGRESS_MADE_MK, 45000),
                        means(env.FALLEN),
                    ),
                ),
            ),
        ),
        Dial("store", tuple(options)),
        Dial(
            "asked",
            (
                Option("compressor", (mem(cell.STORE_STATE, statechart.CHARGE),)),
                Option("nothing"),
                Option(
                    "settings bad",
                    (
                        mem(cell.STORE_STATE, statechart.CHARGE),
                        shown(reading.SETTINGS_OK, 0),
                        means(env.SETTINGS_BAD),
                    ),
                ),
                Option(
                    "compressor, delivering",
                    (
                        mem(cell.STORE_STATE, statechart.CHARGE),
                        *room_side(output.FAN | output.PUMP, statechart.DISCHARGE),
                    ),
                ),
            ),
        ),
        modes_dial((mode_names.AUTOMATIC, mode_names.FIRST_PULL_DOWN), now_ms),
        switch("button", "-", "pressed", shown(reading.ACK_SEQ, 1), means(env.PRESSED)),
    )
    kept = [
        bit("compressor", cell.OUT, output.COMPRESSOR),
        trip("progress", cell.PROGRESS_T, 1000),
        KeptSlots("progress left", cell.PROGRESS_LEFT_MS, fields.LEFT, 2, 0, 1000),
        wait("rest", cell.REST_T, 1000),
        number("rests", cell.REST_COUNT, 5),
        trip("day of the rests", cell.REST_DAY_T, DAY_MS),
        trip("pull-down run", cell.RUN_T, 1000),
        bit("latched: no cooling", cell.LATCH, latch.NO_COOLING),
    ]
    if fit == BOTH:
        kept += [
            trip("disagreement", cell.DISAGREE_T, 1000),
            bit("latched", cell.LATCH, latch.PROBES),
        ]
    if bank:
        kept += [
            trip("ice run", cell.ICE_T, 1000),
            KeptSlots("ice left", cell.ICE_LEFT_MS, fields.LEFT, 2, 0, 1000),
        ]
    name = f"care of the compressor: {_sensors(fit)}{', ice bank' if bank else ''}"
    # Fair: the store gets colder, the compressor is asked for, somebody presses.
    return Slice(
        judge.CARE,
        name,
        held,
        tuple(kept),
        dials,
        fair=(1, 2 if fit == BOTH else 1, 0, 0, 1),
        served=output.COMPRESSOR,
        now_ms=now_ms,
    )


def probe_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield each probe alone: kept is its trust, free are frame, age and the compressor."""
    for i in range(reading.PROBES):
        yield _probe(i, now_ms)


def _probe(i: int, now_ms: int) -> Slice:
    held = settings(fitted.STORE_LOW << i)
    bad = means(env.FRAME_BAD)

    def frame(name: str, mc: int, *more: Write) -> Option:
        good = (shown(reading.STORE_LOW_MC + i, mc), shown(reading.STORE_LOW_FAULT + i, 0))
        return Option(name, (*good, *more))

    frames = [
        frame("as before", 8000),
        frame("moved", 8500),
        frame("power-on value", probe_rules.POWER_ON_MC, bad),
        frame("below its range", probe_rules.LOWEST_MC[i] - 1, bad),
        frame("above its range", probe_rules.HIGHEST_MC[i] + 1, bad),
        *(Option(f"fault {n}", (shown(reading.STORE_LOW_FAULT + i, n), bad)) for n in range(1, 7)),
    ]
    if probe_rules.JUMP_MK[i] < 60000:
        jump = frame("a step too big", 8001 + probe_rules.JUMP_MK[i], means(env.STEP_TOO_BIG))
        frames += [frame("the largest step", 8000 + probe_rules.JUMP_MK[i]), jump]
    at = reading.STORE_LOW_AT_MS + i
    saw = cell.STORE_LOW_SEEN_MS + i
    # Some tick that no frame of these has.
    before = timekeeping.ticks_add(now_ms, timekeeping.LONGEST_MS)

    def aged(ms: int) -> int:
        tick = now_ms - ms
        return tick if tick >= 0 else timekeeping.LAST + 1 + tick

    ages = (
        Option("new frame", (mem(saw, before), means(env.FRAME_NEW))),
        Option("same frame", (mem(saw, now_ms),)),
        Option("10 s old", (mem(saw, before), shown(at, aged(10000)), means(env.FRAME_NEW))),
        Option("over 10 s old", (mem(saw, before), shown(at, aged(10001)), means(env.NO_FRAMES))),
        Option("days old", (mem(saw, before), shown(at, aged(1 << 28)), means(env.NO_FRAMES))),
        Option("from the future", (mem(saw, before), shown(at, aged(-1)), means(env.NO_FRAMES))),
    )
    chilling = (mem(cell.OUT, output.COMPRESSOR), mem(cell.STORE_STATE, statechart.CHARGE))
    dials = [
        Dial("frame", tuple(frames)),
        Dial("age", ages),
        Dial("outputs", (Option("off"), Option("chilling", chilling))),
        Dial("anchor", (Option("8 °C", (mem(cell.STORE_LOW_ANCHOR_MC + i, 8000),)),)),
    ]
    kept = [
        number("good frames", cell.STORE_LOW_GOOD + i, 4),
        bit("frame valid", cell.VALID, 1 << i),
        trip("bad frames", cell.STORE_LOW_BAD_T + i, 1000),
    ]
    if i <= probe_rules.HIGH:
        kept += [
            trip("stuck", cell.STORE_LOW_STUCK_T + i, 1000),
            KeptSlots("stuck left", cell.STORE_LOW_STUCK_LEFT_MS + i, fields.LEFT, 2, 0, 1000),
        ]
    return Slice(judge.PROBE, f"trust of probe {i}", held, tuple(kept), tuple(dials), now_ms=now_ms)
