"""Boot counter: the third short run in a row ends in safe mode, an asked reset does not count."""

import contextlib

from springhouse.boots import ASKED, SERVICE, Boots
from torn_files import PowerCut, TornFiles


def test_third_short_run_is_one_too_many_and_stays_so() -> None:
    files = TornFiles(True)
    assert [Boots("boot", files).begin() for _ in range(6)] == [False] * 2 + [True] * 4


def test_a_long_run_clears_the_count() -> None:
    files = TornFiles(True)
    for _ in range(10):
        boots = Boots("boot", files)
        assert not boots.begin()
        boots.clear()


def test_asked_resets_do_not_count() -> None:
    files = TornFiles(True)
    for n in range(10):
        boots = Boots("boot", files)
        assert not boots.begin()
        assert boots.ask(SERVICE if n % 2 else ASKED)
        assert Boots("boot", files).reason == (SERVICE if n % 2 else ASKED)


def test_power_cuts_while_counting_never_unlock() -> None:
    for cut in range(60):
        files = TornFiles(True)
        for _ in range(3):
            locked = Boots("boot", files).begin()
        assert locked
        with contextlib.suppress(PowerCut):
            Boots("boot", files.power(cut)).begin()
        assert Boots("boot", files.power(None)).begin(), cut
