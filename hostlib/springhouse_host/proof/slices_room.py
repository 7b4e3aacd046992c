"""Slices of the room side: delivery, dry runs, air, and what latches."""

from collections.abc import Iterator
from itertools import product

from springhouse import (
    fitted,
    latch,
    mode,
    output,
    probes,
    reading,
    setting,
    statechart,
    timekeeping,
    week,
)
from springhouse import memory as cell
from springhouse_sim.abstract import env, judge

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
from .slices_store import DAY_MS, MAINS_DIAL, modes_dial

FLOWING_ML_MIN = 1000
TRAY_DIAL = switch("tray", "closed", "open", shown(reading.TRAY_OK, 0), means(env.TRAY_OPEN))

SHORT_MS = 1  # a trip timer that must not be pushed back is judged with hardly any time left


def _flow_dial(fit: int) -> Dial:
    """Evidence of flow: the sensor's, else the inlet's. Its far value is no store's."""
    yes = means(env.FLOW_SEEN)
    if fit & fitted.FLOW:
        return switch("flow", "none", "shown", shown(reading.FLOW_ML_MIN, FLOWING_ML_MIN), yes)
    inlet = (
        Option("inlet astray", seen(probes.COIL_IN, 35000)),
        Option("inlet follows", (*seen(probes.COIL_IN, 13000), yes)),
        Option("inlet not trusted"),
    )
    return Dial("flow", inlet if fit & fitted.COIL_IN else (Option("nothing shows it"),))


def _flow_kept(fit: int) -> list[KeptSlots]:
    if fit & fitted.FLOW:
        ghost = trip("flow while off", cell.GHOST_T, SHORT_MS)
        return [trip("no flow", cell.FLOW_T, SHORT_MS), ghost]
    if fit & fitted.COIL_IN:
        return [trip("inlet astray", cell.FOLLOW_T, SHORT_MS)]
    return [trip("spell", cell.SPELL_T, SHORT_MS)]


