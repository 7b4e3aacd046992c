"""Slices of the store side: the compressor, its care, the trust of a probe."""

from collections.abc import Iterator
from itertools import product

from springhouse import fitted as F
from springhouse import latch as L
from springhouse import memory as M
from springhouse import mode as W
from springhouse import output as O
from springhouse import probes as P
from springhouse import reading as R
from springhouse import setting as S
from springhouse import statechart as K
from springhouse import timekeeping as T
from springhouse import week as N
from springhouse_sim.abstract import env as V
from springhouse_sim.abstract import fields as A
from springhouse_sim.abstract import judge as J

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
BOTH = F.STORE_LOW | F.STORE_HIGH

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
    W.AUTOMATIC: (),
    W.OFF: (means(V.OWNER_STOP),),
    W.CHARGE_NOW: (means(V.FREE_MODE),),
    W.COOL_NOW: (),
    W.QUIET: (),
    W.SERVICE: (means(V.OWNER_STOP), means(V.SERVICE)),
    W.PURGE: (),
    W.FIRST_PULL_DOWN: (means(V.FREE_MODE),),
}

# The others are to the store side what one of these is; a single probe meets them all.
MODES_APART = (W.AUTOMATIC, W.OFF, W.CHARGE_NOW, W.QUIET, W.FIRST_PULL_DOWN)


def store_dial(fit: int) -> Dial:
    """Which store probes are trusted, and where they stand."""
    options = [Option("no store probe trusted")]
    if fit & F.STORE_LOW and fit & F.STORE_HIGH:
        for name, low, high in BOTH_MC:
            writes = (*seen(P.LOW, low), *seen(P.HIGH, high))
            options.append(Option(f"both probes: {name}", writes))
    if fit & F.STORE_LOW:
        options += [Option(f"low probe alone: {n}", seen(P.LOW, mc)) for n, mc in LOW_MC]
    if fit & F.STORE_HIGH:
        options += [Option(f"high probe alone: {n}", seen(P.HIGH, mc)) for n, mc in HIGH_MC]
    if fit & F.STORE_LOW and fit & F.STORE_HIGH:
        # Without these nothing vouches for the top, and the floor is the limit.
        for word, flag in (("vouched for", M.FLAG_VOUCHED), ("sunk", M.FLAG_SUNK)):
            for name, low, high in BOTH_MC[4:9]:
                writes = (*seen(P.LOW, low), *seen(P.HIGH, high), mem_or(M.FLAGS, flag))
                options.append(Option(f"both probes, {word}: {name}", writes))
        for name, low, high in BOTH_MC[:4]:
            writes = (*seen(P.LOW, low), *seen(P.HIGH, high), mem_or(M.FLAGS, M.FLAG_VOUCHED))
            options.append(Option(f"both probes, vouched for: {name}", writes))
    return Dial("store", tuple(options))


def modes_dial(modes: tuple[int, ...], now_ms: int) -> Dial:
    """The owner's mode, as if asked for just now."""
    options = []
    for mode in modes:
        end = T.IDLE if mode == W.AUTOMATIC else running(now_ms, 60_000)
        writes = (mem(M.MODE, mode), mem(M.MODE_T, end), *MODES[mode])
        options.append(Option(f"mode {mode}", writes))
    return Dial("mode", tuple(options))


def room_side(fan_and_pump: int, state: int) -> tuple[Write, ...]:
    """What the other region has on and asks for; a hot room that is wanted cool."""
    return (mem_or(M.OUT, fan_and_pump), mem(M.ROOM_STATE, state), *seen(P.ROOM, 60000))


ROOM_SIDE = Dial(
    "room side",
    (
        Option("at rest"),
        Option("asks for fan and pump", room_side(0, K.DISCHARGE)),
        Option("fan on, asks for the pump", room_side(O.FAN, K.DISCHARGE)),
        Option("pump on, asks for the fan", room_side(O.PUMP, K.DISCHARGE)),
        Option("delivers", room_side(O.FAN | O.PUMP, K.DISCHARGE)),
        Option("stops", (mem_or(M.OUT, O.FAN | O.PUMP),)),
    ),
)


