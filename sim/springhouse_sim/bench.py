"""Couples plant, controller and world in one SimPy environment.

SimPy conducts. World processes act on the records at half ticks; between two of their events one
call of `ticks.run` advances plant, sensors, controller and observer together. Plant and controller
text is the same whether compiled or not.

At the plain pace the plant is advanced by one step of Heun's method a control tick (1 s). Its
fastest time constant is 3 s (flow), so the step is a third of it. Against steps of a quarter
second, two busy days differ by at most 0.004 K (coil, just after switching; store and room
0.001 K) and no transition moves. The other two paces share one adaptive grid, see `skip.py`.
"""

from array import array
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from typing import TypeAlias

import numpy as np
import simpy
from numpy.typing import NDArray
from springhouse import memory as cell
from springhouse import near, reading, setting

from . import compiled, gauge, skip, skip_dense, skip_scan, skip_step, skip_tick, ticks
from . import sense as sense_slot
from .plant import given, integrate, tap
from .plant import state as state_slot
from .plant.plant import Plant
from .records import FloatRecord, IntRecord
from .trace import Trace
from .watch import observe, shadow
from .world.stage import DAY_MS, MINUTE_MS, TICK_MS, Actor, Calendar, Events, Stage
from .world.tariff import Meter, Prices

WATER_FROM_C, WATER_TO_C = -60.0, 110.0  # beyond these the plant's equations have broken down

EVENT_ROWS = 1024
SAMPLE_ROWS = 4096  # where they are handed on
MOST_SAMPLE_ROWS = 300_000  # of a run that keeps them: 200 days in one piece, 100 MB
LARGEST_SEED = 2**31 - 1
LAST_TICK = 2**30 - 1
SKIP_NOISE_MK = 2000  # with more, chance alone could make a probe jump out of its trust


class Pace(Enum):
    """How a run gets from tick to tick.

    ``PLAIN``: controller and one fixed step of the plant each second. ``EVERY_TICK``: long adaptive
    steps of the plant, controller each second. ``SKIP``: the same steps, controller only where it
    could change its mind.
    """

    PLAIN = "plain"
    EVERY_TICK = "every tick"
    SKIP = "skip"


@dataclass(frozen=True)
class World:
    """What surrounds the installation: the calendar, who acts, and what electricity costs."""

    calendar: Calendar
    actors: tuple[Actor, ...]
    tariff: Prices


@lru_cache(maxsize=32)
def parameters(plant: Plant) -> NDArray[np.float64]:
    """Return the parameter record of a plant, built once for all its scenarios."""
    p = plant.params()
    p.flags.writeable = False
    return p


# Takes event rows, shape (n, ticks.EVENT_SIZE), and sample rows, shape (n, ticks.COLUMNS).
OnRows: TypeAlias = Callable[[NDArray[np.int64], NDArray[np.float64]], None]


class _Log:
    """Preallocated logs of a run, emptied into lists of arrays, or handed on, when one is full."""

    def __init__(self, code: compiled.Code) -> None:
        self.on_rows: OnRows | None = None
        self.events = code.longs(EVENT_ROWS * ticks.EVENT_SIZE)
        self.samples = code.zeros(0)
        self.used = code.ints(ticks.USED)
        self.counts = code.longs(gauge.COUNTS)
        self.sizes = code.ints(ticks.USED)
        self.sizes[ticks.EVENTS_USED] = EVENT_ROWS
        self.peaks = code.zeros(gauge.PEAKS)
        gauge.clear(self.counts, self.peaks)
        self.event_chunks = [np.zeros((0, ticks.EVENT_SIZE), np.int64)]
        self.sample_chunks: list[NDArray[np.float64]] = []
        self._kept = 0  # 1 once row 0 of the events repeats a row already taken away

    def open(self, code: compiled.Code, minutes: int, on_rows: OnRows | None) -> None:
        """Make room for a run of some minutes; no more than a little if its rows are handed on."""
        self.on_rows = on_rows
        rows = min(minutes + skip.ROOM_FOR_STEP + 1, MOST_SAMPLE_ROWS)
        if on_rows is not None:
            rows = SAMPLE_ROWS
        self.samples = code.zeros(rows * ticks.COLUMNS)
        self.sizes[ticks.SAMPLES_USED] = rows

    @property
    def records(self) -> ticks.Plain:
        """Return a `ticks.Log` without its name."""
        return (self.events, self.samples, self.used, self.counts, self.sizes, self.peaks)

    def all_samples(self) -> NDArray[np.float64]:
        """Return all rows that were kept, shape (minutes, ticks.COLUMNS)."""
        if len(self.sample_chunks) == 1:
            return self.sample_chunks[0]
        return np.concatenate([np.zeros((0, ticks.COLUMNS)), *self.sample_chunks])

    def empty(self, at_end: bool = False) -> None:
        """Take rows away; the last event stays as row 0, to be compared with.

        Samples that are kept stay where they are until there is no more room; ``at_end`` nothing
        is written any more, so they need not be copied.
        """
        new_events = self._take_events()
        rows = self.used[ticks.SAMPLES_USED]
        room = rows + skip.ROOM_FOR_STEP < self.sizes[ticks.SAMPLES_USED]
        if self.on_rows is None and room and not at_end:
            self.event_chunks.append(new_events)
            return
        part = np.asarray(self.samples[: rows * ticks.COLUMNS], np.float64)
        new_samples = (part if at_end else part.copy()).reshape(-1, ticks.COLUMNS)
        self.used[ticks.SAMPLES_USED] = 0
        if self.on_rows is not None:
            self.on_rows(new_events, new_samples)
        else:
            self.event_chunks.append(new_events)
            self.sample_chunks.append(new_samples)

    def _take_events(self) -> NDArray[np.int64]:
        rows = self.used[ticks.EVENTS_USED]
        flat = np.array(self.events[: rows * ticks.EVENT_SIZE], np.int64)
        new_events = flat.reshape(-1, ticks.EVENT_SIZE)[self._kept :]
        if rows:
            self.events[: ticks.EVENT_SIZE] = self.events[
                (rows - 1) * ticks.EVENT_SIZE : rows * ticks.EVENT_SIZE
            ]
            self._kept = 1
        self.used[ticks.EVENTS_USED] = self._kept
        return new_events


