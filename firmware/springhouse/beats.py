"""Heartbeats: the watchdog is fed only while every required task beats within its own limit."""

from array import array

from springhouse import timekeeping

PROBES, CONTACTS, AIR, RELAY = range(4)
_TASKS = 4
# A probe round takes 2 s; 6 s leave room for one lost round. Contacts are due each 200 ms.
_LIMIT_MS = (6000, 1500, 6000, 1500)
NONE_LATE = -1


class Beats:
    """`beat` by the tasks, `late` asked once a scan by the control task."""

    def __init__(self, now: int, required: "list[bool]") -> None:
        self._at = array("i", [now] * _TASKS)
        self._required = required

    def beat(self, task: int, now: int) -> None:
        """The task is alive."""
        self._at[task] = now

    def late(self, now: int) -> int:
        """The first required task whose beat is too old, or NONE_LATE."""
        for task in range(_TASKS):
            age_ms = timekeeping.ticks_diff(now, self._at[task])
            if self._required[task] and age_ms > _LIMIT_MS[task]:
                return task
        return NONE_LATE