def delivery_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield delivery under each fitting of room probe, tray float, flow sensor, inlet probe.

    Kept: state, outputs, spacing, tray, dry-run wait, the clock of the flow evidence. Free: trust
    and temperatures, plan, power, coil waits, latches, modes, the compressor. A guard and a mode at
    once are met by the slices without a tray float. Beside a flow sensor the inlet probe only says
    whether the coil freezes: there it has a dial of its own and some modes rest.
    """
    for room, tray, flow in product(
        (fitted.ROOM, 0),
        (fitted.TRAY, 0),
        (fitted.FLOW | fitted.COIL_IN, fitted.FLOW, fitted.COIL_IN, 0),
    ):
        yield _delivery(room | tray | flow, now_ms)


def _delivery(fit: int, now_ms: int) -> Slice:
    held = settings(
        fit | fitted.STORE_LOW | fitted.MAINS | fitted.COIL_AIR,
        FOLLOW_MK=10000,
        SPELL_ON_S=60,
        SPELL_OFF_S=60,
    )
    charging = mem(cell.STORE_STATE, statechart.CHARGE)
    rooms = [Option("not trusted")]
    if fit & fitted.ROOM:
        heat = (("cool", 23000), ("between", 24300), ("warm", 25000), ("hot", 27500))
        rooms += [Option(name, seen(probes.ROOM, mc)) for name, mc in heat]
    low = seen(probes.LOW, 8000)
    guards = Dial(
        "guard",
        (
            Option("none"),
            Option("latched", (mem(cell.LATCH, latch.STILL),)),
            Option("settings bad", (shown(reading.SETTINGS_OK, 0), means(env.SETTINGS_BAD))),
        ),
    )
    modes = modes_dial((mode.AUTOMATIC, mode.OFF, mode.QUIET, mode.COOL_NOW, mode.PURGE), now_ms)
    rest: tuple[Dial, ...] = (guards, modes)
    if fit & (fitted.FLOW | fitted.COIL_IN) == fitted.FLOW | fitted.COIL_IN:
        inlet = (("cold", -1000), ("fine", 8000))
        options = [Option(name, seen(probes.COIL_IN, mc)) for name, mc in inlet]
        rest = (
            Dial("inlet", (Option("not trusted"), *options)),
            one_of_both(guards, modes_dial((mode.AUTOMATIC, mode.PURGE), now_ms)),
        )
    elif fit & fitted.TRAY:
        rest = (one_of_both(guards, modes),)
    dials = [
        Dial("room", tuple(rooms)),
        Dial(
            "to run",
            (
                Option("all is there", low),
                Option("not wanted", (*low, mem(cell.PLAN, week.PLAN_CHARGE))),
                Option("store spent", seen(probes.LOW, 21500)),
                Option("store blind"),
                Option("no power", (*low, shown(reading.MAINS_OK, 0), means(env.MAINS_BAD))),
            ),
        ),
        Dial(
            "coil",
            (
                Option("fine", seen(probes.COIL_AIR, 20000)),
                Option("air cold", seen(probes.COIL_AIR, 1000)),
                Option("waits", (mem(cell.COIL_T, running(now_ms, 1000)),)),
            ),
        ),
        _flow_dial(fit),
        *rest,
        Dial(
            "compressor",
            (
                Option("off"),
                Option("asked for", (charging,)),
                Option("on", (charging, mem_or(cell.OUT, output.COMPRESSOR))),
            ),
        ),
    ]
    kept = [
        number("room state", cell.ROOM_STATE, statechart.ROOM_STATES),
        bit("pump", cell.OUT, output.PUMP),
        bit("fan", cell.OUT, output.FAN),
        bit("fan full", cell.OUT, output.FAN_FULL),
        wait("spacing", cell.SPACING_T, 5000),
        wait("dry-run wait", cell.DRY_WAIT_T, 60000),
        *_flow_kept(fit),
    ]
    if fit & fitted.TRAY:
        dials.append(TRAY_DIAL)
        kept += [
            bit("tray was open", cell.FLAGS, cell.FLAG_TRAY),
            wait("tray wait", cell.TRAY_T, held[setting.TRAY_RETURN_S] * 1000),
        ]
    words = {
        fitted.ROOM: "room probe",
        fitted.TRAY: "tray",
        fitted.FLOW: "flow sensor",
        fitted.COIL_IN: "inlet probe",
    }
    met = (1 << statechart.ROOM_STATES) - 1 if fit & fitted.TRAY else 0
    if not fit & (fitted.FLOW | fitted.COIL_IN):
        # Nothing tells a dry run: the pump goes in bounded spells.
        met &= ~(1 << statechart.DRY_RUN_STOP)
    # Nothing shows flow before the pump runs.
    fair = (4, *(0 for _ in dials[1:])) if fit & fitted.ROOM else ()
    return Slice(
        judge.ROOM,
        f"delivery: {fitting(fit, words)}",
        held,
        tuple(kept),
        tuple(dials),
        fair=fair,
        served=output.PUMP if fair else 0,
        reaches_room=met if fair else 0,
        now_ms=now_ms,
    )


DELIVERING = (
    mem(cell.ROOM_STATE, statechart.DISCHARGE),
    mem_or(cell.OUT, output.FAN),
    *seen(probes.ROOM, 28000),
)


def dry_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield the counting of dry runs. Kept: pump, clocks, count, latch. Free: flow, demand."""
    for fit in (fitted.FLOW, fitted.COIL_IN):
        held = settings(fit | fitted.STORE_LOW | fitted.ROOM, FOLLOW_MK=10000)
        dials = (
            _flow_dial(fit),
            Dial("demand", (Option("none"), Option("delivery", DELIVERING))),
            Dial("store", (Option("cold", seen(probes.LOW, 5000)), Option("blind"))),
            switch("button", "-", "pressed", shown(reading.ACK_SEQ, 1), means(env.PRESSED)),
        )
        kept = (
            bit("pump", cell.OUT, output.PUMP),
            *_flow_kept(fit),
            wait("dry-run wait", cell.DRY_WAIT_T, 60000),
            number("dry runs", cell.DRY_COUNT, 5),
            trip("day of the dry runs", cell.DRY_DAY_T, DAY_MS),
            bit("latched: dry", cell.LATCH, latch.DRY),
        )
        name = f"dry runs: {'flow sensor' if fit == fitted.FLOW else 'inlet probe'}"
        yield Slice(
            judge.DRY, name, held, kept, dials, fair=(0, 1, 0, 1), served=output.PUMP, now_ms=now_ms
        )


