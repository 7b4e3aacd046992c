"""Two-slot records: load old or new whatever happens; and what the record itself refuses."""

import contextlib
import random
import struct
from array import array
from hashlib import sha256

import pytest
from springhouse import setting
from springhouse.clock import Clock
from springhouse.owner import Owner
from springhouse.record import NO_PROOF, Record, proven_sha256
from springhouse.storage import TwoSlots, unpack
from torn_files import PowerCut, TornFiles


def settings_body(target_mc: int) -> bytes:
    record = Record()
    record.settings[setting.ROOM_TARGET_MC] = target_mc
    return record.encode()


@pytest.mark.parametrize("eager", [True, False])
def test_power_cut_at_every_step_of_saving_loads_old_or_new(eager: bool) -> None:
    old, new = settings_body(22000), settings_body(23000)
    files = TornFiles(eager)
    slots = TwoSlots("settings", files)
    assert slots.save(settings_body(21000))
    assert slots.save(old)
    before = dict(files.kept)
    assert TwoSlots("settings", files.power(None)).save(new)
    steps = files.spent
    assert steps > len(new)
    outcomes = []
    for cut in range(steps + 1):
        files.kept = dict(before)
        slots = TwoSlots("settings", files.power(cut))
        assert slots.load() == old
        with contextlib.suppress(PowerCut):
            slots.save(new)
        again = TwoSlots("settings", files.power(None))
        loaded = again.load()
        assert loaded in (old, new), cut
        outcomes.append(loaded == new)
        assert again.save(old)
        assert TwoSlots("settings", files).load() == old
    assert outcomes == sorted(outcomes)
    assert outcomes[-1]
    assert not outcomes[0]


@pytest.mark.parametrize("eager", [True, False])
def test_power_cut_at_every_step_of_a_change_keeps_or_makes_all_of_it(eager: bool) -> None:
    """The owner moves both ends of two windows and the target at once: never a mixture."""
    files = TornFiles(eager)
    record = Record()
    changes = [setting.ROOM_TARGET_MC, 23000]
    record.ranges = [(setting.ROOM_TARGET_MC, 22000, 26000)]
    for slot in (setting.WINDOW_1_KIND + 2, setting.WINDOW_1_KIND + 3, setting.WINDOW_1_KIND + 6):
        record.settings[slot] = 600
        record.ranges.append((slot, 570, 630))
        changes += [slot, 620]
    assert TwoSlots("settings", files).save(record.encode())
    before, old = dict(files.kept), bytes(record.settings)
    outcomes = []
    cut = 0
    while not outcomes or outcomes[-1] == old or cut < 500:
        files.kept = dict(before)
        slots = TwoSlots("settings", files.power(cut))
        made = Record()
        made.decode(slots.load())
        with contextlib.suppress(PowerCut):
            assert Owner(Clock([], 0, True), made, slots).change(changes) == ""
        loaded = Record()
        assert loaded.decode(TwoSlots("settings", files.power(None)).load()) == ""
        outcomes.append(bytes(loaded.settings))
        cut += 1
    assert len(set(outcomes)) == 2, "old or new"
    assert outcomes[0] == old


def test_first_save_ever_loads_nothing_or_the_record() -> None:
    new = settings_body(23000)
    for cut in range(700):
        files = TornFiles(True).power(cut)
        with contextlib.suppress(PowerCut):
            TwoSlots("settings", files).save(new)
        assert TwoSlots("settings", files.power(None)).load() in (None, new)


def test_any_damaged_byte_falls_back_to_the_other_slot() -> None:
    files = TornFiles(True)
    slots = TwoSlots("settings", files)
    slots.save(settings_body(22000))
    slots.save(settings_body(23000))
    newest = "settings.1" if slots._slot == 1 else "settings.0"
    whole = files.kept[newest]
    for i in range(len(whole)):
        files.kept[newest] = whole[:i] + bytes([whole[i] ^ 0x55]) + whole[i + 1 :]
        assert TwoSlots("settings", files).load() == settings_body(22000), i
    rng = random.Random(2)
    for _ in range(300):
        assert unpack(bytes(rng.randrange(256) for _ in range(rng.randrange(80)))) is None