def _plain(record: ticks.Plain) -> ticks.Plain:
    """Return a record, and those in it, without names: doors are called faster with such."""
    return tuple(_plain(part) if isinstance(part, tuple) else part for part in record)


class Bench:
    """One installation in one world, ready for one run.

    Args:
        plant: the described installation.
        settings: settings record, `setting.SIZE` integers.
        world: calendar, actors, tariff.
        sensors: how the real sensors err.
        given_slots: slots of the given record that hold throughout, e.g. a weaker compressor.
        initial: state to begin from, shape (state.SIZE,), else the plant's own.
        seed: seed of sensor noise.
        tick_origin: tick of the board's clock at the start, 0 to 2**30 - 1.
        with_controller: False leaves compressor, pump and fans off: the room without the store.
        compile_ticks: False runs the same text interpreted.
        pace: how the run gets from tick to tick.

    The flat records of the run are in ``tank``, ``board``, ``observer`` and ``sense``, as
    `ticks.advance` takes them.

    Raises:
        ValueError: naming the first setting that is out of bounds, a bad seed or origin, or noise
            that is too great to skip.
    """

    def __init__(
        self,
        plant: Plant,
        settings: Sequence[int],
        world: World,
        *,
        sensors: sense_slot.Sensors | None = None,
        given_slots: Mapping[int, float] | None = None,
        initial: NDArray[np.float64] | None = None,
        seed: int = 0,
        tick_origin: int = 0,
        with_controller: bool = True,
        compile_ticks: bool = True,
        pace: Pace = Pace.PLAIN,
    ) -> None:
        asked = array("i", settings)
        if len(asked) != setting.SIZE or setting.first_fault(asked) >= 0:
            raise ValueError(f"settings: slot {setting.first_fault(asked)} is out of bounds")
        if not 0 <= seed <= LARGEST_SEED or not 0 <= tick_origin <= LAST_TICK:
            raise ValueError(f"Bench: seed {seed} or tick_origin {tick_origin} is out of range")
        if pace is not Pace.PLAIN and (sensors or sense_slot.Sensors()).noise_mk > SKIP_NOISE_MK:
            raise ValueError(f"Bench: noise over {SKIP_NOISE_MK} mK needs the plain pace")
        self.world = world
        self.seed = seed
        self.pace = pace
        self.code = compiled.load(compile_ticks)
        state = plant.initial() if initial is None else initial
        given_values = given.neutral_given()
        for slot, value in (given_slots or {}).items():
            given_values[slot] = value
        self.tank = ticks.Tank(
            self.code.floats(state),
            self.code.floats(given_values),
            self.code.floats(parameters(plant)),
            self.code.zeros(integrate.work_size()),
            self.code.zeros(tap.SIZE),
        )
        self.board = self._make_board(settings, with_controller)
        self.observer = ticks.Observer(
            self.code.longs(shadow.SIZE),
            self.code.longs(observe.COUNTS),
            self.code.longs(observe.COUNTS),
        )
        self.sense = self._make_sense(sensors or sense_slot.Sensors(), seed, tick_origin)
        self._log = _Log(self.code)
        self.pilot, self.skip = self._make_skip()
        self._ran = False

    def _make_board(self, settings: Sequence[int], with_controller: bool) -> ticks.Board:
        present = self.code.ints(1)
        present[0] = int(with_controller)
        held = self.code.ints(setting.SIZE)
        for slot, value in enumerate(settings):
            held[slot] = value
        size = near.SIZE if self.pace is Pace.SKIP else reading.SIZE
        return ticks.Board(self.code.ints(cell.SIZE), held, self.code.ints(size), present)

    def _make_sense(self, sensors: sense_slot.Sensors, seed: int, tick_origin: int) -> IntRecord:
        sense = self.code.ints(sense_slot.SIZE)
        sense_slot.fill_neutral(sense)
        sensors.put(sense)
        sense[sense_slot.SEED] = seed
        sense[sense_slot.TICK_ORIGIN_MS] = tick_origin
        sense[sense_slot.CLOCK_S] = self.world.calendar.week_s()
        return sense

    def _make_skip(self) -> tuple[skip_step.Pilot, skip_tick.Skip]:
        code = self.code
        states = [code.zeros(state_slot.SIZE) for _ in range(14)]
        taps = [code.zeros(tap.SIZE) for _ in range(3)]
        pilot = skip_step.Pilot(
            skip_step.Ends(states[0], states[1], states[2], states[3]),
            skip_step.Scratch(states[4], states[5], states[6], taps[2]),
            taps[0],
            taps[1],
            code.zeros(skip_step.MODES * state_slot.SIZE),
            code.zeros(skip_dense.SIZE),
            code.zeros(skip_step.NUMBERS),
            code.longs(skip_step.MARKS),
            (states[8], states[9], states[10], states[11], states[12], states[13]),
        )
        own = skip_tick.Skip(
            code.longs(skip_tick.OWN),
            code.ints(cell.SIZE),
            code.ints(2 * reading.SIZE),
            code.ints(skip_scan.FLAGS),
            states[7],
        )
        skip.prepare(own, pilot)
        return pilot, own

    def run(
        self,
        days: float,
        on_progress: Callable[[float], None] | None = None,
        on_rows: OnRows | None = None,
    ) -> Trace:
        """Run once and return what it left.

        Args:
            days: length; rounded to whole control ticks.
            on_progress: called now and then with the share done, 0 to 1.
            on_rows: takes the logs whenever one is full and at the end. They are then not kept, so
                that memory stays flat over years; the trace has none.

        Raises:
            RuntimeError: on a second call; a bench is used up by its run.
            ArithmeticError: when the store leaves what its equations hold for.
        """
        if self._ran:
            raise RuntimeError("a bench runs once; make another")
        self._ran = True
        x, u = self.tank.state, self.tank.given
        begun = np.array(x, np.float64)
        end_ms = round(days * DAY_MS / TICK_MS) * TICK_MS
        self._log.open(self.code, end_ms // MINUTE_MS, on_rows)
        self._records = (
            _plain((self.tank, self.board, self.observer)),
            _plain((self.pilot, self.skip)),
        )
        env = simpy.Environment()
        stage = Stage(env, u, self.sense, x, self.world.calendar)
        meter = Meter(self.world.tariff)
        for actor in (meter, *self.world.actors):
            env.process(actor.act(stage))
        env.run(env.process(self._conduct(env, end_ms, on_progress)))
        meter.close(float(x[state_slot.MAINS_J]), end_ms / DAY_MS)
        self._log.empty(at_end=True)
        return self._trace(end_ms, begun, x, meter)

    def _conduct(
        self, env: simpy.Environment, end_ms: int, on_progress: Callable[[float], None] | None
    ) -> Events:
        """Advance plant and controller up to each next outside event, then let it happen."""
        while env.now < end_ms:
            until = int(min(env.peek(), end_ms))
            self._advance(int(env.now), until)
            water_c = self.tank.state[state_slot.WATER_C]
            if not WATER_FROM_C < water_c < WATER_TO_C:  # or is no number
                days = until / DAY_MS
                raise ArithmeticError(f"store at {water_c:g} °C after {days:.1f} days of the run")
            if on_progress is not None:
                on_progress(until / end_ms)
            yield env.timeout(until - int(env.now))

    def _advance(self, from_ms: int, to_ms: int) -> None:
        whole, skipping = self._records
        kept = (self.sense, self._log.records)
        while from_ms < to_ms:
            if self.pace is Pace.PLAIN:
                from_ms = self.code.sim("ticks").run(*whole, *kept, from_ms, to_ms)
            else:
                every = self.pace is Pace.EVERY_TICK
                run = self.code.sim("skip").run
                from_ms = run(*whole, *kept, *skipping, from_ms, to_ms, every)
            if from_ms < to_ms:
                self._log.empty()

    def _trace(
        self, end_ms: int, begun: NDArray[np.float64], x: FloatRecord, meter: Meter
    ) -> Trace:
        log = self._log
        return Trace(
            calendar=self.world.calendar,
            end_ms=end_ms,
            seed=self.seed,
            settings=array("i", (int(v) for v in self.board.settings)),
            events=np.concatenate(log.event_chunks),
            samples=log.all_samples(),
            counts=np.array(log.counts, np.int64),
            peaks=np.array(log.peaks, np.float64),
            begun=begun,
            ended=np.array(x, np.float64),
            kwh_by_rate=dict(meter.kwh),
            cost=meter.cost,
            cases=np.array(self.observer.cases, np.int64),
            violations=np.array(self.observer.violations, np.int64),
        )
