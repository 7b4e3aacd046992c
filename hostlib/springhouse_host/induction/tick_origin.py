"""Whether a scan's result depends on where the tick counter started.

Timers are held as time left and frames by their age (`time_left.py` shows that this is what ticks
amount to). So the origin of ticks can matter only where a tick itself is used: it may be kept in a
slot for ticks, and two ticks may be compared for equality, which a shift of all ticks keeps.
"""

from typing import Any

from springhouse import memory as cell
from springhouse import reading

from springhouse_host.induction.scene import Scene
from springhouse_host.induction.term import Bits, Term

SEEN = range(cell.STORE_LOW_SEEN_MS, cell.STORE_LOW_SEEN_MS + reading.PROBES)
STAMPS = range(reading.STORE_LOW_AT_MS, reading.STORE_LOW_AT_MS + reading.PROBES)


def depends_on_origin(scene: Scene) -> str:
    """What depends on the origin of ticks; "" if nothing does."""
    ticks = {scene.before[n].number for n in SEEN} | {scene.readings[n].number for n in STAMPS}
    ticks.add(scene.readings[reading.NOW_MS].number)
    tests: list[Any] = [scene.out]
    for slot, value in enumerate(scene.after):
        if slot not in SEEN:
            tests.append(value)
        elif not _is_tick(value, ticks, tests):
            return f"memory slot {slot} is not a tick"
    seen: set[int] = set()
    while tests:
        node = tests.pop()
        if isinstance(node, Bits):
            tests += [*node.bits, node.sign]
        if not isinstance(node, Term) or node.number in seen:
            continue
        seen.add(node.number)
        if node.number in ticks:
            return f"the tick {node.args[0]} is used as a number"
        kinds = [_is_tick(a, ticks, tests) for a in node.args if isinstance(a, Term)]
        if node.op == "equal" and len(kinds) == 2 and all(kinds):
            continue
        tests += [a for a in node.args if isinstance(a, Term)]
    return ""


def _is_tick(node: Any, ticks: set[int], tests: list[Any]) -> bool:
    """Whether a value is one of several ticks; by which of `tests` is to be looked at as well."""
    if not isinstance(node, Term):
        return False
    if node.number in ticks:
        return True
    if node.op != "choose":
        return False
    test, a, b = node.args
    if not (_is_tick(a, ticks, tests) and _is_tick(b, ticks, tests)):
        return False
    tests.append(test)
    return True