def air_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield coil-freeze, still fans and battery under each fitting, water and brine.

    Kept: pump, fan, flags and waits of coil and battery, the fans' clock, count and latch. Free:
    trust and temperatures, fan speed, battery voltage, mains, the state of delivery.
    """
    for inlet, air, tach, battery, mains in product(
        (fitted.COIL_IN, 0),
        (fitted.COIL_AIR, 0),
        (fitted.FAN_TACH, 0),
        (fitted.BATTERY, 0),
        (fitted.MAINS, 0),
    ):
        yield _air(inlet | air | tach | battery | mains, now_ms)
    yield _air(fitted.COIL_IN, now_ms, BRINE=1, BRINE_LIMIT_MC=-3000)


def _air(fit: int, now_ms: int, **changes: int) -> Slice:
    held = settings(fit | fitted.STORE_LOW | fitted.ROOM | fitted.FLOW, **changes)
    cut = held[setting.BATTERY_CUT_MV]
    rearm = cut + held[setting.BATTERY_REARM_MV]
    cold = -6000 if held[setting.BRINE] else -1000

    def probe(name: str, i: int, *values: int) -> Dial:
        options = [Option(f"{mc / 1000:g} °C", seen(i, mc)) for mc in values]
        return Dial(name, (*options, Option("not trusted")))

    dials = [
        probe("store", probes.LOW, 5000, max(cold, -4900)),
        probe("room", probes.ROOM, 28000, 2000),
        Dial(
            "delivery",
            (
                Option("asked", (mem(cell.ROOM_STATE, statechart.DISCHARGE),)),
                Option("none"),
                Option(
                    "asked within 5 s of a start",
                    (
                        mem(cell.ROOM_STATE, statechart.DISCHARGE),
                        mem(cell.SPACING_T, running(now_ms, 5000)),
                    ),
                ),
                Option(
                    "settings bad",
                    (
                        mem(cell.ROOM_STATE, statechart.DISCHARGE),
                        shown(reading.SETTINGS_OK, 0),
                        means(env.SETTINGS_BAD),
                    ),
                ),
                Option(
                    "purge",
                    (
                        mem(cell.ROOM_STATE, statechart.PURGE),
                        mem(cell.MODE, mode.PURGE),
                        mem(cell.MODE_T, running(now_ms, 60000)),
                    ),
                ),
            ),
        ),
        switch("button", "-", "pressed", shown(reading.ACK_SEQ, 1), means(env.PRESSED)),
    ]
    kept = [
        bit("pump", cell.OUT, output.PUMP),
        bit("fan", cell.OUT, output.FAN),
        bit("coil freezes", cell.FLAGS, cell.FLAG_COIL),
        wait("coil wait", cell.COIL_T, held[setting.COIL_WAIT_S] * 1000),
    ]
    if fit & fitted.COIL_IN:
        dials.append(probe("inlet", probes.COIL_IN, 5000, cold))
    if fit & fitted.COIL_AIR:
        dials.append(probe("air at the coil", probes.COIL_AIR, 20000, 1000))
    if fit & fitted.FAN_TACH:
        turning = Option("turning", (means(env.FAN_TURNS),))
        dials.append(Dial("fans", (turning, Option("still", (shown(reading.FAN_RPM, 0),)))))
        kept += [
            trip("no air", cell.STILL_T, SHORT_MS),
            number("times without air", cell.STILL_COUNT, 5),
            trip("day of those", cell.STILL_DAY_T, DAY_MS),
            bit("latched: still", cell.LATCH, latch.STILL),
        ]
    if fit & fitted.MAINS:
        dials.append(MAINS_DIAL)
    if fit & fitted.BATTERY:
        volts = (
            ("well", rearm + 1),
            ("at re-arming", rearm),
            ("at cut-off", cut),
            ("low", cut - 1),
        )
        options = [
            Option(n, (shown(reading.BATTERY_MV, v), means(env.BATTERY_MV, v))) for n, v in volts
        ]
        dials.append(Dial("battery", tuple(options)))
        kept.append(bit("battery low", cell.FLAGS, cell.FLAG_BATTERY_LOW))
    words = {
        fitted.COIL_IN: "inlet probe",
        fitted.COIL_AIR: "air probe",
        fitted.FAN_TACH: "tachometer",
        fitted.BATTERY: "battery",
        fitted.MAINS: "mains sense",
    }
    return Slice(
        judge.AIR,
        f"air and power: {fitting(fit, words)}{', brine' if held[setting.BRINE] else ''}",
        held,
        tuple(kept),
        tuple(dials),
        fair=(0, 0, 0, 1, *(0 for _ in dials[4:])),
        served=output.PUMP,
        now_ms=now_ms,
    )


def fault_slices(now_ms: int = NOW_MS) -> Iterator[Slice]:
    """Yield latches, floats and the button under each fitting of the three loops.

    Kept: all latches, the tray's flag, wait and count. Free: floats, button, mode, and one step
    that ends in a latch of each other kind.
    """
    for tray, level, floor in product((fitted.TRAY, 0), (fitted.LEVEL, 0), (fitted.FLOOR, 0)):
        yield _faults(tray | level | floor, now_ms)


def _faults(fit: int, now_ms: int) -> Slice:
    always = fitted.STORE_LOW | fitted.STORE_HIGH | fitted.ROOM | fitted.FLOW
    held = settings(fit | always | fitted.FAN_TACH | fitted.MAINS)
    every = mem_or(cell.OUT, output.COMPRESSOR | output.PUMP | output.FAN)
    chilling = mem_or(cell.OUT, output.COMPRESSOR)
    flowing = shown(reading.FLOW_ML_MIN, FLOWING_ML_MIN)
    apart = (*seen(probes.LOW, 7000), *seen(probes.HIGH, 12000))
    events = Dial(
        "event",
        (
            Option("outputs off"),
            Option("outputs on", (every, flowing)),
            Option(
                "no cooling",
                (chilling, mem(cell.REST_COUNT, 2), mem(cell.PROGRESS_T, timekeeping.DUE)),
            ),
            Option(
                "probes apart",
                (chilling, *apart, mem(cell.REST_COUNT, 2), mem(cell.DISAGREE_T, timekeeping.DUE)),
            ),
            Option("dry", (every, mem(cell.DRY_COUNT, 3), mem(cell.FLOW_T, timekeeping.DUE))),
            Option(
                "chilled while off",
                (
                    mem(cell.REST_BY, fitted.STORE_LOW | fitted.STORE_HIGH),
                    mem(cell.REST_MC, 20_000),
                    mem(cell.WELDED_T, timekeeping.ticks_add(now_ms, 60_000)),
                ),
            ),
            Option(
                "no air",
                (
                    every,
                    flowing,
                    mem(cell.STILL_COUNT, 2),
                    mem(cell.STILL_T, timekeeping.DUE),
                    shown(reading.FAN_RPM, 0),
                ),
            ),
        ),
    )
    demand = (
        *seen(probes.LOW, 8000),
        *seen(probes.HIGH, 8000),
        *seen(probes.ROOM, 28000),
        mem(cell.STORE_STATE, statechart.CHARGE),
        mem(cell.ROOM_STATE, statechart.DISCHARGE),
    )
    dials = [
        Dial("demand", (Option("for everything", demand),)),
        events,
        switch("button", "-", "pressed", shown(reading.ACK_SEQ, 1), means(env.PRESSED)),
        modes_dial((mode.AUTOMATIC, mode.SERVICE), now_ms),
    ]
    kept = [number("latches", cell.LATCH, 256)]
    if fit & fitted.TRAY:
        dials.append(TRAY_DIAL)
        kept += [
            bit("tray was open", cell.FLAGS, cell.FLAG_TRAY),
            wait("tray wait", cell.TRAY_T, held[setting.TRAY_RETURN_S] * 1000),
            number("openings", cell.TRAY_COUNT, 5),
            trip("day of the openings", cell.TRAY_DAY_T, DAY_MS),
        ]
    if fit & fitted.LEVEL:
        low = Option("low", (shown(reading.LEVEL_OK, 0), means(env.FLOODED)))
        dials.append(Dial("level", (Option("well"), low)))
    if fit & fitted.FLOOR:
        wet = Option("wet", (shown(reading.FLOOR_DRY, 0), means(env.FLOODED)))
        dials.append(Dial("floor", (Option("dry"), wet)))
    words = {fitted.TRAY: "tray", fitted.LEVEL: "level", fitted.FLOOR: "floor"}
    return Slice(
        judge.FAULTS,
        f"latches: {fitting(fit, words)}",
        held,
        tuple(kept),
        tuple(dials),
        fair=(0, 0, 1, *(0 for _ in dials[3:])),
        served=output.FAN,
        now_ms=now_ms,
    )
