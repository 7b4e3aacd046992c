"""What a running board answers by itself: one routine a `Step.watch`.

Each returns values by the name of the step's asks; what it leaves out is asked of the person.
Nothing here writes an output: outputs are moved by owner's modes, under the interlock.
"""

import statistics
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from springhouse import condition, setting
from springhouse import latch as latches
from springhouse import mode as modes
from springhouse import output as output_slot

from ..errors import KnownError
from ..site import Site
from ..site.tables import PROBES
from ..watching.board_record import BoardRecord, room_words, store_words
from .answer_book import Values
from .board import LinkedBoard
from .charge import Rows, ran_s, row_of
from .kinds import ICE_READINGS, Ask, Step
from .person import Person

MOTORS = output_slot.COMPRESSOR | output_slot.PUMP | output_slot.FAN | output_slot.FAN_FULL
DELIVERY = output_slot.PUMP | output_slot.FAN | output_slot.FAN_FULL
MOVED_K = 2.0
WARMING_S = 240.0
FRAME_S = 3  # a probe is read every 1 to 3 s: readings so far apart are different ones
ICE_S = 180.0
FORCED_S = 180.0  # for a person to reach a float
UNTRUSTED_S = 60.0
ALARM_S = 3.0  # 2 s, and one record a second
SPELL_MIN = 30
SETTLE_S = 30.0
STEADY_SHARE = 0.1
PURGE_S = 1500.0
HOUR_S = 3600.0
QUIET_MIN = 90
FLOW_LEAST_ML_MIN = 50
TELL_S = 60


@dataclass(frozen=True)
class TestStand:
    """Who takes part."""

    board: LinkedBoard
    person: Person
    site: Site
    charge: Path  # where the rows of a first charge are kept


def _yes(is_so: bool) -> str:
    return "yes" if is_so else "no"


def _moved_k(first: BoardRecord, now: BoardRecord, probe: int) -> float:
    before, after = first.probe_c(probe), now.probe_c(probe)
    return 0.0 if before is None or after is None else abs(after - before)


def probe(bench: TestStand, step: Step) -> Values:
    """Which reading moves while one probe is held in the hand."""
    bench.person.wait(f"leave every probe alone for a minute, then take {step.probe} into the hand")
    first = bench.board.record()
    for now in bench.board.records(WARMING_S):
        moved = sorted((_moved_k(first, now, i), i) for i in range(len(PROBES)))
        (second_k, _), (most_k, which) = moved[-2:]
        if most_k >= MOVED_K and most_k >= 2.0 * second_k:
            bench.person.say(f"   {PROBES[which]} moved {most_k:.1f} K")
            return {"moved": PROBES[which]}
    return {"moved": "none"}


def ice_point(bench: TestStand, step: Step) -> Values:
    """Ten raw readings of one probe; those that came with a fault do not count."""
    bench.person.wait(f"{step.probe} into crushed ice and water; stir, wait ten minutes")
    which = PROBES.index(step.probe)
    readings: list[float] = []
    last = -FRAME_S
    for now in bench.board.records(ICE_S):
        reading = now.probe_c(which)
        if reading is None or now.line.up - last < FRAME_S:
            continue
        last = now.line.up
        readings.append(reading)
        if len(readings) == ICE_READINGS:
            break
    bench.person.say("   " + " ".join(f"{reading:.2f}" for reading in readings) + " °C")
    return {"readings": readings}


@dataclass(frozen=True)
class ContactTest:
    """A two-valued input: its bit, what it bars, latches and takes away."""

    bit: int
    locks: int
    latch: int
    off: int


CONTACTS = {
    "mains": ContactTest(1, condition.LOCK_MAINS, 0, output_slot.COMPRESSOR),
    "tray": ContactTest(2, condition.LOCK_TRAY, 0, DELIVERY),
    "level": ContactTest(4, condition.LOCK_STORE | condition.LOCK_ROOM, latches.LEVEL, MOTORS),
    "floor": ContactTest(8, condition.LOCK_STORE | condition.LOCK_ROOM, latches.FLOOR, MOTORS),
}


