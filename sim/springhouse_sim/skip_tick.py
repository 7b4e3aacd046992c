"""What is done at one tick of a skipped run, and how far each of these things is done.

The figures of ticks that nobody looked at are read off the curve of the step they lie in.
"""

from typing import NamedTuple

from springhouse import controller, setting
from springhouse import memory as cell

from springhouse_sim import gauge, sensing, skip_dense, skip_gauge, skip_scan, ticks
from springhouse_sim import sense as sense_slot
from springhouse_sim.plant import electricity, given, layers, spaces, state, tap
from springhouse_sim.records import FloatRecord, IntRecord
from springhouse_sim.ticks import SAMPLE_TICKS, TICK_MS, Board, Log, Observer, Tank
from springhouse_sim.watch import observe

# Slots of the skip's own record: the tick up to which each thing is done, the next one to step
# the controller at, and how often it was.
DONE, SEEN, FOLLOWED, COUNTED, GAUGED, SAMPLED, WAKE, SCANS, OWN = range(9)


class Skip(NamedTuple):
    """The skip's own record, memory before a step, bands, flags, and scratch for rates."""

    own: IntRecord
    before: IntRecord
    watch: IntRecord
    flags: IntRecord
    rates: FloatRecord


def sense_taps(tank: Tank, skip: Skip) -> None:
    """Bring the taps that sensors read up to the state: level, supply, battery, float."""
    x, u, p, t = tank.state, tank.given, tank.parameters, tank.taps
    scratch = skip.rates
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
    memory, settings, readings = board.memory, board.settings, board.readings
    sense_taps(tank, skip)
    sensing.read(readings, settings, sense, tank.state, tank.given, tank.taps, tick)
    observe.observe(
        observer.shadow,
        memory,
        settings,
        readings,
        memory[cell.OUT],
        observer.cases,
        observer.violations,
    )
    skip.own[SEEN] = tick


def count_states(board: Board, log: Log, skip: Skip, last: int) -> None:
    """Count the seconds in the states up to a tick."""
    own, counts, memory = skip.own, log.counts, board.memory
    if board.present[0] and counts[gauge.ALIVE]:
        counts[gauge.STORE_STATE_S_0 + memory[cell.STORE_STATE]] += last - own[COUNTED]
        counts[gauge.ROOM_STATE_S_0 + memory[cell.ROOM_STATE]] += last - own[COUNTED]
    own[COUNTED] = last


def sample_to(
    tank: Tank, board: Board, log: Log, curve: FloatRecord, skip: Skip, last: int
) -> None:
    """Write the minute samples up to a tick from the curve."""
    own, used, samples = skip.own, log.used, log.samples
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
            samples[k] = given.now(tank.given, slot, age_s)
            k += 1
        for slot in ticks.MEMORY_COLUMNS:
            samples[k] = float(board.memory[slot])
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
    x, u, t = tank.state, tank.given, tank.taps
    memory, settings, readings, has_controller = board
    own, before, watch = skip.own, skip.before, skip.watch
    events, used, counts = log.events, log.used, log.counts
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
                ticks.board_on(memory, observer.shadow, counts)
            for slot in range(cell.SIZE):
                before[slot] = memory[slot]
            sensing.read(readings, settings, sense, x, u, t, tick)
            out = controller.step(memory, settings, readings)
            observe.observe(
                observer.shadow,
                memory,
                settings,
                readings,
                out,
                observer.cases,
                observer.violations,
            )
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
    x, u, t = tank.state, tank.given, tank.taps
    least = board.settings[setting.FLOW_LEAST_ML_MIN] / 1000.0
    gauge.watch(log.counts, log.peaks, x, u, t, least, tick)
    skip.own[GAUGED] = tick


def turning(tank: Tank) -> bool:
    """Whether the pump turns."""
    return bool(tank.given[given.PUMP_DUTY] * tank.taps[tap.POWERED] > 0.0)


def gauge_to(
    board: Board, log: Log, curve: FloatRecord, skip: Skip, last: int, pumping: bool
) -> None:
    """Gauge all ticks of the step up to a tick; ``pumping``: whether the pump turned there."""
    own = skip.own
    least = board.settings[setting.FLOW_LEAST_ML_MIN] / 1000.0
    skip_gauge.span(curve, log.counts, log.peaks, pumping, least, own[GAUGED] + 1, last)
    own[GAUGED] = max(own[GAUGED], last)
