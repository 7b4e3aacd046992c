"""The tick loop: plant, sensors, controller and observer between two outside events.

``run`` is the only thing the bench calls in a run. It and everything below it is plain text over
flat records, so it runs compiled or not with the same results.
"""

from typing import Any, NamedTuple, TypeAlias

from springhouse import controller, output, reading, restart, setting
from springhouse import memory as cell

from springhouse_sim import gauge, sensing
from springhouse_sim import sense as sense_slot
from springhouse_sim.plant import given, integrate, rates, state, tap
from springhouse_sim.records import FloatRecord, IntRecord
from springhouse_sim.watch import observe

TICK_MS = 1000
SAMPLE_TICKS = 60

# What a sample row holds: these slots of the plant state, ...
STATE_COLUMNS = (
    *range(state.WATER_C, state.WATER_C + state.LAYERS),
    state.STORE_LOW_PROBE_C,
    state.STORE_HIGH_PROBE_C,
    state.EVAPORATOR_C,
    state.WINDING_C,
    state.PLACE_C,
    state.FLOW_L_MIN,
    state.COIL_C,
    state.ROOM_AIR_C,
    state.ROOM_MASS_C,
    state.ROOM_PROBE_C,
    state.ROOM_HUMIDITY_RATIO,
    state.TRAY_L,
    state.BATTERY_WH,
    state.MAINS_J,
    state.CONDENSATE_KG,
)
# ... of the taps, ...
TAP_COLUMNS = (
    tap.STORE_MEAN_C,
    tap.ICE_KG,
    tap.WALL_MIN_C,
    tap.CAPACITY_W,
    tap.FREEZER_W,
    tap.COIL_IN_C,
    tap.COIL_OUT_C,
    tap.AIR_OFF_C,
    tap.COIL_SENSIBLE_W,
    tap.COIL_LATENT_W,
    tap.MAINS_W,
)
# ... of the given record ...
GIVEN_COLUMNS = (
    given.MAINS,
    given.OUTDOOR_C,
    given.PRESSURE_PA,
    given.SUN_W,
    given.PEOPLE_SENSIBLE_W,
    given.EQUIPMENT_W,
)
# ... and of the controller's memory. The first column is the time, s since scenario start.
MEMORY_COLUMNS = (cell.STORE_STATE, cell.ROOM_STATE, cell.OUT)
COLUMNS = 1 + len(STATE_COLUMNS) + len(TAP_COLUMNS) + len(GIVEN_COLUMNS) + len(MEMORY_COLUMNS)

# An event row: the tick and what the controller became at it.
(
    AT_MS,
    STORE_STATE,
    ROOM_STATE,
    OUT,
    LATCH,
    MODE,
    ALIVE,
    STORE_WORD,
    ROOM_WORD,
    LOCK_WORD,
    EVENT_SIZE,
) = range(11)
EVENT_KEYS = STORE_WORD  # a change of any slot between AT_MS and here makes an event

# Fill levels of the two logs, in rows.
EVENTS_USED, SAMPLES_USED, USED = range(3)


Plain: TypeAlias = tuple[Any, ...]  # one of the following without its name, as a door takes it


class Tank(NamedTuple):
    """The plant: its flat records, see `plant.state`, `given`, `param`, `integrate`, `tap`."""

    state: FloatRecord
    given: FloatRecord
    parameters: FloatRecord
    scratch: FloatRecord
    taps: FloatRecord


class Board(NamedTuple):
    """The controller's three records; ``present`` holds a 1 if there is a controller at all."""

    memory: IntRecord
    settings: IntRecord
    readings: IntRecord
    present: IntRecord


class Observer(NamedTuple):
    """What the observer keeps, and how often each invariant had a case and was broken."""

    shadow: IntRecord
    cases: IntRecord
    violations: IntRecord


