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

from springhouse_sim import gauge, skip_dense, skip_follow, skip_scan, skip_step, ticks
from springhouse_sim.plant import given, param, state, tap
from springhouse_sim.plant.rates import rates, switch
from springhouse_sim.records import FloatRecord, IntRecord
from springhouse_sim.skip_tick import (
    COUNTED,
    DONE,
    FOLLOWED,
    SEEN,
    WAKE,
    Skip,
    control,
    count_states,
    gauge_tick,
    gauge_to,
    sample_to,
    see,
    turning,
)
from springhouse_sim.ticks import TICK_MS, Board, Log, Observer, Plain, Tank

ROOM_FOR_STEP = skip_step.LONGEST_MS // TICK_MS + 2  # rows that one step may write


def prepare(skip: Skip, pilot: skip_step.Pilot) -> None:
    """Fill the zeroed records before a run."""
    own = skip.own
    for slot in range(WAKE):
        own[slot] = -1
    skip_step.prepare(pilot)


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
    x, u, p, t = tank.state, tank.given, tank.parameters, tank.taps
    x0, f0 = pilot.ends.begin, pilot.ends.begin_rates
    switch(x, u, p, t)
    for slot in range(state.SIZE):
        x0[slot] = x[slot]
    rates(x0, u, p, f0, pilot.taps_begin)
    pilot.marks[skip_step.EVALUATIONS] += 1


def go_on(tank: Tank, pilot: skip_step.Pilot) -> None:
    """Begin the next step where the last one ended."""
    x = tank.state
    x0, f0, x1, f1 = pilot.ends
    taps_0, taps_1 = pilot.taps_begin, pilot.taps_end
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
    own, watch, flags = skip.own, skip.watch, skip.flags
    u, p, settings, readings = tank.given, tank.parameters, board.settings, board.readings
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
    own = skip.own
    memory, settings, readings = board.memory, board.settings, board.readings
    sample_to(tank, board, log, curve, skip, last)
    if not board.present[0]:
        return
    if last > own[COUNTED]:
        count_states(board, log, skip, last)
    if not log.counts[gauge.ALIVE]:
        return
    if last > own[FOLLOWED]:
        skip_follow.follow(curve, memory, settings, readings, sense, own[FOLLOWED], last)
        own[FOLLOWED] = last
    if show and own[SEEN] < last and last * TICK_MS >= curve[skip_dense.BEGIN_MS]:
        skip_dense.fill(curve, skip_dense.share_at(curve, last), tank.state)
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
        skip_dense.fill(curve, skip_dense.share_at(curve, tick), tank.state)
        pumping = turning(tank)
        if control(tank, board, observer, sense, log, skip, tick):
            gauge_to(board, log, curve, skip, tick - 1, pumping)
            gauge_tick(tank, board, log, skip, tick)
            sample_to(tank, board, log, curve, skip, tick)
            return tick
        tick += 1
    return skip_scan.NEVER


def advance(
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
        tank: as `ticks.advance` takes it.
        board: as `ticks.advance` takes it.
        observer: as `ticks.advance` takes it.
        sense: as `ticks.advance` takes it.
        log: as `ticks.advance` takes it.
        pilot: records of the integration, filled by ``prepare``.
        skip: records of the skip, filled by ``prepare``.
        from_ms: ms since scenario start.
        to_ms: ms since scenario start.
        every: step the controller at every tick.
    """
    x, u, p = tank.state, tank.given, tank.parameters
    own, curve = skip.own, pilot.curve
    used, sizes = log.used, log.sizes
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
            skip_dense.stand(curve, x, tank.taps, now)
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
                tank.taps[slot] = pilot.taps_begin[slot]
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


def run(
    tank: Plain,
    board: Plain,
    observer: Plain,
    sense: IntRecord,
    log: Plain,
    pilot: Plain,
    skip: Plain,
    from_ms: int,
    to_ms: int,
    every: bool,
) -> int:
    """Do `advance` on records without names, as `ticks.run` takes them."""
    named = (Tank(*tank), Board(*board), Observer(*observer))
    flying = skip_step.Pilot(skip_step.Ends(*pilot[0]), skip_step.Scratch(*pilot[1]), *pilot[2:])
    return advance(*named, sense, Log(*log), flying, Skip(*skip), from_ms, to_ms, every)
