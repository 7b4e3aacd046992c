"""What must hold of each step, written from the requirements, slice by slice.

Each judge returns the number of the invariant that a step breaks, 0 if it keeps them all. A wait
is judged by induction: it is armed with its whole length at the event it belongs to, never brought
forward while it runs, and nothing starts before it has run out.
"""

from springhouse import memory as cell
from springhouse import output, reading

from springhouse_sim.abstract import env as env_slot
from springhouse_sim.abstract import judge_faults, judge_probe, judge_room, judge_store
from springhouse_sim.abstract.fields import left_ms
from springhouse_sim.abstract.waits import MOTORS, shortened
from springhouse_sim.records import IntRecord

STORE, CARE, ROOM, AIR, DRY, FAULTS, PROBE = range(7)
SPACING_MS = 5000


def everywhere(
    before: IntRecord, memory: IntRecord, readings: IntRecord, env: IntRecord, out: int
) -> int:
    """15: motors start one by one, 5 s apart, 26: and wait no longer. 19: settings. 11: flood."""
    now = readings[reading.NOW_MS]
    rising = out & ~before[cell.OUT] & MOTORS
    if rising & (rising - 1):
        return 15
    is_ms = left_ms(memory, cell.SPACING_T, now)
    if rising and (before[cell.SPACING_T] >= 0 or is_ms < SPACING_MS):
        return 15
    if shortened(before, memory, cell.SPACING_T, now):
        return 15
    if is_ms > SPACING_MS or (not rising and is_ms > left_ms(before, cell.SPACING_T, now)):
        return 26
    if env[env_slot.SETTINGS_BAD] and out & MOTORS:
        return 19
    if env[env_slot.FLOODED] and out & MOTORS:
        return 11
    return 0


def judge(
    slice_number: int,
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """Number of the invariant that this step of a slice breaks, 0 = none."""
    if env[env_slot.BOOT] and out & output.COMPRESSOR:
        return 5
    broken = everywhere(before, memory, readings, env, out)
    if broken:
        return broken
    if slice_number == STORE:
        return judge_store.store(before, memory, settings, readings, env, out)
    if slice_number == CARE:
        return judge_store.care(before, memory, settings, readings, env, out)
    if slice_number == ROOM:
        return judge_room.room(before, memory, settings, readings, env, out)
    if slice_number == AIR:
        return judge_room.air(before, memory, settings, readings, env, out)
    if slice_number == DRY:
        return judge_room.dry(before, memory, settings, readings, env, out)
    if slice_number == FAULTS:
        return judge_faults.faults(before, memory, settings, readings, env, out)
    return judge_probe.probe(before, memory, settings, readings, env)