def contact(bench: TestStand, step: Step) -> Values:
    """Whether an input opens, bars what it must and clears again."""
    part, board = CONTACTS[step.name.removeprefix("alarm_")], bench.board
    bench.person.say(f"   now: {step.do}")
    if board.until(lambda r: not r.line.inputs & part.bit, FORCED_S) is None:
        return {"seen": "no", "off": "no", "cleared": "no"}
    barred = board.until(lambda r: _barred(r, part), ALARM_S)
    bench.person.wait("   seen; put it back")
    back = board.until(lambda r: bool(r.line.inputs & part.bit), FORCED_S)
    board.acknowledge()
    cleared = board.until(lambda r: not r.line.lat & part.latch, ALARM_S)
    return {
        "seen": "yes",
        "off": _yes(barred is not None),
        "cleared": _yes(back is not None and cleared is not None),
    }


def _barred(record: BoardRecord, part: ContactTest) -> bool:
    line = record.line
    latched = line.lat & part.latch == part.latch
    return latched and line.w[2] & part.locks == part.locks and not line.out & part.off


def unplugged(bench: TestStand, step: Step) -> Values:
    """Whether a missing probe is told, takes away what rests on it alone, and comes back."""
    which, board = PROBES.index(step.probe), bench.board
    rests = _rests_on(bench.site, step.probe)
    bench.person.say(f"   now: {step.do}")
    if board.until(lambda r: r.line.bad[which] != 0, FORCED_S) is None:
        return {"seen": "no", "cleared": "no"}
    off = board.until(lambda r: r.line.bad[which] != 0 and not r.line.out & rests, UNTRUSTED_S)
    bench.person.wait("   told; put it back")
    back = board.until(lambda r: r.line.bad[which] == 0, FORCED_S)
    return {"seen": _yes(off is not None), "cleared": _yes(back is not None)}


def _rests_on(site: Site, probe: str) -> int:
    """Return the outputs that must not be on without this probe."""
    if probe == "room":
        return DELIVERY
    pair = ("store_low", "store_high")
    fitted = [name for name in pair if getattr(site.file.sensors, name) == "fitted"]
    return output_slot.COMPRESSOR if fitted == [probe] else 0


def _wanted(bench: TestStand, output: str) -> tuple[int, int, float]:
    """Return mode, output bit and how long it may take."""
    if output == "pump":
        return modes.PURGE, output_slot.PUMP, _pump_wait_s(bench)
    if output == "fan":
        return modes.COOL_NOW, output_slot.FAN, 600.0 + _pump_wait_s(bench)
    return _charge_mode(bench), output_slot.COMPRESSOR, _longest_wait_s(bench)


def _pump_wait_s(bench: TestStand) -> float:
    """Return how long the pump may wait: after power-up and the tray float, delivery is barred."""
    return min(60.0 * SPELL_MIN, bench.site.settings()[setting.TRAY_RETURN_S] + 120.0)


def _charge_mode(bench: TestStand) -> int:
    store_c = bench.board.record().store_c()
    warm_c = bench.site.settings()[setting.WARM_FILL_MC] / 1000.0
    return modes.FIRST_PULL_DOWN if store_c is not None and store_c > warm_c else modes.CHARGE_NOW


def _longest_wait_s(bench: TestStand) -> float:
    settings = bench.site.settings()
    return settings[setting.MIN_OFF_S] + settings[setting.RESTART_STAGGER_S] + 120.0


def pulse(bench: TestStand, step: Step) -> Values:
    """Whether an output comes on in its mode and goes off in the mode *off*."""
    bench.person.wait("   freezer unplugged from the relay, hands off what turns?")
    output = step.name.removeprefix("pulse_")
    mode, bit, longest_s = _wanted(bench, output)
    board = bench.board
    with board.mode(mode, SPELL_MIN):
        if not _comes_on(bench, bit, longest_s):
            return {"came_on": "no", "seen": "no", "went_off": "yes"}
        seen = bench.person.ask(next(ask for ask in step.asks if ask.name == "seen"))
        board.ask(modes.OFF, 1)
        off = board.until(lambda r: not r.on(bit), ALARM_S)
    return {"came_on": "yes", "seen": seen, "went_off": _yes(off is not None)}


