"""The calibration offsets that the controller adds to what its probes send.

A record carries raw readings. The offsets are those of the site file, or the board's own where it
was heard to tell its settings; without either the screen says that readings are raw.
"""

from dataclasses import replace
from typing import TYPE_CHECKING

from springhouse import reading, setting

from ..outside import message
from .board_record import BoardRecord

if TYPE_CHECKING:
    from ..site.site import Site

LONGEST_LINE = 4096
RAW = "raw, without the probes' calibration: name the SITE to have it added"


class Calibration:
    """Offsets by probe, as far as they are known."""

    def __init__(self, site: "Site | None") -> None:
        self._of = "the site file" if site is not None else ""
        slots = range(setting.STORE_LOW_OFFSET_MK, setting.STORE_LOW_OFFSET_MK + reading.PROBES)
        self._mk = {} if site is None else {slot: site.settings()[slot] for slot in slots}
        self._slots = slots

    def hear(self, text: str) -> None:
        """Take the offsets from a line in which a board tells its settings; pass over others."""
        if '"settings"' not in text:
            return
        told = message(text, LONGEST_LINE)
        if told is None:
            return
        try:
            first, values = told["from"], told["settings"]
            found = {first + n: int(value) for n, value in enumerate(values)}
        except (ValueError, TypeError, KeyError, OverflowError):
            return
        found = {slot: mk for slot, mk in found.items() if slot in self._slots}
        _, low, high, _ = setting.row(setting.STORE_LOW_OFFSET_MK)
        if found and all(low <= mk <= high for mk in found.values()):
            self._mk |= found
            self._of = "the board"

    @property
    def known(self) -> bool:
        """Whether the offset of every probe is known."""
        return len(self._mk) == reading.PROBES

    def applied(self, record: BoardRecord) -> BoardRecord:
        """Return the record with the offsets that are known."""
        return replace(record, offset_mk=tuple(self._mk.get(slot, 0) for slot in self._slots))

    @property
    def note(self) -> str:
        """What a person must know of the readings, "" where no probe has an offset."""
        if not self.known:
            return RAW
        return f"with the offsets of {self._of}" if any(self._mk.values()) else ""