class Log(NamedTuple):
    """Rows of events and samples, how many are used and fit of each, counts and peaks."""

    events: IntRecord
    samples: FloatRecord
    used: IntRecord
    counts: IntRecord
    sizes: IntRecord
    peaks: FloatRecord


def settle(tank: Tank) -> None:
    """Make the taps belong to state and world, before the first tick."""
    x, u, p, work, t = tank
    rates.switch(x, u, p, t)
    rates.rates(x, u, p, work[: state.SIZE], t)


def board_off(memory: IntRecord, readings: IntRecord, counts: IntRecord) -> None:
    """Let the board lose its supply: nothing is driven, nothing remembered but what is kept."""
    counts[gauge.ALIVE] = 0
    restart.forget(memory, readings[reading.NOW_MS])


def board_on(memory: IntRecord, shadow: IntRecord, counts: IntRecord) -> None:
    """Let the board start."""
    counts[gauge.ALIVE] = 1
    counts[gauge.BOOTS] += 1
    if counts[gauge.BOOTS] == 1:
        controller.power_up(memory)
        observe.clear(shadow)
    else:
        observe.reboot(shadow)


def cut_out(sense: IntRecord, x: FloatRecord) -> None:
    """Move the independent freeze cut-out: a bulb at the high probe, no software."""
    bulb_mc = x[state.STORE_HIGH_PROBE_C] * 1000.0
    if bulb_mc <= sense[sense_slot.CUT_OUT_OPENS_MC]:
        sense[sense_slot.CUT_OUT_OPEN] = 1
    elif bulb_mc >= sense[sense_slot.CUT_OUT_CLOSES_MC]:
        sense[sense_slot.CUT_OUT_OPEN] = 0


def drive(u: FloatRecord, settings: IntRecord, sense: IntRecord, out: int) -> None:
    """Turn output bits into what the plant is given, faults of the relay included."""
    closed = out & output.COMPRESSOR != 0 and sense[sense_slot.RELAY_DEAD] == 0
    if sense[sense_slot.RELAY_WELDED]:
        closed = True
    sense[sense_slot.RELAY_LIVE] = 1 if closed else 0
    if sense[sense_slot.CUT_OUT_OPEN] or sense[sense_slot.UNPLUGGED]:
        closed = False
    u[given.COMPRESSOR_RELAY] = 1.0 if closed else 0.0
    u[given.PUMP_DUTY] = 1.0 if out & output.PUMP else 0.0
    duty_pm = 0
    if out & output.FAN:
        duty_pm = (
            settings[setting.FAN_FULL_PM]
            if out & output.FAN_FULL
            else settings[setting.FAN_QUIET_PM]
        )
    u[given.FAN_DUTY] = duty_pm / 1000.0


def note_event(events: IntRecord, used: IntRecord, memory: IntRecord, alive: int, ms: int) -> None:
    """Write an event row if states, outputs, latches, mode or supply differ from the last row.

    The first row is written in any case; after the log was emptied, row 0 is the last row kept.
    """
    row = used[EVENTS_USED] * EVENT_SIZE
    events[row + AT_MS] = ms
    events[row + STORE_STATE] = memory[cell.STORE_STATE]
    events[row + ROOM_STATE] = memory[cell.ROOM_STATE]
    events[row + OUT] = memory[cell.OUT]
    events[row + LATCH] = memory[cell.LATCH]
    events[row + MODE] = memory[cell.MODE]
    events[row + ALIVE] = alive
    events[row + STORE_WORD] = memory[cell.STORE_WORD]
    events[row + ROOM_WORD] = memory[cell.ROOM_WORD]
    events[row + LOCK_WORD] = memory[cell.LOCK_WORD]
    if row == 0:
        used[EVENTS_USED] = 1
        return
    before = row - EVENT_SIZE
    for slot in range(AT_MS + 1, EVENT_KEYS):
        if events[row + slot] != events[before + slot]:
            used[EVENTS_USED] += 1
            return