def _comes_on(bench: TestStand, bit: int, longest_s: float) -> bool:
    """Wait for an output, telling now and then why it is not on yet."""
    words = (
        store_words if bit == output_slot.COMPRESSOR else lambda record, _aim: room_words(record)
    )
    told = -TELL_S
    for now in bench.board.records(longest_s):
        if now.on(bit):
            return True
        if now.line.up - told >= TELL_S:
            told = now.line.up
            bench.person.say(f"   waiting: {words(now, None)}")
    return False


def _flows_ml_min(bench: TestStand, seconds: float) -> list[int]:
    return [record.line.ml for record in bench.board.records(seconds)]


def purge(bench: TestStand, step: Step) -> Values:
    """Whether the flow becomes steady."""
    least = bench.site.settings()[setting.FLOW_LEAST_ML_MIN]
    if not any(ask.name == "steady" for ask in step.asks):
        return {}
    bench.person.wait("   loop filled, return over the water?")
    with bench.board.mode(modes.PURGE, SPELL_MIN):
        first = bench.board.record().line.up
        while True:
            flows = _flows_ml_min(bench, SETTLE_S)
            mean = statistics.fmean(flows)
            if min(flows) >= least and max(flows) - min(flows) <= STEADY_SHARE * mean:
                bench.person.say(f"   {mean / 1000.0:.2f} L/min, steady")
                return {"steady": "yes"}
            if bench.board.record().line.up - first > PURGE_S:
                return {"steady": "no"}


def flow(bench: TestStand, step: Step) -> Values:
    """The board's flow while the person holds bucket and stopwatch."""
    bench.person.wait("   return over a bucket?")
    with bench.board.mode(modes.PURGE, SPELL_MIN):
        _await_pump(bench)
        _flows_ml_min(bench, SETTLE_S / 3.0)
        values: Values = {}
        if any(ask.name == "board_l_min" for ask in step.asks):
            shown = statistics.fmean(_flows_ml_min(bench, SETTLE_S)) / 1000.0
            bench.person.say(f"   the board shows {shown:.3f} L/min; now bucket and stopwatch")
            values["board_l_min"] = shown
        return bench.person.ask_all(step.asks, values)


def _await_pump(bench: TestStand) -> None:
    if not _comes_on(bench, output_slot.PUMP, _pump_wait_s(bench)):
        raise KnownError(
            "board: the pump does not run in the mode purge: springhouse watch says why"
        )


def dry_run(bench: TestStand, _step: Step) -> Values:
    """Whether the dry-run stop comes when the pump is asked to run without its plug."""
    bench.person.wait("   pump's plug pulled?")
    longest_s = float(bench.site.settings()[setting.PRIME_S] + 20)
    with bench.board.mode(modes.PURGE, SPELL_MIN):
        _await_pump(bench)
        stop = bench.board.until(
            lambda r: bool(r.line.w[2] & condition.LOCK_DRY) and not r.on(output_slot.PUMP),
            longest_s,
        )
    bench.person.wait("   put the plug back")
    bench.board.acknowledge()
    return {"stopped": _yes(stop is not None)}


def _stirs(bench: TestStand, seconds: float, least_ml_min: int | None = None) -> BoardRecord | None:
    """Return the first record with an open float or floor contact, or with so much flow."""
    bits = CONTACTS["level"].bit | CONTACTS["floor"].bit

    def stirs(record: BoardRecord) -> bool:
        flows = least_ml_min is not None and record.line.ml >= least_ml_min
        return flows or record.line.inputs & bits != bits

    return bench.board.until(stirs, seconds)


def leak_hour(bench: TestStand, _step: Step) -> Values:
    """Whether the contacts keep quiet for an hour."""
    bench.person.wait("   level marked, paper under every joint?")
    with bench.board.mode(modes.OFF, QUIET_MIN):
        return {"quiet": _yes(_stirs(bench, HOUR_S) is None)}