def compressor_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield the compressor under each fitting of store probes and mains sense, and each ration.

    Kept: state, output, off-time, on-time, spacing, start ring, freeze and mains flags. Free:
    trust and temperatures, latches, rests, modes, tariff, the room side. A guard and a mode at
    once are met by the slices of one probe without mains sense.
    """
    for probes, mains in product((BOTH, F.STORE_LOW, F.STORE_HIGH, 0), (F.MAINS, 0)):
        yield _compressor(probes | mains, now_ms)
    for starts in (1, 2, 3):
        yield _compressor(F.STORE_HIGH, now_ms, STARTS_PER_HOUR=starts)
    yield _compressor(BOTH, now_ms, ICE_BANK=1, ICE_RUN_MIN=60)


def _compressor(fit: int, now_ms: int, **changes: int) -> Slice:
    held = settings(fit | F.ROOM | F.LEVEL, RESTART_STAGGER_S=120, TARIFF_OVERRIDE=0, **changes)
    off_ms = (held[S.MIN_OFF_S] + held[S.RESTART_STAGGER_S]) * 1000
    guards = Dial(
        "guard",
        (
            Option("none"),
            Option("latched", (mem(M.LATCH, L.NO_COOLING),)),
            Option("settings bad", (shown(R.SETTINGS_OK, 0), means(V.SETTINGS_BAD))),
            Option("level low", (shown(R.LEVEL_OK, 0), means(V.FLOODED))),
            Option("resting", (mem(M.REST_T, running(now_ms, HOUR_MS)),)),
        ),
    )
    modes = modes_dial(MODES_APART if fit & BOTH == BOTH else tuple(MODES), now_ms)
    every_pair = fit & BOTH != BOTH and not fit & F.MAINS
    dials = [
        store_dial(fit),
        *((guards, modes) if every_pair else (one_of_both(guards, modes),)),
        switch(
            "tariff",
            "free",
            "no-start window",
            mem(M.PLAN, N.PLAN_CHARGE | N.PLAN_WANTED | N.PLAN_NO_START),
            means(V.NO_START),
        ),
        ROOM_SIDE,
    ]
    if fit & F.MAINS:
        dials.append(switch("mains", "good", "away", shown(R.MAINS_OK, 0), means(V.MAINS_BAD)))
    if held[S.ICE_BANK]:
        dials.append(switch("ice", "ration left", "ration used up", mem(M.ICE_T, T.DUE)))
    return Slice(
        J.STORE,
        f"compressor: {_sensors(fit)}{''.join(f', {k} {v}' for k, v in changes.items())}",
        held,
        (
            number("store state", M.STORE_STATE, K.STORE_STATES),
            bit("compressor", M.OUT, O.COMPRESSOR),
            bit("freeze guard", M.FLAGS, M.FLAG_FREEZE),
            bit("mains was good", M.FLAGS, M.FLAG_MAINS),
            wait("off-time", M.OFF_T, off_ms),
            wait("on-time", M.ON_T, held[S.MIN_ON_S] * 1000),
            wait("spacing", M.SPACING_T, 5000),
            KeptSlots("starts this hour", M.START_1_T, A.RING, A.START_STAMPS + 1, 0, HOUR_MS),
        ),
        tuple(dials),
        fair=(_warm(dials[0]), *(0 for _ in dials[1:])) if fit & BOTH else (),
        served=O.COMPRESSOR if fit & BOTH else 0,
        reaches_store=(1 << K.STORE_STATES) - 1 if fit & BOTH else 0,
        now_ms=now_ms,
    )


def _warm(dial: Dial) -> int:
    return next(n for n, option in enumerate(dial.options) if option.name.endswith(": warm"))


def _sensors(fit: int) -> str:
    words = {
        F.STORE_LOW: "low probe",
        F.STORE_HIGH: "high probe",
        F.MAINS: "mains sense",
    }
    return fitting(fit, words)


def care_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield progress, disagreement, rests and the ration of ice.

    Kept: compressor, the timers and counts of rests, two latches, the ration. Free: trust and
    temperatures, progress, the pump, mode, acknowledgement.
    """
    for fit, bank in ((BOTH, 0), (F.STORE_LOW, 0), (F.STORE_HIGH, 0), (BOTH, 1), (F.STORE_HIGH, 1)):
        yield _care(fit, bank, now_ms)


