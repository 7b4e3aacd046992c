"""Black box: nothing torn is ever read, 72 h stay, wear is bounded."""

import contextlib

import pytest
from springhouse import blackbox
from springhouse.blackbox import BATCH_MS, FIELDS, RECORD_SIZE, BlackBox
from torn_files import PowerCut, TornFiles


def record(n: int, kind: int = blackbox.MINUTE) -> tuple[int, ...]:
    return (kind, 1, 0, 29_400_000, n, *[-327] * 5, *[0] * (FIELDS - 10))


def stored(files: TornFiles) -> list[int]:
    """Uptime fields of every whole record, in order of the segments."""
    out = []
    for name in BlackBox("log", files).segments():
        with files.open("log/" + name, "rb") as f:
            while (batch := blackbox.next_batch(f)) is not None:
                payload = f.read(batch[1])
                f.seek(blackbox.TAIL_SIZE, 1)
                out += [blackbox.fields(payload, n)[4] for n in range(len(payload) // RECORD_SIZE)]
    return out


def minutes(box: BlackBox, first: int, count: int) -> None:
    for n in range(first, first + count):
        box.note(record(n))
        if n % 10 == 9:
            assert box.flush()


def test_72_hours_stay_and_files_stay_bounded() -> None:
    files = TornFiles(False)
    minutes(BlackBox("log", files), 0, 10 * 24 * 60)
    kept = stored(files)
    assert kept == list(range(kept[0], 14400))
    assert 72 * 60 <= len(kept) <= 78 * 60
    assert len(files.kept) <= blackbox.SEGMENTS
    assert sum(map(len, files.kept.values())) < 250_000


@pytest.mark.parametrize("eager", [True, False])
@pytest.mark.parametrize("batches", [3, 36])  # the second makes the cut batch begin a segment
def test_power_cut_at_every_step_of_a_batch(eager: bool, batches: int) -> None:
    files = TornFiles(eager)
    minutes(BlackBox("log", files), 0, batches * 10)
    before, count = dict(files.kept), batches * 10
    files.power(None)
    minutes(BlackBox("log", files), count, 10)
    steps = files.spent
    outcomes = []
    for cut in range(steps + 1):
        files.kept = dict(before)
        files.power(cut)
        with contextlib.suppress(PowerCut):
            minutes(BlackBox("log", files), count, 10)
        files.power(None)
        kept = stored(files)
        assert kept in (list(range(count)), list(range(count + 10))), cut
        outcomes.append(len(kept))
        minutes(BlackBox("log", files), 90000, 10)  # and it goes on after the cut
        assert stored(files) == kept + list(range(90000, 90010))
    assert outcomes == sorted(outcomes)
    assert outcomes[-1] == count + 10


def test_reboots_go_on_in_the_same_segment() -> None:
    files = TornFiles(False)
    for n in range(30):
        minutes(BlackBox("log", files), n * 10, 10)
    assert len(files.kept) == 1
    assert stored(files) == list(range(300))


def test_full_buffer_drops_and_says_so() -> None:
    box = BlackBox("log", TornFiles(False))
    taken = sum(box.note(record(n, blackbox.TRANSITION)) for n in range(100))
    assert taken == 46
    assert box.dropped == 54
    assert box.note(record(100, blackbox.FAULT)), "what ends a run has its place"
    assert box.note(record(101, blackbox.COMMAND))
    assert not box.note(record(102, blackbox.FAULT))
    assert box.flush()
    assert box.dropped == 0


def test_changes_of_settings_leave_room_for_what_the_board_does() -> None:
    box = BlackBox("log", TornFiles(False))
    assert sum(box.note(record(n, blackbox.SETTING)) for n in range(100)) == 24
    assert box.dropped == 76
    assert sum(box.note(record(n, blackbox.TRANSITION)) for n in range(100)) == 22


def test_a_failing_file_system_is_counted_and_survived() -> None:
    class Failing(TornFiles):
        def spend(self) -> None:
            raise OSError(5)

    box = BlackBox("log", Failing(False))
    box.note(record(1))
    assert not box.flush()
    assert box.failures == 1
    for n in range(1000):
        box.note(record(n))
    assert not box.flush()


def test_batches_are_at_least_ten_minutes() -> None:
    assert BATCH_MS >= 600000


@pytest.mark.parametrize("name", ["notes.box", "zzzzzzzz.box", "0000000G.box", "00000000.BOX"])
def test_a_foreign_file_among_the_segments_is_left_alone(name: str) -> None:
    files = TornFiles(False)
    files.kept["log/" + name] = b"?"
    box = BlackBox("log", files)
    for n in range(blackbox.SEGMENTS * 36 + 1):
        box.note(record(n))
        assert box.flush()
    assert files.kept["log/" + name] == b"?"
    assert len(box.segments()) == blackbox.SEGMENTS
