"""Breadth-first search over abstract states. All records are numpy arrays or nested sequences.

The tables of a slice:

- `fields`, shape (n, 5): see `fields.py`.
- `options`, shape (n, 2): first write and number of writes of every option of every dial.
- `dials`, shape (n, 2): first option and number of options of every dial. An input is one option
  a dial, as one mixed-radix number.
- `writes`, shape (n, 4): record (0 memory, 1 reading, 2 env), slot, value, 1 = or it in.
"""

from typing import TypeAlias

from springhouse import controller, reading
from springhouse import memory as cell

from springhouse_sim.abstract import env as env_slot
from springhouse_sim.abstract import fields as field_slot
from springhouse_sim.abstract import judge
from springhouse_sim.abstract.fields import IntTable
from springhouse_sim.records import IntRecord

# fields, dials, options, writes, settings, memory and readings to begin each step from
Tables: TypeAlias = tuple[IntTable, IntTable, IntTable, IntTable, IntRecord, IntRecord, IntRecord]
Work: TypeAlias = tuple[IntRecord, IntRecord, IntRecord, IntRecord]  # memory, before, readings, env
# keys, parents, numbers, hash table, own
Found: TypeAlias = tuple[IntRecord, IntRecord, IntRecord, IntRecord, IntRecord]

MEMORY, READING, ENV = range(3)
BOOT, TIME = -1, -2  # what led to a state, if not an input: power-up; a timer that fell due

# Slots of the search's own record (int64).
(
    STATES,
    STEPS,
    TRANSITIONS,  # steps that lead to another state
    BROKEN,  # number of the invariant, 0 = none; 99 = a field left its size
    BROKEN_FROM,  # index of the state
    BROKEN_INPUT,
    FULL,
    ROWS,  # bits of states seen: store states, then room states from bit 8
    DEAD_END,  # index of a state that no input and no time leads out of, plus 1; 0 = none
    OWN_SIZE,
) = range(10)
OUT_OF_SIZE = 99


def apply(number: int, tables: Tables, work: Work, booting: bool) -> None:
    """Do what input `number` says. At power-up the memory belongs to the controller alone."""
    _, dials, options, writes, _, _, _ = tables
    memory, _, readings, env = work
    rest = number
    for d in range(len(dials)):
        option = dials[d][0] + rest % dials[d][1]
        rest = rest // dials[d][1]
        for w in range(options[option][0], options[option][0] + options[option][1]):
            record = writes[w][0]
            slot = writes[w][1]
            value = writes[w][2]
            if record == READING:
                readings[slot] = value
            elif record == ENV:
                if writes[w][3]:
                    env[slot] |= value
                else:
                    env[slot] = value
            elif not booting:
                if writes[w][3]:
                    memory[slot] |= value
                else:
                    memory[slot] = value


def inputs_of(dials: IntTable) -> int:
    """How many inputs there are."""
    n = 1
    for d in range(len(dials)):
        n *= dials[d][1]
    return n


def step(
    key: int,
    number: int,
    tables: Tables,
    work: Work,
) -> int:
    """One step of the real controller from state `key` (BOOT: power-up); returns the outputs."""
    fields, _, _, _, settings, base, base_readings = tables
    memory, before, readings, env = work
    for slot in range(cell.SIZE):
        memory[slot] = base[slot]
    for slot in range(reading.SIZE):
        readings[slot] = base_readings[slot]
    for slot in range(env_slot.SIZE):
        env[slot] = 0
    now = readings[reading.NOW_MS]
    if key == BOOT:
        controller.power_up(memory)
        env[env_slot.BOOT] = 1
    else:
        field_slot.unpack(key, fields, now, memory)
    apply(number, tables, work, key == BOOT)
    for slot in range(cell.SIZE):
        before[slot] = memory[slot]
    return controller.step(memory, settings, readings)


def _find(keys: IntRecord, table: IntRecord, key: int) -> int:
    """Place of a key in the hash table: where it is, or where it would go."""
    size = len(table)
    at = (key * 0x9E3779B1 & 0x7FFFFFFFFFFF) % size
    while table[at] >= 0 and keys[table[at]] != key:
        at += 1
        if at == size:
            at = 0
    return at


def _add(
    key: int,
    parent: int,
    number: int,
    found: Found,
) -> bool:
    """Add a state unless it is known; True if it is new."""
    keys, parents, numbers, table, own = found
    at = _find(keys, table, key)
    if table[at] >= 0:
        return False
    n = own[STATES]
    if n >= len(keys) or 2 * n >= len(table):
        own[FULL] = 1
        return False
    keys[n] = key
    parents[n] = parent
    numbers[n] = number
    table[at] = n
    own[STATES] = n + 1
    return True


def explore(
    slice_number: int,
    tables: Tables,
    work: Work,
    found: Found,
) -> None:
    """Fill `keys` with every state reachable from power-up; stop at the first broken invariant.

    `parents` and `numbers` say how each state was reached first. `table` holds -1 everywhere.
    """
    fields, dials, _, _, settings, _, _ = tables
    memory, before, readings, env = work
    keys, _, _, _, own = found
    n_inputs = inputs_of(dials)
    at = -1  # the power-up itself
    while at < own[STATES] and not own[BROKEN] and not own[FULL]:
        key = BOOT if at < 0 else keys[at]
        leads_on = False
        if at >= 0:
            for f in range(len(fields)):
                later = field_slot.fallen_due(key, fields, f)
                if later >= 0:
                    leads_on = True
                    _add(later, at, TIME - f, found)
        for number in range(n_inputs):
            out = step(
                key,
                number,
                tables,
                work,
            )
            own[STEPS] += 1
            broken = judge.judge(slice_number, before, memory, settings, readings, env, out)
            to = field_slot.pack(memory, fields, readings[reading.NOW_MS])
            if to < 0:
                broken = OUT_OF_SIZE
            if broken:
                own[BROKEN] = broken
                own[BROKEN_FROM] = at
                own[BROKEN_INPUT] = number
                break
            own[ROWS] |= 1 << memory[cell.STORE_STATE] | 1 << (8 + memory[cell.ROOM_STATE])
            if to != key:
                own[TRANSITIONS] += 1
                leads_on = True
                _add(to, at, number, found)
        if not leads_on and not own[BROKEN]:
            own[DEAD_END] = at + 1
        at += 1


def stuck(
    fair: int,
    wanted: int,
    tables: Tables,
    work: Work,
    keys: IntRecord,
    states: int,
    most: int,
) -> int:
    """Index of the first state from which input `fair` never leads to an output `wanted`; -1.

    The input stays; whenever a step changes nothing, time passes until every timer is due. At most
    `most` steps are allowed. Only what the slice keeps is remembered from step to step.
    """
    fields = tables[0]
    memory, _, readings, _ = work
    for at in range(states):
        key = keys[at]
        served = False
        for _ in range(most):
            out = step(
                key,
                fair,
                tables,
                work,
            )
            if out & wanted:
                served = True
                break
            to = field_slot.pack(memory, fields, readings[reading.NOW_MS])
            if to == key:
                to = field_slot.all_fallen_due(key, fields)
                if to == key:
                    break
            key = to
        if not served:
            return at
    return -1


def leads_to(
    from_key: int,
    to_key: int,
    tables: Tables,
    work: Work,
) -> bool:
    """Whether some input leads from one state to the other in one step."""
    for number in range(inputs_of(tables[1])):
        step(
            from_key,
            number,
            tables,
            work,
        )
        if field_slot.pack(work[0], tables[0], work[2][reading.NOW_MS]) == to_key:
            return True
    return False
