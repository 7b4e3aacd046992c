"""A controller at rest, and shorthand to change one thing of it."""

from __future__ import annotations

from collections.abc import Callable

from drive import EVERY_SENSOR, Drive, cell, timekeeping, week

CHARGING = week.PLAN_CHARGE | week.PLAN_WANTED


def rested(fit: int = EVERY_SENSOR, **settings: int) -> Drive:
    """Every probe trusted, the top vouched for, no timer, no latch, nothing on, no lead."""
    d = Drive(fit=fit, settings=settings)
    for _ in range(3):
        d.tick()
    for slot in range(cell.TIMERS, cell.SIZE):
        d.memory[slot] = timekeeping.IDLE
    d.vouch()
    d.memory[cell.FLAGS] = cell.FLAG_VOUCHED
    d.memory[cell.PLAN] = CHARGING
    return d


def memory(**slots: int) -> Callable[[Drive], None]:
    def put(d: Drive) -> None:
        for name, value in slots.items():
            d.memory[getattr(cell, name)] = value

    return put


def untrusted(*probes: str) -> Callable[[Drive], None]:
    return memory(**{f"{name}_GOOD": 2 for name in probes})
