"""What a reset leaves of a memory: `restart.forget`, for any memory and at any tick.

The scan after power-up begins with what was kept (`scene.restored_memory`), and its ghosts say that
all of it happened just now. Here is shown that a reset keeps it: nothing that a guard counts or
waits for is lost, and nothing else is taken for known.
"""

from collections.abc import Iterator
from typing import Any

from springhouse import memory as cell
from springhouse import mode, restart, timekeeping
from springhouse import setting as setting_slot

from springhouse_host.induction import limits
from springhouse_host.induction.claim import STARTS, Claim
from springhouse_host.induction.program import SlotRecord
from springhouse_host.induction.scene import NAMES, WORDS, Scene, free_memory, restored_memory
from springhouse_host.induction.term import Truth
from springhouse_host.induction.terms import Terms
from springhouse_host.induction.time_left import MEMORY, Clock
from springhouse_host.induction.translate import Run

COUNTED = {cell.DRY_COUNT: 10, cell.TRAY_COUNT: 12, cell.REST_COUNT: 8, cell.STILL_COUNT: 14}
KEPT = {cell.MODE, cell.LATCH, cell.MODE_LEFT_MS, cell.FLAGS, *COUNTED}
KEPT |= {cell.START_1_T + n for n in range(STARTS)}


def resets(t: Terms) -> tuple[list[Truth], list[Claim]]:
    """Return what is taken for granted and the claims: of one at work, and of one just reset."""
    now = t.integer("now", 0, timekeeping.LAST)
    run = Run(t, Clock(0, now).stand_ins())
    again, premises = restored_memory(t, run)
    again[cell.BOOTED] = 0
    claims: list[Claim] = []
    for where, before in (("at work", free_memory(t)), ("before its first scan", again)):
        slots: dict[str, Any] = {MEMORY: list(before)}
        run.call(restart.forget, [SlotRecord(MEMORY), now], slots)
        for claim in _claims(t, before, slots[MEMORY], booted=before is not again):
            claims.append(Claim(f"a reset {where}: {claim.name}", claim.invariant, claim.holds))
    return premises, claims


def _claims(t: Terms, before: list[Any], after: list[Any], booted: bool) -> Iterator[Claim]:
    for bit in range(WORDS[cell.LATCH]):
        had, has = (t.true(t.bit_and(memory[cell.LATCH], 1 << bit)) for memory in (before, after))
        yield Claim(f"latch {bit} is kept", 18, t.same(had, has))
    for n in range(STARTS):
        counts = _running(t, before, cell.START_1_T + n, booted)
        kept = t.equal(after[cell.START_1_T + n], timekeeping.DUE)
        yield Claim(f"start {n + 1} of the last hour is kept", 7, t.same(counts, kept))
    for slot, invariant in COUNTED.items():
        yield Claim(f"{NAMES[slot]} is kept", invariant, t.equal(before[slot], after[slot]))
    yield from _stops(t, before, after, booted)
    full, still = (
        t.true(t.bit_and(memory[cell.FLAGS], cell.FLAG_TRAY)) for memory in (before, after)
    )
    yield Claim("a tray that was full is not forgotten", 12, t.same(full, still))
    fresh = [
        t.equal(after[slot], -1 if slot == cell.PLAN_SINCE_MIN or slot >= cell.TIMERS else 0)
        for slot in range(cell.SIZE)
        if slot not in KEPT and slot not in WORDS
    ]
    words = [t.no(t.true(after[slot])) for slot in WORDS if slot not in KEPT]
    flags = t.bit_and(after[cell.FLAGS], ((1 << WORDS[cell.FLAGS]) - 1) & ~cell.FLAG_TRAY)
    yield Claim("nothing else is known", 0, t.both(*fresh, *words, t.no(t.true(flags))))


def _running(t: Terms, memory: list[Any], slot: int, booted: bool) -> Truth:
    """Whether a start still counts: its hour runs, or it was kept and no scan was made since."""
    return t.at_most(0, memory[slot]) if booted else t.equal(memory[slot], timekeeping.DUE)


def _stops(t: Terms, before: list[Any], after: list[Any], booted: bool) -> Iterator[Claim]:
    """The owner's off and service go on for the time that was left; another mode ends."""
    left = before[cell.MODE_LEFT_MS]
    if booted:
        timer = before[cell.MODE_T]
        left = t.choose(t.at_most(0, timer), timer, left)
    off = t.either(t.equal(before[cell.MODE], mode.OFF), t.equal(before[cell.MODE], mode.SERVICE))
    stop = t.both(off, t.less(0, left))
    same = t.both(
        t.equal(before[cell.MODE], after[cell.MODE]), t.equal(left, after[cell.MODE_LEFT_MS])
    )
    ended = t.both(t.equal(after[cell.MODE], mode.AUTOMATIC), t.equal(after[cell.MODE_LEFT_MS], 0))
    yield Claim("the owner's stop goes on for the time left", 28, t.implies(stop, same))
    yield Claim("any other mode ends", 28, t.implies(t.no(stop), ended))


def resumed(scene: Scene) -> Iterator[Claim]:
    """After the first scan every wait of what was kept runs in full, and every count ends."""
    t, had, has = scene.terms, scene.before, scene.after
    for count, day in (
        (cell.DRY_COUNT, cell.DRY_DAY_T),
        (cell.TRAY_COUNT, cell.TRAY_DAY_T),
        (cell.REST_COUNT, cell.REST_DAY_T),
        (cell.STILL_COUNT, cell.STILL_DAY_T),
    ):
        ends = t.both(t.less(0, has[day]), t.at_most(has[day], limits.DAY_MS))
        name = f"after a reset {NAMES[count]} ends in a day"
        yield Claim(name, COUNTED[count], t.implies(t.less(0, had[count]), ends))
    bank = t.no(t.equal(scene.settings[setting_slot.ICE_BANK], 0))
    none = t.equal(has[cell.ICE_T], timekeeping.DUE)
    yield Claim("after a reset an ice bank has no ration", 1, t.implies(bank, none))
    same = t.equal(had[cell.MODE], has[cell.MODE])
    yield Claim("after a reset no mode but the one kept", 28, same)
    most = len(limits.DRY_WAIT_MS)
    for n, wait_ms in enumerate(limits.DRY_WAIT_MS, 1):
        counted = (
            t.at_most(n, had[cell.DRY_COUNT]) if n == most else t.equal(had[cell.DRY_COUNT], n)
        )
        waits = t.at_most(wait_ms, has[cell.DRY_WAIT_T])
        yield Claim(f"after a reset the wait of dry run {n}", 10, t.implies(counted, waits))
    for count, timer, unit_ms, setting in (
        (cell.REST_COUNT, cell.REST_T, 60_000, setting_slot.REST_MIN),
        (cell.STILL_COUNT, cell.COIL_T, 1000, setting_slot.COIL_WAIT_S),
    ):
        whole = t.at_most(t.times(scene.settings[setting], unit_ms), has[timer])
        name = f"after a reset the whole wait of {NAMES[count]}"
        yield Claim(name, COUNTED[count], t.implies(t.less(0, had[count]), whole))
