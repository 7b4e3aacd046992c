"""What the owner asks for, by button or over the link. Nothing here touches an output.

The control task copies the counters into its readings; a request is a change of a counter.
"""

import gc
from array import array

from springhouse import clock as board_clock
from springhouse import mode as modes
from springhouse import setting
from springhouse.record import RANGE_MOST, Record
from springhouse.storage import TwoSlots

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.ahead import Plan

_COUNT_MASK = 0xFFFF
TARGET_STEP_MK = 500

_NEWS_MOST = 2 * RANGE_MOST  # changes not yet noted; the control task takes them each second

# A reset that was asked for, taken by the main loop.
NO_RESET, RESET, SERVICE = range(3)


class Owner:
    """Requests, and the clock and record they change."""

    def __init__(self, clock: board_clock.Clock, record: Record, slots: TwoSlots) -> None:
        self.clock = clock
        self.record = record
        self._slots = slots
        self.ack_seq = 0
        self.mode = modes.AUTOMATIC
        self.mode_min = 0
        self.mode_seq = 0
        self.reset = NO_RESET
        self.changed = False  # settings changed: the plan in force must be looked up again
        self.news: list[tuple[int, int, int]] = []  # (slot, old, new) for the black box
        self.clock_set = False
        self.plan: Plan | None = None  # where the settings allow one
        self.shortages = 0  # changes refused because memory was short

    def acknowledge(self) -> None:
        """One press of the acknowledge button."""
        self.ack_seq = (self.ack_seq + 1) & _COUNT_MASK

    def ask_mode(self, mode: int, minutes: int) -> str:
        """Ask for a mode for a time; "" or what is wrong."""
        if not 0 <= mode < modes.SIZE:
            return "mode: 0.." + str(modes.SIZE - 1)
        if mode != modes.AUTOMATIC and not 0 < minutes <= modes.LIMIT_MIN[mode]:
            return "minutes: 1.." + str(modes.LIMIT_MIN[mode])
        self.mode = mode
        self.mode_min = minutes if mode != modes.AUTOMATIC else 0
        self.mode_seq = (self.mode_seq + 1) & _COUNT_MASK
        return ""

    def set_time(self, utc_s: int, sure: bool) -> str:
        """Set the calendar clock; "" or why not."""
        answer = self.clock.set(utc_s // 60, utc_s % 60, sure)
        if answer == board_clock.REFUSED_RANGE:
            return "utc_s: not a time of our days"
        if answer == board_clock.REFUSED_DAY:
            return "a second large step today: send it with sure"
        if answer == board_clock.REFUSED_FAR:
            return "step of more than a day: send it with sure"
        self.clock_set = True
        return ""

    def change(self, changes: "list[int]") -> str:
        """Change settings (slot, value, ...) inside the proven range and store them in one write.

        All or none; "" or why not.
        """
        try:
            before = array("i", self.record.settings)
        except MemoryError:
            return self.short()
        try:
            fault = self.record.try_change(changes)
            if fault:
                return fault
            if before == self.record.settings:
                return ""  # the flash wears out by writing
            stored = self._slots.save(self.record.encode())
        except MemoryError:
            self.record.put(before)
            return self.short()
        if not stored:
            self.record.put(before)
            return "could not be stored"
        self.changed = True
        try:
            for slot, old in enumerate(before):
                if self.record.settings[slot] != old and len(self.news) < _NEWS_MOST:
                    self.news.append((slot, old, self.record.settings[slot]))
        except MemoryError:  # it is stored and in force; the black box may miss it
            self.short()
        return ""

    def short(self) -> str:
        """What is told when memory is short; counted."""
        self.shortages = min(self.shortages + 1, 9999)
        gc.collect()
        return "too little memory, try again"

    def nudge_target(self, steps: int) -> str:
        """Room target up or down by half kelvins: the board's own buttons."""
        target = self.record.settings[setting.ROOM_TARGET_MC] + steps * TARGET_STEP_MK
        return self.change([setting.ROOM_TARGET_MC, target])