def siphon(bench: TestStand, step: Step) -> Values:
    """Whether anything flows in an hour with the pump's plug pulled."""
    bench.person.wait("   level marked?")
    board = bench.board
    with board.mode(modes.PURGE, SPELL_MIN):
        _await_pump(bench)
        _flows_ml_min(bench, SETTLE_S)
        bench.person.wait("   pump full and running: pull its plug now")
        board.ask(modes.OFF, QUIET_MIN)  # else it would try to cool, and find itself dry
        _flows_ml_min(bench, SETTLE_S)
        stirred = _stirs(bench, HOUR_S, FLOW_LEAST_ML_MIN)
        bench.person.wait("   put the plug back")
    return {"still": _yes(stirred is None)}


HOURS = Ask("hours", "hours to watch", "number", "h", low=0.5, high=72)


def first_charge(bench: TestStand, _step: Step) -> Values:
    """Start and end of a watched charge, its compressor hours counted; taken up where it stands."""
    rows = Rows(bench.charge)
    now = row_of(bench.board.record())
    if rows.take_up(now):
        unseen_min = (now.up - rows.kept[-1].up) / 60.0
        rows.add(now)
        bench.person.say(
            f"   the charge that broke off goes on: compressor ran {ran_s(rows.kept) / 3600.0:.2f} "
            f"h; {unseen_min:.0f} min unseen, counted where it ran before and after"
        )
    else:
        bench.person.wait("   freezer plugged in, water stirred?")
    hours = bench.person.ask(HOURS)
    assert isinstance(hours, float)
    mode = _charge_mode(bench)
    minutes = min(modes.LIMIT_MIN[mode], round(60.0 * hours) + 60)
    with bench.board.mode(mode, minutes):
        _each_hour(bench, rows, 3600.0 * hours)
    seen = [row.store_c for row in rows.kept if row.store_c is not None]
    ran_h = ran_s(rows.kept) / 3600.0
    if not seen:
        raise KnownError("board: no store probe answered during the charge")
    bench.person.say(f"   compressor ran {ran_h:.2f} h")
    return {"from_c": seen[0], "to_c": seen[-1], "hours": ran_h}


def _each_hour(bench: TestStand, rows: Rows, seconds: float) -> None:
    """Keep the records of a charge, one a minute and every switch, telling each hour's."""
    hour = 0
    begun = rows.kept[0].up if rows.kept else None
    now = None
    for now in bench.board.records(seconds):
        row = row_of(now)
        begun = row.up if begun is None else begun
        last = rows.kept[-1] if rows.kept else None
        if last is None or row.on != last.on or row.up - last.up >= TELL_S:
            rows.add(row)
        if row.up - begun >= 3600 * hour:
            hour = (row.up - begun) // 3600
            bench.person.say(f"   hour {hour}: {store_words(now, None)}")
            hour += 1
    if now is not None and now.line.up != rows.kept[-1].up:
        rows.add(row_of(now))


def outage(bench: TestStand, step: Step) -> Values:
    """Seconds from the return of mains to the compressor; left to the person without a sense."""
    board = bench.board
    if bench.site.file.sensors.mains != "fitted":
        return {}
    bit = CONTACTS["mains"].bit
    bench.person.say(f"   now: {step.do}")
    if board.until(lambda r: not r.line.inputs & bit, FORCED_S) is None:
        return {}
    back = board.until(lambda r: bool(r.line.inputs & bit), 10.0 * FORCED_S)
    on = None if back is None else board.until(lambda r: r.on(output_slot.COMPRESSOR), HOUR_S)
    if back is None or on is None:
        bench.person.say("   no compressor in an hour")
        return {}
    return {"waited_s": float(on.line.up - back.line.up)}


ROUTINES: dict[str, Callable[[TestStand, Step], Values]] = {
    "probe": probe,
    "ice_point": ice_point,
    "contact": contact,
    "unplugged": unplugged,
    "pulse": pulse,
    "purge": purge,
    "flow": flow,
    "dry_run": dry_run,
    "leak_hour": leak_hour,
    "siphon": siphon,
    "first_charge": first_charge,
    "outage": outage,
}