def _care(fit: int, bank: int, now_ms: int) -> Slice:
    held = settings(fit | F.ROOM, ICE_BANK=bank, ICE_RUN_MIN=60)
    options = [Option("no store probe trusted", (mem(M.PROGRESS_BY, 0),))]
    judged = means(V.JUDGED)
    low = (*seen(P.LOW, 8000), judged)
    if fit & F.STORE_LOW:
        options.append(Option("low probe", (*low, mem(M.PROGRESS_BY, F.STORE_LOW))))
    if fit & F.STORE_HIGH:
        by = mem(M.PROGRESS_BY, F.STORE_HIGH)
        melted = (by, means(V.MELTED), judged)
        options.append(Option("high probe, melted", (*seen(P.HIGH, 8000), *melted)))
        options.append(Option("high probe, between", (*seen(P.HIGH, 3000), by, judged)))
        cold = (by,) if bank else (by, judged)
        options.append(Option("high probe, ice zone", (*seen(P.HIGH, 900), *cold)))
    if fit == BOTH:
        by = mem(M.PROGRESS_BY, BOTH)
        apart = (by, means(V.APART), means(V.MELTED), judged)
        options.append(Option("far apart", (*seen(P.LOW, 6000), *seen(P.HIGH, 12000), *apart)))
        # A mean that fell only because a warmer probe was lost is no progress.
        lost = (mem(M.PROGRESS_BY, BOTH), mem(M.STORE_HIGH_ANCHOR_MC, 20000))
        so_far = (mem(M.PROGRESS_MC, 14000), mem(M.PROGRESS_MADE_MK, 0))
        options.append(Option("high probe just lost, 12 K warmer", (*low, *lost, *so_far)))
    dials = (
        Dial(
            "progress",
            (
                Option("none", (mem(M.PROGRESS_MC, -5000), mem(M.PROGRESS_MADE_MK, -13000))),
                Option(
                    "half a kelvin",
                    (
                        mem(M.PROGRESS_MC, 45000),
                        mem(M.PROGRESS_MADE_MK, 45000),
                        means(V.FALLEN),
                    ),
                ),
            ),
        ),
        Dial("store", tuple(options)),
        Dial(
            "asked",
            (
                Option("compressor", (mem(M.STORE_STATE, K.CHARGE),)),
                Option("nothing"),
                Option(
                    "settings bad",
                    (
                        mem(M.STORE_STATE, K.CHARGE),
                        shown(R.SETTINGS_OK, 0),
                        means(V.SETTINGS_BAD),
                    ),
                ),
                Option(
                    "compressor, delivering",
                    (mem(M.STORE_STATE, K.CHARGE), *room_side(O.FAN | O.PUMP, K.DISCHARGE)),
                ),
            ),
        ),
        modes_dial((W.AUTOMATIC, W.FIRST_PULL_DOWN), now_ms),
        switch("button", "-", "pressed", shown(R.ACK_SEQ, 1), means(V.PRESSED)),
    )
    kept = [
        bit("compressor", M.OUT, O.COMPRESSOR),
        trip("progress", M.PROGRESS_T, 1000),
        KeptSlots("progress left", M.PROGRESS_LEFT_MS, A.LEFT, 2, 0, 1000),
        wait("rest", M.REST_T, 1000),
        number("rests", M.REST_COUNT, 5),
        trip("day of the rests", M.REST_DAY_T, DAY_MS),
        trip("pull-down run", M.RUN_T, 1000),
        bit("latched: no cooling", M.LATCH, L.NO_COOLING),
    ]
    if fit == BOTH:
        kept += [trip("disagreement", M.DISAGREE_T, 1000), bit("latched", M.LATCH, L.PROBES)]
    if bank:
        kept += [
            trip("ice run", M.ICE_T, 1000),
            KeptSlots("ice left", M.ICE_LEFT_MS, A.LEFT, 2, 0, 1000),
        ]
    name = f"care of the compressor: {_sensors(fit)}{', ice bank' if bank else ''}"
    # Fair: the store gets colder, the compressor is asked for, somebody presses.
    return Slice(
        J.CARE,
        name,
        held,
        tuple(kept),
        dials,
        fair=(1, 2 if fit == BOTH else 1, 0, 0, 1),
        served=O.COMPRESSOR,
        now_ms=now_ms,
    )