def test_sequence_number_wraps() -> None:
    files = TornFiles(True)
    slots = TwoSlots("s", files)
    slots.seq = 0x3FFFFFFE
    for n in range(4):
        assert slots.save(bytes([n]))
        assert TwoSlots("s", files).load() == bytes([n])


def test_a_full_file_system_keeps_the_old_record() -> None:
    class Full(TornFiles):
        def spend(self) -> None:
            if self.budget is not None:
                raise OSError(28)

    files = Full(True)
    assert TwoSlots("s", files).save(b"old")
    files.budget = 0
    assert not TwoSlots("s", files).save(b"new")
    assert TwoSlots("s", files).load() == b"old"


def test_a_file_that_reads_back_wrong_is_not_renamed() -> None:
    class Worn(TornFiles):
        worn = False

        def open(self, path: str, mode: str):
            if self.worn and mode == "rb" and path.endswith(".new"):
                self.kept[path] = self.kept[path][:-1] + b"\0"
            return super().open(path, mode)

    files = Worn(True)
    assert TwoSlots("s", files).save(b"old")
    files.worn = True
    slots = TwoSlots("s", files)
    slots.load()
    assert not slots.save(b"new")
    assert TwoSlots("s", files).load() == b"old"


def proven_record(ranges: list[tuple[int, int, int]]) -> Record:
    record = Record()
    record.ranges = ranges
    record.firmware = b"f" * 32
    record.proof = proven_sha256(record.settings, ranges)
    record.decode(record.encode())
    assert record.fault == ""
    return record


RANGE = [(setting.ROOM_TARGET_MC, 22000, 26000)]


def test_hash_without_a_range_is_the_plain_hash_of_little_endian_words() -> None:
    settings = Record().settings
    assert (
        proven_sha256(settings, []) == sha256(struct.pack(f"<{setting.SIZE}i", *settings)).digest()
    )


def test_proof_covers_the_range_and_nothing_else() -> None:
    record = proven_record(RANGE)
    assert record.proven(b"f" * 32)
    assert not record.proven(b"g" * 32)
    assert record.try_change([setting.ROOM_TARGET_MC, 22500]) == ""
    assert record.proven(b"f" * 32)
    for slot, value in (
        (setting.ROOM_TARGET_MC, 21999),
        (setting.ROOM_TARGET_MC, 26001),
        (setting.MIN_OFF_S, 300),
    ):
        before = array("i", record.settings)
        assert "springhouse prove" in record.try_change([slot, value])
        assert record.settings == before
    record.settings[setting.MIN_OFF_S] = 301
    assert not record.proven(b"f" * 32)
    record = proven_record(RANGE)
    record.ranges = [(setting.ROOM_TARGET_MC, 22000, 26001)]
    assert not record.proven(b"f" * 32), "a wider range needs its own proof"


def test_a_change_that_contradicts_another_setting_is_refused() -> None:
    record = proven_record([(setting.ROOM_TARGET_MC, 22000, 30000)])
    assert "contradicts" in record.try_change([setting.ROOM_TARGET_MC, 27000])  # limit is 27 °C
    assert record.settings[setting.ROOM_TARGET_MC] == 24000


def test_record_round_trip_and_refusals() -> None:
    record = proven_record(RANGE)
    body = record.encode()
    other = Record()
    assert other.fault
    assert not other.proven(b"f" * 32)
    assert other.decode(body) == ""
    assert other.encode() == body
    assert "short" in Record().decode(body[:100])
    assert "schema" in Record().decode(b"\x09\0" + body[2:])
    assert "length" in Record().decode(body + b"\0")
    outside = Record()
    outside.settings[setting.ROOM_TARGET_MC] = 21000
    outside.ranges = RANGE
    assert "range" in Record().decode(outside.encode())
    for slot in range(setting.SIZE):
        for value in (setting.row(slot)[1] - 1, setting.row(slot)[2] + 1):
            bad = Record()
            bad.settings[slot] = value
            assert "out of bounds" in Record().decode(bad.encode())
    assert Record().proof == NO_PROOF
