"""What the two slots hold: settings, the owner's range and the proof, together in one body.

The proof covers every value inside the range, so its hash is taken with the ranged slots at
their lowest value and the range itself behind them; without a range it is the plain hash of the
settings.
"""

import struct
from array import array
from hashlib import sha256

from springhouse import setting

_SETTINGS_BYTES = setting.SIZE * 4
_ENTRY = "<Hii"  # slot, lowest, highest
_ENTRY_SIZE = 10
RANGE_MOST = 3 + 2 * setting.WINDOWS  # three numbers, begin and end of each window
_HASH = 32
NO_PROOF = b"\0" * _HASH


def pack_range(ranges: "list[tuple[int, int, int]]") -> bytes:
    """The owner's range as bytes."""
    return b"".join([struct.pack(_ENTRY, s, low, high) for s, low, high in ranges])


def proven_sha256(settings: "array[int]", ranges: "list[tuple[int, int, int]]") -> bytes:
    """Hash that a proof of these settings carries."""
    canonical = array("i", settings)
    for slot, low, _high in ranges:
        canonical[slot] = low
    digest: bytes = sha256(bytes(canonical) + pack_range(ranges)).digest()
    return digest


class Record:
    """Settings with range and proof. `fault` says in words why it cannot be used, "" if it can."""

    def __init__(self) -> None:
        self.settings = array("i", [0] * setting.SIZE)
        setting.fill_defaults(self.settings)
        self.ranges: list[tuple[int, int, int]] = []
        self.proof = NO_PROOF  # proven_sha256 of the proof
        self.firmware = NO_PROOF  # firmware_sha256 of the proof
        self.fault = "no settings stored"

    def encode(self) -> bytes:
        """Body for the slots."""
        head = struct.pack("<HH", setting.SCHEMA_NOW, len(self.ranges))
        return head + bytes(self.settings) + pack_range(self.ranges) + self.proof + self.firmware

    def decode(self, body: bytes) -> str:
        """Take a body; returns and keeps `fault`. A faulty body changes nothing else."""
        self.fault = self._take(body)
        return self.fault

    def _take(self, body: bytes) -> str:
        if len(body) < 4 + _SETTINGS_BYTES + 2 * _HASH:
            return "record too short"
        schema, count = struct.unpack_from("<HH", body, 0)
        if schema != setting.SCHEMA_NOW:
            return "schema " + str(schema) + " unknown"
        at = 4 + _SETTINGS_BYTES
        if count > RANGE_MOST or len(body) != at + count * _ENTRY_SIZE + 2 * _HASH:
            return "record length wrong"
        settings = array("i", struct.unpack_from("<" + str(setting.SIZE) + "i", body, 4))
        slot = setting.first_fault(settings)
        if slot >= 0:
            return "setting " + str(slot) + " out of bounds"
        ranges = [struct.unpack_from(_ENTRY, body, at + n * _ENTRY_SIZE) for n in range(count)]
        for slot, low, high in ranges:
            if slot >= setting.SIZE or not low <= settings[slot] <= high:
                return "setting " + str(slot) + " outside the owner's range"
        self.put(settings)
        self.ranges = ranges
        at += count * _ENTRY_SIZE
        self.proof = body[at : at + _HASH]
        self.firmware = body[at + _HASH :]
        return ""

    def put(self, settings: "array[int]") -> None:
        """Take over every slot; the array stays the one that the controller reads."""
        for slot in range(setting.SIZE):
            self.settings[slot] = settings[slot]

    def proven(self, firmware: bytes) -> bool:
        """Whether the proof is for these settings and this firmware."""
        if self.fault or self.proof == NO_PROOF or self.firmware != firmware:
            return False
        return self.proof == proven_sha256(self.settings, self.ranges)

    def _refusal(self, slot: int, value: int) -> str:
        """Why a setting may not have a value, "" if the proof covers it."""
        for ranged, low, high in self.ranges:
            if ranged != slot:
                continue
            if low <= value <= high:
                return ""
            text = "slot " + str(slot) + ": outside the proven range " + str(low) + ".." + str(high)
            return text + ": needs `springhouse prove`"
        return "slot " + str(slot) + ": not in the owner's range: needs `springhouse prove`"

    def try_change(self, changes: "list[int]") -> str:
        """Change settings (slot, value, slot, value, ...), all or none; "" or why not."""
        for at in range(0, len(changes), 2):
            fault = self._refusal(changes[at], changes[at + 1])
            if fault:
                return fault
        before = array("i", self.settings)
        for at in range(0, len(changes), 2):
            self.settings[changes[at]] = changes[at + 1]
        if setting.first_fault(self.settings) >= 0:
            self.put(before)
            return "contradicts another setting"
        return ""
