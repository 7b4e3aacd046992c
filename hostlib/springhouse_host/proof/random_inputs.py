"""Random inputs no plant would give: cases for the invariants that quiet days never touch."""

from dataclasses import dataclass

from springhouse_sim import compiled
from springhouse_sim.watch import observe

from .doors import DOORS

EPISODES = 100
STEPS = 20000
NEAR_WRAP_MS = (1 << 30) - 5000000
TICK_ORIGIN_INVARIANT = 23


@dataclass(frozen=True)
class RandomRun:
    """Cases and violations by invariant number; ``seen`` scans a state (5 store, 8 room)."""

    scans: int
    cases: tuple[int, ...]
    violations: tuple[int, ...]
    seen: tuple[int, ...]


def drive(
    episodes: int = EPISODES,
    steps: int = STEPS,
    *,
    first_seed: int = 0,
    compile_ticks: bool = True,
) -> RandomRun:
    """Drive the controller through random lives, each from two origins of the tick counter."""
    code = compiled.load(compile_ticks, doors=DOORS)
    adversary = code.sim("adversary")
    plain = compiled.load(False, doors=DOORS).sim("adversary")
    cases, violations = code.longs(observe.COUNTS), code.longs(observe.COUNTS)
    seen = code.longs(plain.STATES_SEEN)
    for seed in range(first_seed, first_seed + episodes):
        outputs = []
        for origin_ms in (0, NEAR_WRAP_MS):
            own = code.longs(plain.SIZE)
            own[plain.DICE] = plain.first_throw(seed)
            adversary.episode(
                own,
                code.ints(code.core("memory").SIZE),
                code.ints(code.core("setting").SIZE),
                code.ints(code.core("reading").SIZE),
                code.longs(code.sim("watch.shadow").SIZE),
                steps,
                origin_ms,
                cases,
                violations,
                seen,
            )
            outputs.append(int(own[plain.HASH]))
        cases[TICK_ORIGIN_INVARIANT] += 1
        violations[TICK_ORIGIN_INVARIANT] += int(outputs[0] != outputs[1])
    return RandomRun(
        2 * episodes * steps,
        tuple(int(n) for n in cases),
        tuple(int(n) for n in violations),
        tuple(int(n) for n in seen),
    )
