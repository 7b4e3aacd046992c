"""Slices of the room side: delivery, dry runs, air, and what latches."""

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
from springhouse_sim.abstract import judge as J

from .slice_parts import (
    NOW_MS,
    Dial,
    KeptSlots,
    Option,
    Slice,
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
from .slices_store import DAY_MS, modes_dial

FLOWING_ML_MIN = 1000

SHORT_MS = 1  # a trip timer that must not be pushed back is judged with hardly any time left


def _flow_dial(fit: int) -> Dial:
    """Evidence of flow: the sensor's, else the inlet's. Its far value is no store's."""
    yes = means(V.FLOW_SEEN)
    if fit & F.FLOW:
        return switch("flow", "none", "shown", shown(R.FLOW_ML_MIN, FLOWING_ML_MIN), yes)
    inlet = (
        Option("inlet astray", seen(P.COIL_IN, 35000)),
        Option("inlet follows", (*seen(P.COIL_IN, 13000), yes)),
        Option("inlet not trusted"),
    )
    return Dial("flow", inlet if fit & F.COIL_IN else (Option("nothing shows it"),))


def _flow_kept(fit: int) -> list[KeptSlots]:
    if fit & F.FLOW:
        return [trip("no flow", M.FLOW_T, SHORT_MS), trip("flow while off", M.GHOST_T, SHORT_MS)]
    if fit & F.COIL_IN:
        return [trip("inlet astray", M.FOLLOW_T, SHORT_MS)]
    return [trip("spell", M.SPELL_T, SHORT_MS)]


def delivery_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield delivery under each fitting of room probe, tray float, flow sensor, inlet probe.

    Kept: state, outputs, spacing, tray, dry-run wait, the clock of the flow evidence. Free: trust
    and temperatures, plan, power, coil waits, latches, modes, the compressor. A guard and a mode at
    once are met by the slices without a tray float. Beside a flow sensor the inlet probe only says
    whether the coil freezes: there it has a dial of its own and some modes rest.
    """
    for room, tray, flow in product(
        (F.ROOM, 0), (F.TRAY, 0), (F.FLOW | F.COIL_IN, F.FLOW, F.COIL_IN, 0)
    ):
        yield _delivery(room | tray | flow, now_ms)


def _delivery(fit: int, now_ms: int) -> Slice:
    held = settings(
        fit | F.STORE_LOW | F.MAINS | F.COIL_AIR, FOLLOW_MK=10000, SPELL_ON_S=60, SPELL_OFF_S=60
    )
    rooms = [Option("not trusted")]
    if fit & F.ROOM:
        heat = (("cool", 23000), ("between", 24300), ("warm", 25000), ("hot", 27500))
        rooms += [Option(name, seen(P.ROOM, mc)) for name, mc in heat]
    low = seen(P.LOW, 8000)
    guards = Dial(
        "guard",
        (
            Option("none"),
            Option("latched", (mem(M.LATCH, L.STILL),)),
            Option("settings bad", (shown(R.SETTINGS_OK, 0), means(V.SETTINGS_BAD))),
        ),
    )
    modes = modes_dial((W.AUTOMATIC, W.OFF, W.QUIET, W.COOL_NOW, W.PURGE), now_ms)
    rest: tuple[Dial, ...] = (guards, modes)
    if fit & (F.FLOW | F.COIL_IN) == F.FLOW | F.COIL_IN:
        inlet = (("cold", -1000), ("fine", 8000))
        options = [Option(name, seen(P.COIL_IN, mc)) for name, mc in inlet]
        rest = (
            Dial("inlet", (Option("not trusted"), *options)),
            one_of_both(guards, modes_dial((W.AUTOMATIC, W.PURGE), now_ms)),
        )
    elif fit & F.TRAY:
        rest = (one_of_both(guards, modes),)
    dials = [
        Dial("room", tuple(rooms)),
        Dial(
            "to run",
            (
                Option("all is there", low),
                Option("not wanted", (*low, mem(M.PLAN, N.PLAN_CHARGE))),
                Option("store spent", seen(P.LOW, 21500)),
                Option("store blind"),
                Option("no power", (*low, shown(R.MAINS_OK, 0), means(V.MAINS_BAD))),
            ),
        ),
        Dial(
            "coil",
            (
                Option("fine", seen(P.COIL_AIR, 20000)),
                Option("air cold", seen(P.COIL_AIR, 1000)),
                Option("waits", (mem(M.COIL_T, running(now_ms, 1000)),)),
            ),
        ),
        _flow_dial(fit),
        *rest,
        Dial(
            "compressor",
            (
                Option("off"),
                Option("asked for", (mem(M.STORE_STATE, K.CHARGE),)),
                Option("on", (mem(M.STORE_STATE, K.CHARGE), mem_or(M.OUT, O.COMPRESSOR))),
            ),
        ),
    ]
    kept = [
        number("room state", M.ROOM_STATE, K.ROOM_STATES),
        bit("pump", M.OUT, O.PUMP),
        bit("fan", M.OUT, O.FAN),
        bit("fan full", M.OUT, O.FAN_FULL),
        wait("spacing", M.SPACING_T, 5000),
        wait("dry-run wait", M.DRY_WAIT_T, 60000),
        *_flow_kept(fit),
    ]
    if fit & F.TRAY:
        dials.append(switch("tray", "closed", "open", shown(R.TRAY_OK, 0), means(V.TRAY_OPEN)))
        kept += [
            bit("tray was open", M.FLAGS, M.FLAG_TRAY),
            wait("tray wait", M.TRAY_T, held[S.TRAY_RETURN_S] * 1000),
        ]
    words = {F.ROOM: "room probe", F.TRAY: "tray", F.FLOW: "flow sensor", F.COIL_IN: "inlet probe"}
    met = (1 << K.ROOM_STATES) - 1 if fit & F.TRAY else 0
    if not fit & (F.FLOW | F.COIL_IN):
        met &= ~(1 << K.DRY_RUN_STOP)  # nothing tells a dry run: the pump goes in bounded spells
    # Nothing shows flow before the pump runs.
    fair = (4, *(0 for _ in dials[1:])) if fit & F.ROOM else ()
    return Slice(
        J.ROOM,
        f"delivery: {fitting(fit, words)}",
        held,
        tuple(kept),
        tuple(dials),
        fair=fair,
        served=O.PUMP if fair else 0,
        reaches_room=met if fair else 0,
        now_ms=now_ms,
    )


DELIVERING = (
    mem(M.ROOM_STATE, K.DISCHARGE),
    mem_or(M.OUT, O.FAN),
    *seen(P.ROOM, 28000),
)


def dry_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield the counting of dry runs. Kept: pump, clocks, count, latch. Free: flow, demand."""
    for fit in (F.FLOW, F.COIL_IN):
        held = settings(fit | F.STORE_LOW | F.ROOM, FOLLOW_MK=10000)
        dials = (
            _flow_dial(fit),
            Dial("demand", (Option("none"), Option("delivery", DELIVERING))),
            Dial("store", (Option("cold", seen(P.LOW, 5000)), Option("blind"))),
            switch("button", "-", "pressed", shown(R.ACK_SEQ, 1), means(V.PRESSED)),
        )
        kept = (
            bit("pump", M.OUT, O.PUMP),
            *_flow_kept(fit),
            wait("dry-run wait", M.DRY_WAIT_T, 60000),
            number("dry runs", M.DRY_COUNT, 5),
            trip("day of the dry runs", M.DRY_DAY_T, DAY_MS),
            bit("latched: dry", M.LATCH, L.DRY),
        )
        name = f"dry runs: {'flow sensor' if fit == F.FLOW else 'inlet probe'}"
        yield Slice(J.DRY, name, held, kept, dials, fair=(0, 1, 0, 1), served=O.PUMP, now_ms=now_ms)


def air_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield coil-freeze, still fans and battery under each fitting, water and brine.

    Kept: pump, fan, flags and waits of coil and battery, the fans' clock, count and latch. Free:
    trust and temperatures, fan speed, battery voltage, mains, the state of delivery.
    """
    for inlet, air, tach, battery, mains in product(
        (F.COIL_IN, 0), (F.COIL_AIR, 0), (F.FAN_TACH, 0), (F.BATTERY, 0), (F.MAINS, 0)
    ):
        yield _air(inlet | air | tach | battery | mains, now_ms)
    yield _air(F.COIL_IN, now_ms, BRINE=1, BRINE_LIMIT_MC=-3000)


def _air(fit: int, now_ms: int, **changes: int) -> Slice:
    held = settings(fit | F.STORE_LOW | F.ROOM | F.FLOW, **changes)
    cut = held[S.BATTERY_CUT_MV]
    rearm = cut + held[S.BATTERY_REARM_MV]
    cold = -6000 if held[S.BRINE] else -1000

    def probe(name: str, i: int, *values: int) -> Dial:
        options = [Option(f"{mc / 1000:g} °C", seen(i, mc)) for mc in values]
        return Dial(name, (*options, Option("not trusted")))

    dials = [
        probe("store", P.LOW, 5000, max(cold, -4900)),
        probe("room", P.ROOM, 28000, 2000),
        Dial(
            "delivery",
            (
                Option("asked", (mem(M.ROOM_STATE, K.DISCHARGE),)),
                Option("none"),
                Option(
                    "asked within 5 s of a start",
                    (
                        mem(M.ROOM_STATE, K.DISCHARGE),
                        mem(M.SPACING_T, running(now_ms, 5000)),
                    ),
                ),
                Option(
                    "settings bad",
                    (
                        mem(M.ROOM_STATE, K.DISCHARGE),
                        shown(R.SETTINGS_OK, 0),
                        means(V.SETTINGS_BAD),
                    ),
                ),
                Option(
                    "purge",
                    (
                        mem(M.ROOM_STATE, K.PURGE),
                        mem(M.MODE, W.PURGE),
                        mem(M.MODE_T, running(now_ms, 60000)),
                    ),
                ),
            ),
        ),
        switch("button", "-", "pressed", shown(R.ACK_SEQ, 1), means(V.PRESSED)),
    ]
    kept = [
        bit("pump", M.OUT, O.PUMP),
        bit("fan", M.OUT, O.FAN),
        bit("coil freezes", M.FLAGS, M.FLAG_COIL),
        wait("coil wait", M.COIL_T, held[S.COIL_WAIT_S] * 1000),
    ]
    if fit & F.COIL_IN:
        dials.append(probe("inlet", P.COIL_IN, 5000, cold))
    if fit & F.COIL_AIR:
        dials.append(probe("air at the coil", P.COIL_AIR, 20000, 1000))
    if fit & F.FAN_TACH:
        turning = Option("turning", (means(V.FAN_TURNS),))
        dials.append(Dial("fans", (turning, Option("still", (shown(R.FAN_RPM, 0),)))))
        kept += [
            trip("no air", M.STILL_T, SHORT_MS),
            number("times without air", M.STILL_COUNT, 5),
            trip("day of those", M.STILL_DAY_T, DAY_MS),
            bit("latched: still", M.LATCH, L.STILL),
        ]
    if fit & F.MAINS:
        dials.append(switch("mains", "good", "away", shown(R.MAINS_OK, 0), means(V.MAINS_BAD)))
    if fit & F.BATTERY:
        volts = (
            ("well", rearm + 1),
            ("at re-arming", rearm),
            ("at cut-off", cut),
            ("low", cut - 1),
        )
        options = [Option(n, (shown(R.BATTERY_MV, v), means(V.BATTERY_MV, v))) for n, v in volts]
        dials.append(Dial("battery", tuple(options)))
        kept.append(bit("battery low", M.FLAGS, M.FLAG_BATTERY_LOW))
    words = {
        F.COIL_IN: "inlet probe",
        F.COIL_AIR: "air probe",
        F.FAN_TACH: "tachometer",
        F.BATTERY: "battery",
        F.MAINS: "mains sense",
    }
    return Slice(
        J.AIR,
        f"air and power: {fitting(fit, words)}{', brine' if held[S.BRINE] else ''}",
        held,
        tuple(kept),
        tuple(dials),
        fair=(0, 0, 0, 1, *(0 for _ in dials[4:])),
        served=O.PUMP,
        now_ms=now_ms,
    )


def fault_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield latches, floats and the button under each fitting of the three loops.

    Kept: all latches, the tray's flag, wait and count. Free: floats, button, mode, and one step
    that ends in a latch of each other kind.
    """
    for tray, level, floor in product((F.TRAY, 0), (F.LEVEL, 0), (F.FLOOR, 0)):
        yield _faults(tray | level | floor, now_ms)


def _faults(fit: int, now_ms: int) -> Slice:
    held = settings(fit | F.STORE_LOW | F.STORE_HIGH | F.ROOM | F.FLOW | F.FAN_TACH | F.MAINS)
    every = mem_or(M.OUT, O.COMPRESSOR | O.PUMP | O.FAN)
    chilling = mem_or(M.OUT, O.COMPRESSOR)
    flowing = shown(R.FLOW_ML_MIN, FLOWING_ML_MIN)
    apart = (*seen(P.LOW, 7000), *seen(P.HIGH, 12000))
    events = Dial(
        "event",
        (
            Option("outputs off"),
            Option("outputs on", (every, flowing)),
            Option(
                "no cooling",
                (chilling, mem(M.REST_COUNT, 2), mem(M.PROGRESS_T, T.DUE)),
            ),
            Option(
                "probes apart",
                (chilling, *apart, mem(M.REST_COUNT, 2), mem(M.DISAGREE_T, T.DUE)),
            ),
            Option("dry", (every, mem(M.DRY_COUNT, 3), mem(M.FLOW_T, T.DUE))),
            Option(
                "chilled while off",
                (
                    mem(M.REST_BY, F.STORE_LOW | F.STORE_HIGH),
                    mem(M.REST_MC, 20_000),
                    mem(M.WELDED_T, T.ticks_add(now_ms, 60_000)),
                ),
            ),
            Option(
                "no air",
                (
                    every,
                    flowing,
                    mem(M.STILL_COUNT, 2),
                    mem(M.STILL_T, T.DUE),
                    shown(R.FAN_RPM, 0),
                ),
            ),
        ),
    )
    demand = (
        *seen(P.LOW, 8000),
        *seen(P.HIGH, 8000),
        *seen(P.ROOM, 28000),
        mem(M.STORE_STATE, K.CHARGE),
        mem(M.ROOM_STATE, K.DISCHARGE),
    )
    dials = [
        Dial("demand", (Option("for everything", demand),)),
        events,
        switch("button", "-", "pressed", shown(R.ACK_SEQ, 1), means(V.PRESSED)),
        modes_dial((W.AUTOMATIC, W.SERVICE), now_ms),
    ]
    kept = [number("latches", M.LATCH, 256)]
    if fit & F.TRAY:
        dials.append(switch("tray", "closed", "open", shown(R.TRAY_OK, 0), means(V.TRAY_OPEN)))
        kept += [
            bit("tray was open", M.FLAGS, M.FLAG_TRAY),
            wait("tray wait", M.TRAY_T, held[S.TRAY_RETURN_S] * 1000),
            number("openings", M.TRAY_COUNT, 5),
            trip("day of the openings", M.TRAY_DAY_T, DAY_MS),
        ]
    if fit & F.LEVEL:
        low = Option("low", (shown(R.LEVEL_OK, 0), means(V.FLOODED)))
        dials.append(Dial("level", (Option("well"), low)))
    if fit & F.FLOOR:
        wet = Option("wet", (shown(R.FLOOR_DRY, 0), means(V.FLOODED)))
        dials.append(Dial("floor", (Option("dry"), wet)))
    words = {F.TRAY: "tray", F.LEVEL: "level", F.FLOOR: "floor"}
    return Slice(
        J.FAULTS,
        f"latches: {fitting(fit, words)}",
        held,
        tuple(kept),
        tuple(dials),
        fair=(0, 0, 1, *(0 for _ in dials[3:])),
        served=O.FAN,
        now_ms=now_ms,
    )
