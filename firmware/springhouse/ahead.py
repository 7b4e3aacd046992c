"""A plan of up to two days in quarter hours, kept on flash; what it says for now is advice.

Loaded only where the settings allow a plan. A plan is words of others: what cannot be meant is
refused, the plan in force stays. Each quarter hour is advised anew and for itself alone, so that a
board whose plan ends, whose clock is lost or whose program fails falls back to its week plan.

A quarter hour is a byte: 0 none, 1 wait, from 2 on charge, to a target in steps of 0.25 °C from
-1 °C; the highest bit says that the room is wanted.
"""

import struct
from array import array

from springhouse import advice, reading
from springhouse.storage import TwoSlots

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.owner import Owner

QUARTER_MIN = 15
QUARTERS = 192  # 48 h
STEP_MC = 250
LOWEST_MC = -1000
HIGHEST_MC = LOWEST_MC + 124 * STEP_MC
A_RUN = 4  # numbers: quarter hours, advice, wanted, store target in m°C
A_LINE = 20  # runs told
_WANTED = 128
_HEAD = "<BI"
_VERSION = 1


def _code(what: int, wanted: int, target_mc: int) -> int:
    """A quarter hour as a byte."""
    if what == advice.NONE:
        return 0
    byte = 1 if what == advice.WAIT else 2 + (target_mc - LOWEST_MC) // STEP_MC
    return byte | _WANTED if wanted else byte


class Plan:
    """The plan in force; `first_min` is the UTC minute of its first quarter hour."""

    def __init__(self, slots: TwoSlots) -> None:
        self._slots = slots
        self.first_min = 0
        self.quarters = bytearray(QUARTERS)
        self._given = -1  # the quarter hour that was advised last, since 1970
        body = slots.load()
        if body is not None and len(body) == 5 + QUARTERS and body[0] == _VERSION:
            self.first_min = struct.unpack_from(_HEAD, body, 0)[1]
            self.quarters[:] = body[5:]

    def _fault(self, at: int, runs: "list[int]") -> str:
        """What is wrong with runs from quarter hour `at` on; "" if nothing is."""
        if len(runs) % A_RUN:
            return "runs: four numbers each"
        for n in range(0, len(runs), A_RUN):
            quarters, what, wanted, target_mc = runs[n : n + A_RUN]
            if quarters < 1 or not advice.NONE <= what < advice.SIZE or wanted not in (0, 1):
                return "runs: quarter hours, advice 0..2, wanted 0..1, target"
            if what == advice.CHARGE and not LOWEST_MC <= target_mc <= HIGHEST_MC:
                return "runs: target " + str(LOWEST_MC) + ".." + str(HIGHEST_MC)
            if what == advice.CHARGE and (target_mc - LOWEST_MC) % STEP_MC:
                return "runs: target in steps of " + str(STEP_MC)
            at += quarters
            if at > QUARTERS:
                return "runs: beyond 48 h"
        return ""

    def take(self, from_min: int, runs: "list[int]", owner: "Owner") -> str:
        """From UTC minute `from_min` on the plan is `runs`, and nothing behind them; "" or why not.

        What it says before stays. Stored before it is in force.
        """
        try:
            return self._take(from_min, runs, owner.clock.utc_min)
        except MemoryError:
            return owner.short()

    def _take(self, from_min: int, runs: "list[int]", now_min: int) -> str:
        if now_min < 0:
            return "clock unknown"
        start = now_min - now_min % QUARTER_MIN
        at = (from_min - start) // QUARTER_MIN
        if from_min % QUARTER_MIN:
            return "from: minute of a quarter hour"
        if not 0 <= at < QUARTERS:
            return "from: now .. 48 h ahead"
        fault = self._fault(at, runs)
        if fault:
            return fault
        fresh = bytearray(QUARTERS)
        for n in range(at):
            fresh[n] = self.at(start + n * QUARTER_MIN)
        for n in range(0, len(runs), A_RUN):
            quarters, what, wanted, target_mc = runs[n : n + A_RUN]
            for _ in range(quarters):
                fresh[at] = _code(what, wanted, target_mc)
                at += 1
        if not self._slots.save(struct.pack(_HEAD, _VERSION, start) + fresh):
            return "could not be stored"
        self.first_min = start
        self.quarters[:] = fresh
        self._given = -1
        return ""

    def at(self, utc_min: int) -> int:
        """The byte of the quarter hour that holds a minute, 0 where there is no plan."""
        n = (utc_min - self.first_min) // QUARTER_MIN
        return self.quarters[n] if 0 <= n < QUARTERS else 0

    def advise(self, utc_min: int, readings: "array[int]") -> None:
        """Give the advice of this quarter hour once. Allocates nothing."""
        quarter = utc_min // QUARTER_MIN
        if quarter == self._given:
            return
        self._given = quarter
        byte = self.at(utc_min) if utc_min >= 0 else 0
        code = byte & (_WANTED - 1)
        if code == 0 and readings[reading.ADVICE] == advice.NONE:
            return
        told = advice.WAIT if code == 1 else advice.CHARGE
        readings[reading.ADVICE] = advice.NONE if code == 0 else told
        readings[reading.ADVICE_WANTED] = 1 if byte & _WANTED else 0
        readings[reading.ADVICE_MC] = LOWEST_MC + (code - 2) * STEP_MC
        readings[reading.ADVICE_MIN] = QUARTER_MIN - utc_min % QUARTER_MIN
        readings[reading.ADVICE_SEQ] = (readings[reading.ADVICE_SEQ] + 1) & 0xFFFF

    def runs(self, now_min: int) -> "list[int]":
        """What is left of the plan, as `take` wants it from this quarter hour on."""
        found: list[int] = []
        last = -1
        start = now_min - now_min % QUARTER_MIN
        for n in range(QUARTERS):
            byte = self.at(start + n * QUARTER_MIN)
            if byte == last:
                found[-A_RUN] += 1
                continue
            last = byte
            code = byte & (_WANTED - 1)
            what = advice.NONE if code == 0 else advice.WAIT if code == 1 else advice.CHARGE
            target_mc = LOWEST_MC + (code - 2) * STEP_MC if what == advice.CHARGE else 0
            found += [1, what, 1 if byte & _WANTED else 0, target_mc]
        if last == 0:
            del found[-A_RUN:]
        return found

    def line(self, now_min: int) -> str:
        """The first runs of what is left of the plan, from this quarter hour on."""
        runs = self.runs(now_min)[: A_LINE * A_RUN] if now_min >= 0 else []
        text = ",".join([str(number) for number in runs])
        return '{"plan":[%s],"begin":%d}' % (text, now_min - now_min % QUARTER_MIN)
