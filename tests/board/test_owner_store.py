"""A change of settings is on flash and in force, or neither."""

from array import array

import pytest
from springhouse import setting
from springhouse.clock import Clock
from springhouse.owner import Owner
from springhouse.record import Record
from springhouse.storage import TwoSlots
from torn_files import TornFiles


def owner(files: TornFiles) -> Owner:
    record = Record()
    record.fault = ""
    record.ranges = [(setting.ROOM_TARGET_MC, 20000, 26000)]
    return Owner(Clock([], 0, False), record, TwoSlots("settings", files))


class Full(TornFiles):
    """Takes no byte; with what it raises."""

    error: type[Exception] = OSError

    def spend(self) -> None:
        raise self.error


@pytest.mark.parametrize("error", [OSError, MemoryError])
def test_a_change_that_could_not_be_stored_is_not_in_force(error: type[Exception]) -> None:
    files = Full(True)
    files.error = error
    asked = owner(files)
    before = array("i", asked.record.settings)
    assert asked.change([setting.ROOM_TARGET_MC, 25000]) == "could not be stored"
    assert asked.record.settings == before
    assert not asked.changed
    assert asked.news == []
    assert TwoSlots("settings", files).load() is None


def test_a_change_that_is_stored_is_in_force_and_told() -> None:
    files = TornFiles(True)
    asked = owner(files)
    assert asked.nudge_target(1) == ""
    assert asked.record.settings[setting.ROOM_TARGET_MC] == 24500
    assert asked.changed
    assert asked.news == [(setting.ROOM_TARGET_MC, 24000, 24500)]
    stored = Record()
    assert stored.decode(TwoSlots("settings", files).load() or b"") == ""
    assert stored.settings == asked.record.settings