def note_sample(
    samples: FloatRecord,
    used: IntRecord,
    x: FloatRecord,
    u: FloatRecord,
    t: FloatRecord,
    memory: IntRecord,
    ms: int,
) -> None:
    """Write a sample row."""
    k = used[SAMPLES_USED] * COLUMNS
    samples[k] = ms / 1000.0
    k += 1
    for slot in STATE_COLUMNS:
        samples[k] = x[slot]
        k += 1
    for slot in TAP_COLUMNS:
        samples[k] = t[slot]
        k += 1
    for slot in GIVEN_COLUMNS:
        samples[k] = given.now(u, slot, x[state.WEATHER_AGE_S])
        k += 1
    for slot in MEMORY_COLUMNS:
        samples[k] = float(memory[slot])
        k += 1
    used[SAMPLES_USED] += 1


def control(
    tank: Tank, board: Board, observer: Observer, sense: IntRecord, log: Log, ms: int
) -> None:
    """Do one control tick: sense, decide, observe, drive, record."""
    x, u, t = tank.state, tank.given, tank.taps
    memory, settings, readings, has_controller = board
    shadow, cases, violations = observer
    events, samples, used, counts, peaks = log.events, log.samples, log.used, log.counts, log.peaks
    tick = ms // TICK_MS
    out = 0
    if has_controller[0]:
        if t[tap.POWERED] > 0.5:
            if not counts[gauge.ALIVE]:
                board_on(memory, shadow, counts)
            sensing.read(readings, settings, sense, x, u, t, tick)
            out = controller.step(memory, settings, readings)
            observe.observe(shadow, memory, settings, readings, out, cases, violations)
            counts[gauge.STORE_STATE_S_0 + memory[cell.STORE_STATE]] += 1
            counts[gauge.ROOM_STATE_S_0 + memory[cell.ROOM_STATE]] += 1
        elif counts[gauge.ALIVE]:
            board_off(memory, readings, counts)
        cut_out(sense, x)
        drive(u, settings, sense, out)
    gauge.watch(counts, peaks, x, u, t, settings[setting.FLOW_LEAST_ML_MIN] / 1000.0, tick)
    note_event(events, used, memory, counts[gauge.ALIVE], ms)
    if tick % SAMPLE_TICKS == 0:
        note_sample(samples, used, x, u, t, memory, ms)


def advance(
    tank: Tank,
    board: Board,
    observer: Observer,
    sense: IntRecord,
    log: Log,
    from_ms: int,
    to_ms: int,
) -> int:
    """Advance everything from ``from_ms`` to ``to_ms`` and return the time reached [ms].

    A control tick at ``from_ms`` is done, one at ``to_ms`` is left to the next call. The time
    reached is below ``to_ms`` only when a log is full.

    Args:
        tank: the plant.
        board: the controller.
        observer: who watches it.
        sense: sensing record.
        log: what the run leaves.
        from_ms: ms since scenario start.
        to_ms: ms since scenario start.
    """
    x, u, p, work, t = tank
    used, sizes = log.used, log.sizes
    now = from_ms
    if now == 0:
        settle(tank)
    while now < to_ms:
        if now % TICK_MS == 0:
            # An event row is also written on trial, hence one to spare.
            if used[EVENTS_USED] + 1 >= sizes[EVENTS_USED]:
                return now
            if used[SAMPLES_USED] >= sizes[SAMPLES_USED]:
                return now
            control(tank, board, observer, sense, log, now)
        end = min(to_ms, now - now % TICK_MS + TICK_MS)
        integrate.advance(x, u, p, work, t, (end - now) * 0.001, 1)
        now = end
    return now


def run(
    tank: Plain,
    board: Plain,
    observer: Plain,
    sense: IntRecord,
    log: Plain,
    from_ms: int,
    to_ms: int,
) -> int:
    """Do `advance` on records without names, whose types numba tells in a third of the time."""
    named = (Tank(*tank), Board(*board), Observer(*observer))
    return advance(*named, sense, Log(*log), from_ms, to_ms)
