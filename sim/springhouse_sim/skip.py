"""The quiet skip: plant and controller between two outside events, without the quiet ticks.

The plant goes in long steps with dense output. After a step of the controller that changed nothing
its `decisions` say until when, and between which readings, it cannot change its mind; it is called
again at the first tick at which that may end, and at every tick after a change. When it drives
something else, the step is cut there and the plant starts anew from the curve at that tick.

With ``every`` set the controller is stepped at every tick of the same steps: the oracle.

The observer sees each tick at which the controller is stepped and the tick before it, and one at
least every ten minutes: it judges the same outputs on fewer scans. All other figures are those of
every tick.
"""

from typing import TypeAlias

from springhouse import controller, setting
from springhouse import memory as cell

from springhouse_sim import (
    gauge,
    sensing,
    skip_dense,
    skip_follow,
    skip_gauge,
    skip_scan,
    skip_step,
    ticks,
)
from springhouse_sim import sense as sense_slot
from springhouse_sim.plant import electricity, given, layers, param, spaces, state, tap
from springhouse_sim.plant.rates import rates, switch
from springhouse_sim.records import FloatRecord, IntRecord
from springhouse_sim.ticks import SAMPLE_TICKS, TICK_MS, Board, Log, Observer, Tank
from springhouse_sim.watch import observe

ROOM_FOR_STEP = skip_step.LONGEST_MS // TICK_MS + 2  # rows that one step may write

# Slots of the skip's own record: the tick up to which each thing is done, the next one to step
# the controller at, and how often it was.
DONE, SEEN, FOLLOWED, COUNTED, GAUGED, SAMPLED, WAKE, SCANS, OWN = range(9)

# The skip's records: own, memory before a step, bands, flags, and scratch for taps and rates.
Skip: TypeAlias = tuple[IntRecord, IntRecord, IntRecord, IntRecord, FloatRecord, FloatRecord]


def prepare(skip: Skip, pilot: skip_step.Pilot) -> None:
    """Fill the zeroed records before a run."""
    own = skip[0]
    for slot in range(WAKE):
        own[slot] = -1
    skip_step.prepare(pilot)


def sense_taps(tank: Tank, skip: Skip) -> None:
    """Bring the taps that sensors read up to the state: level, supply, battery, float."""
    x, u, p, _, t = tank
    scratch = skip[5]
    for slot in range(state.SIZE):
        scratch[slot] = 0.0
    layers.measure(x, p, t)
    electricity.power(x, u, p, scratch, t)
    spaces.tray_water(x, u, p, scratch, t)


def changed(memory: IntRecord, before: IntRecord) -> bool:
    """Whether a step changed more than condition words and what `probes.update` keeps."""
    for slot in range(cell.SIZE):
        if memory[slot] != before[slot]:
            anchors = cell.STORE_LOW_ANCHOR_MC <= slot <= cell.COIL_AIR_ANCHOR_MC
            banked = cell.STORE_LOW_STUCK_LEFT_MS <= slot <= cell.STORE_HIGH_STUCK_LEFT_MS
            timers = cell.STORE_LOW_STUCK_T <= slot <= cell.STORE_HIGH_STUCK_T
            words = cell.STORE_WORD <= slot <= cell.LOCK_WORD
            if not anchors and not banked and not timers and not words:
                return True
    return False


def see(
    tank: Tank, board: Board, observer: Observer, sense: IntRecord, skip: Skip, tick: int
) -> None:
    """Show the observer a tick that the controller need not be asked about; x stands there."""
    memory, settings, readings, _ = board
    sense_taps(tank, skip)
    sensing.read(readings, settings, sense, tank[0], tank[1], tank[4], tick)
    observe.observe(
        observer[0], memory, settings, readings, memory[cell.OUT], observer[1], observer[2]
    )
    skip[0][SEEN] = tick


def count_states(board: Board, log: Log, skip: Skip, last: int) -> None:
    """Count the seconds in the states up to a tick."""
    own, counts, memory = skip[0], log[3], board[0]
    if board[3][0] and counts[gauge.ALIVE]:
        counts[gauge.STORE_STATE_S_0 + memory[cell.STORE_STATE]] += last - own[COUNTED]
        counts[gauge.ROOM_STATE_S_0 + memory[cell.ROOM_STATE]] += last - own[COUNTED]
    own[COUNTED] = last


