"""A controller at rest, and shorthand to change one thing of it."""

from __future__ import annotations

from collections.abc import Callable

from drive import EVERY_SENSOR, Drive, M, N, T

CHARGING = N.PLAN_CHARGE | N.PLAN_WANTED


def rested(fit: int = EVERY_SENSOR, **settings: int) -> Drive:
    """Every probe trusted, the top vouched for, no timer, no latch, nothing on, no lead."""
    d = Drive(fit=fit, settings=settings)
    for _ in range(3):
        d.tick()
    for slot in range(M.TIMERS, M.SIZE):
        d.memory[slot] = T.IDLE
    d.vouch()
    d.memory[M.FLAGS] = M.FLAG_VOUCHED
    d.memory[M.PLAN] = CHARGING
    return d


def memory(**slots: int) -> Callable[[Drive], None]:
    def put(d: Drive) -> None:
        for name, value in slots.items():
            d.memory[getattr(M, name)] = value

    return put


def untrusted(*probes: str) -> Callable[[Drive], None]:
    return memory(**{f"{name}_GOOD": 2 for name in probes})
