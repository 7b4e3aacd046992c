"""hunt.py INVARIANT FIRST_SEED EPISODES SCANS: drive the adversary until that invariant breaks.

INVARIANT 0 means any. Invariant 23 compares two tick origins. Prints "seed N" or "none".
"""

import sys
from array import array

from springhouse import memory as cell
from springhouse import reading, setting
from springhouse_sim import adversary
from springhouse_sim.watch import observe
from springhouse_sim.watch import shadow as shadow_slot

NEAR_WRAP_MS = (1 << 30) - 3000000


def drive(seed: int, scans: int, origin_ms: int) -> tuple[list[int], int]:
    """Violations a number and the hash of all outputs."""
    own, cases, violations = (
        array("q", [0] * n) for n in (adversary.SIZE, observe.COUNTS, observe.COUNTS)
    )
    memory, settings, readings = (
        array("i", [0] * n) for n in (cell.SIZE, setting.SIZE, reading.SIZE)
    )
    shadow, seen = array("q", [0] * shadow_slot.SIZE), array("q", [0] * adversary.STATES_SEEN)
    own[adversary.DICE] = adversary.first_throw(seed)
    adversary.episode(
        own, memory, settings, readings, shadow, scans, origin_ms, cases, violations, seen
    )
    return list(violations), own[adversary.HASH]


def broken(seed: int, scans: int, invariant: int) -> bool:
    """Whether the episode breaks the invariant."""
    violations, outputs = drive(seed, scans, 0)
    if invariant == 23:
        return drive(seed, scans, NEAR_WRAP_MS)[1] != outputs
    return any(violations) if invariant == 0 else violations[invariant] > 0


if __name__ == "__main__":
    wanted, first, episodes, scans = (int(word) for word in sys.argv[1:5])
    for k in range(first, first + episodes):
        if broken(k, scans, wanted):
            print(f"seed {k}")
            sys.exit()
    print("none")