def sample_to(
    tank: Tank, board: Board, log: Log, curve: FloatRecord, skip: Skip, last: int
) -> None:
    """Write the minute samples up to a tick from the curve."""
    own, used, samples = skip[0], log[2], log[1]
    tick = (own[SAMPLED] // SAMPLE_TICKS + 1) * SAMPLE_TICKS
    while tick <= last:
        share = skip_dense.share_at(curve, tick)
        k = used[ticks.SAMPLES_USED] * ticks.COLUMNS
        samples[k] = float(tick)
        k += 1
        for slot in ticks.STATE_COLUMNS:
            samples[k] = skip_dense.value(curve, slot, share)
            k += 1
        for slot in ticks.TAP_COLUMNS:
            samples[k] = skip_dense.tap(curve, slot, share)
            k += 1
        age_s = skip_dense.value(curve, state.WEATHER_AGE_S, share)
        for slot in ticks.GIVEN_COLUMNS:
            samples[k] = given.now(tank[1], slot, age_s)
            k += 1
        for slot in ticks.MEMORY_COLUMNS:
            samples[k] = float(board[0][slot])
            k += 1
        used[ticks.SAMPLES_USED] += 1
        own[SAMPLED] = tick
        tick += SAMPLE_TICKS


def control(
    tank: Tank,
    board: Board,
    observer: Observer,
    sense: IntRecord,
    log: Log,
    skip: Skip,
    tick: int,
) -> bool:
    """Do one control tick at the present state; return whether something else is driven now."""
    x, u, _, _, t = tank
    memory, settings, readings, has_controller = board
    own, before, watch, _, _, _ = skip
    events, _, used, counts, _, _ = log
    relay, pump, fan = u[given.COMPRESSOR_RELAY], u[given.PUMP_DUTY], u[given.FAN_DUTY]
    live = sense[sense_slot.RELAY_LIVE]
    sense_taps(tank, skip)
    out = 0
    own[DONE] = tick
    own[FOLLOWED] = tick
    own[WAKE] = skip_scan.NEVER
    own[SCANS] += 1
    if has_controller[0]:
        if t[tap.POWERED] > 0.5:
            if not counts[gauge.ALIVE]:
                ticks.board_on(memory, observer[0], counts)
            for slot in range(cell.SIZE):
                before[slot] = memory[slot]
            sensing.read(readings, settings, sense, x, u, t, tick)
            out = controller.step(memory, settings, readings)
            observe.observe(observer[0], memory, settings, readings, out, observer[1], observer[2])
            own[SEEN] = tick
            own[WAKE] = tick + 1
            if not changed(memory, before):
                own[WAKE] = skip_scan.next_wake(memory, settings, readings, sense, watch, tick)
        elif counts[gauge.ALIVE]:
            ticks.board_off(memory, readings, counts)
        own[COUNTED] = tick - 1
        count_states(board, log, skip, tick)
        ticks.cut_out(sense, x)
        ticks.drive(u, settings, sense, out)
        if counts[gauge.ALIVE] and sense[sense_slot.RELAY_LIVE] != live:
            own[WAKE] = tick + 1  # the contact behind the relay shows it at the next tick
    gauge.motor(counts, u[given.COMPRESSOR_RELAY] > 0.5 and u[given.MAINS] > 0.5, tick)
    ticks.note_event(events, used, memory, counts[gauge.ALIVE], tick * TICK_MS)
    return bool(
        relay != u[given.COMPRESSOR_RELAY] or pump != u[given.PUMP_DUTY] or fan != u[given.FAN_DUTY]
    )


def gauge_tick(tank: Tank, board: Board, log: Log, skip: Skip, tick: int) -> None:
    """Gauge one tick at the present state."""
    x, u, _, _, t = tank
    least = board[1][setting.FLOW_LEAST_ML_MIN] / 1000.0
    gauge.watch(log[3], log[5], x, u, t, least, tick)
    skip[0][GAUGED] = tick


def turning(tank: Tank) -> bool:
    """Whether the pump turns."""
    return bool(tank[1][given.PUMP_DUTY] * tank[4][tap.POWERED] > 0.0)


def gauge_to(
    board: Board, log: Log, curve: FloatRecord, skip: Skip, last: int, pumping: bool
) -> None:
    """Gauge all ticks of the step up to a tick; ``pumping``: whether the pump turned there."""
    own = skip[0]
    least = board[1][setting.FLOW_LEAST_ML_MIN] / 1000.0
    skip_gauge.span(curve, log[3], log[5], pumping, least, own[GAUGED] + 1, last)
    own[GAUGED] = max(own[GAUGED], last)


def switch_tick(curve: FloatRecord, u: FloatRecord, p: FloatRecord, first: int, last: int) -> int:
    """Return the first tick at which protector or battery switches, NEVER if none does."""
    opened = curve[state.OVERLOAD_OPEN] > 0.5
    low, high = skip_dense.hull(curve, state.WINDING_C)
    thermal = low <= p[param.OVERLOAD_RESET_C] if opened else high >= p[param.OVERLOAD_TRIP_C]
    on_battery = (
        u[given.MAINS] < 0.5 and p[param.BATTERY_KIND] > 0.5 and curve[state.BATTERY_CUT] < 0.5
    )
    if not thermal and not on_battery:
        return skip_scan.NEVER
    for tick in range(first, last + 1):
        share = skip_dense.share_at(curve, tick)
        winding_c = skip_dense.value(curve, state.WINDING_C, share)
        if opened and winding_c <= p[param.OVERLOAD_RESET_C]:
            return tick
        if not opened and winding_c >= p[param.OVERLOAD_TRIP_C]:
            return tick
        if on_battery:
            idle_s = skip_dense.value(curve, state.BATTERY_LOW_LOAD_S, share)
            if idle_s >= p[param.BATTERY_LOW_LOAD_LIMIT_S]:
                return tick
            if skip_dense.value(curve, state.BATTERY_WH, share) <= 0.0:
                return tick
    return skip_scan.NEVER


def begin(tank: Tank, pilot: skip_step.Pilot) -> None:
    """Start the plant anew from its present state."""
    x, u, p, _, t = tank
    x0, f0, _, _ = pilot[0]
    switch(x, u, p, t)
    for slot in range(state.SIZE):
        x0[slot] = x[slot]
    rates(x0, u, p, f0, pilot[2])
    pilot[7][skip_step.EVALUATIONS] += 1


def go_on(tank: Tank, pilot: skip_step.Pilot) -> None:
    """Begin the next step where the last one ended."""
    x = tank[0]
    x0, f0, x1, f1 = pilot[0]
    taps_0, taps_1 = pilot[2], pilot[3]
    for slot in range(state.SIZE):
        x[slot] = x1[slot]
        x0[slot] = x1[slot]
        f0[slot] = f1[slot]
    for slot in range(tap.SIZE):
        taps_0[slot] = taps_1[slot]


def first_wake(
    tank: Tank,
    board: Board,
    sense: IntRecord,
    curve: FloatRecord,
    skip: Skip,
    first: int,
    last: int,
) -> int:
    """Return the first tick from ``first`` to ``last`` to step the controller at, else NEVER."""
    own, _, watch, flags, _, _ = skip
    u, p, settings, readings = tank[1], tank[2], board[1], board[2]
    if own[WAKE] <= first:
        return first if first <= last else skip_scan.NEVER
    end = min(last, own[WAKE] - 1)
    asleep = own[WAKE] < skip_scan.NEVER
    if asleep and skip_scan.arm(curve, u, p, settings, sense, watch, flags, first, last):
        for tick in range(first, end + 1):
            if skip_scan.outside(curve, u, p, sense, readings, watch, flags, tick):
                return tick
    return own[WAKE] if own[WAKE] <= last else skip_scan.NEVER


def catch_up(
    tank: Tank,
    board: Board,
    observer: Observer,
    sense: IntRecord,
    log: Log,
    curve: FloatRecord,
    skip: Skip,
    last: int,
    show: bool,
) -> None:
    """Catch up with the ticks up to ``last``, at which nothing could change."""
    own = skip[0]
    memory, settings, readings, _ = board
    sample_to(tank, board, log, curve, skip, last)
    if not board[3][0]:
        return
    if last > own[COUNTED]:
        count_states(board, log, skip, last)
    if not log[3][gauge.ALIVE]:
        return
    if last > own[FOLLOWED]:
        skip_follow.follow(curve, memory, settings, readings, sense, own[FOLLOWED], last)
        own[FOLLOWED] = last
    if show and own[SEEN] < last and last * TICK_MS >= curve[skip_dense.BEGIN_MS]:
        skip_dense.fill(curve, skip_dense.share_at(curve, last), tank[0])
        see(tank, board, observer, sense, skip, last)


def walk(
    tank: Tank,
    board: Board,
    observer: Observer,
    sense: IntRecord,
    log: Log,
    curve: FloatRecord,
    skip: Skip,
    every: bool,
    first: int,
    last: int,
) -> int:
    """Step the controller where it must be; return the tick that cut the step, else NEVER."""
    tick = first
    while tick <= last:
        if not every:
            tick = first_wake(tank, board, sense, curve, skip, tick, last)
            if tick > last:
                break
        catch_up(tank, board, observer, sense, log, curve, skip, tick - 1, True)
        skip_dense.fill(curve, skip_dense.share_at(curve, tick), tank[0])
        pumping = turning(tank)
        if control(tank, board, observer, sense, log, skip, tick):
            gauge_to(board, log, curve, skip, tick - 1, pumping)
            gauge_tick(tank, board, log, skip, tick)
            sample_to(tank, board, log, curve, skip, tick)
            return tick
        tick += 1
    return skip_scan.NEVER


def run(
    tank: Tank,
    board: Board,
    observer: Observer,
    sense: IntRecord,
    log: Log,
    pilot: skip_step.Pilot,
    skip: Skip,
    from_ms: int,
    to_ms: int,
    every: bool,
) -> int:
    """Advance everything from ``from_ms`` to ``to_ms`` and return the time reached [ms].

    A control tick at ``from_ms`` is done unless it was, one at ``to_ms`` is left to the next call.
    The time reached is below ``to_ms`` only when a log is nearly full.

    Args:
        tank: as `ticks.run` takes it.
        board: as `ticks.run` takes it.
        observer: as `ticks.run` takes it.
        sense: as `ticks.run` takes it.
        log: as `ticks.run` takes it.
        pilot: records of the integration, filled by ``prepare``.
        skip: records of the skip, filled by ``prepare``.
        from_ms: ms since scenario start.
        to_ms: ms since scenario start.
        every: step the controller at every tick.
    """
    x, u, p, _, _ = tank
    own, curve = skip[0], pilot[5]
    used, sizes = log[2], log[4]
    now = from_ms
    afresh = True
    own[WAKE] = 0  # something outside has changed
    if now == 0:
        ticks.settle(tank)
    while now < to_ms:
        if used[ticks.EVENTS_USED] + ROOM_FOR_STEP >= sizes[ticks.EVENTS_USED]:
            return now
        if used[ticks.SAMPLES_USED] + ROOM_FOR_STEP >= sizes[ticks.SAMPLES_USED]:
            return now
        if now % TICK_MS == 0 and own[DONE] < now // TICK_MS:
            skip_dense.stand(curve, x, tank[4], now)
            control(tank, board, observer, sense, log, skip, now // TICK_MS)
            gauge_tick(tank, board, log, skip, now // TICK_MS)
            sample_to(tank, board, log, curve, skip, now // TICK_MS)
            afresh = True
        if afresh:
            begin(tank, pilot)
        end = skip_step.step(pilot, u, p, now, to_ms)
        first = now // TICK_MS + 1
        last = (min(end, to_ms - 1)) // TICK_MS
        switched = switch_tick(curve, u, p, first, last)
        if switched < skip_scan.NEVER:
            last = switched - 1
        cut = walk(tank, board, observer, sense, log, curve, skip, every, first, last)
        afresh = True
        if cut < skip_scan.NEVER:
            now = cut * TICK_MS
        elif switched < skip_scan.NEVER:
            catch_up(tank, board, observer, sense, log, curve, skip, last, True)
            gauge_to(board, log, curve, skip, last, turning(tank))
            skip_dense.fill(curve, skip_dense.share_at(curve, switched), x)
            now = switched * TICK_MS
            begin(tank, pilot)
            for slot in range(tap.SIZE):  # for a sample at this very tick
                tank[4][slot] = pilot[2][slot]
        else:
            catch_up(tank, board, observer, sense, log, curve, skip, last, end == to_ms)
            gauge_to(board, log, curve, skip, last, turning(tank))
            own[DONE] = last
            now = end
            go_on(tank, pilot)
            afresh = False
            continue
        skip_step.restart(pilot)
    return now