def probe_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield each probe alone: kept is its trust, free are frame, age and the compressor."""
    for i in range(R.PROBES):
        yield _probe(i, now_ms)


def _probe(i: int, now_ms: int) -> Slice:
    held = settings(F.STORE_LOW << i)
    bad = means(V.FRAME_BAD)

    def frame(name: str, mc: int, *more: Write) -> Option:
        return Option(name, (shown(R.STORE_LOW_MC + i, mc), shown(R.STORE_LOW_FAULT + i, 0), *more))

    frames = [
        frame("as before", 8000),
        frame("moved", 8500),
        frame("power-on value", P.POWER_ON_MC, bad),
        frame("below its range", P.LOWEST_MC[i] - 1, bad),
        frame("above its range", P.HIGHEST_MC[i] + 1, bad),
        *(Option(f"fault {n}", (shown(R.STORE_LOW_FAULT + i, n), bad)) for n in range(1, 7)),
    ]
    if P.JUMP_MK[i] < 60000:
        jump = frame("a step too big", 8001 + P.JUMP_MK[i], means(V.STEP_TOO_BIG))
        frames += [frame("the largest step", 8000 + P.JUMP_MK[i]), jump]
    at = R.STORE_LOW_AT_MS + i
    saw = M.STORE_LOW_SEEN_MS + i
    before = T.ticks_add(now_ms, T.LONGEST_MS)  # some tick that no frame of these has

    def aged(ms: int) -> int:
        tick = now_ms - ms
        return tick if tick >= 0 else T.LAST + 1 + tick

    ages = (
        Option("new frame", (mem(saw, before), means(V.FRAME_NEW))),
        Option("same frame", (mem(saw, now_ms),)),
        Option("10 s old", (mem(saw, before), shown(at, aged(10000)), means(V.FRAME_NEW))),
        Option("over 10 s old", (mem(saw, before), shown(at, aged(10001)), means(V.NO_FRAMES))),
        Option("days old", (mem(saw, before), shown(at, aged(1 << 28)), means(V.NO_FRAMES))),
        Option("from the future", (mem(saw, before), shown(at, aged(-1)), means(V.NO_FRAMES))),
    )
    chilling = (mem(M.OUT, O.COMPRESSOR), mem(M.STORE_STATE, K.CHARGE))
    dials = [
        Dial("frame", tuple(frames)),
        Dial("age", ages),
        Dial("outputs", (Option("off"), Option("chilling", chilling))),
        Dial("anchor", (Option("8 °C", (mem(M.STORE_LOW_ANCHOR_MC + i, 8000),)),)),
    ]
    kept = [
        number("good frames", M.STORE_LOW_GOOD + i, 4),
        bit("frame valid", M.VALID, 1 << i),
        trip("bad frames", M.STORE_LOW_BAD_T + i, 1000),
    ]
    if i <= P.HIGH:
        kept += [
            trip("stuck", M.STORE_LOW_STUCK_T + i, 1000),
            KeptSlots("stuck left", M.STORE_LOW_STUCK_LEFT_MS + i, A.LEFT, 2, 0, 1000),
        ]
    return Slice(J.PROBE, f"trust of probe {i}", held, tuple(kept), tuple(dials), now_ms=now_ms)
