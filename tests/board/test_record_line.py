"""The record's line: whatever the board's numbers are, it stays one line of the link."""

from array import array
from types import SimpleNamespace

from hypothesis import given
from hypothesis import strategies as st
from springhouse import (
    cause,
    fault,
    latch,
    mode,
    output,
    reading,
    reason,
    report,
    selftest,
    timekeeping,
    words,
)
from springhouse import memory as cell
from springhouse_host.watching import board_record

LINE_MOST = 288  # bytes, stated in report.py


def made(extreme: bool) -> tuple[SimpleNamespace, SimpleNamespace]:
    """A scanner and an owner whose numbers are the longest there can be, or zero."""
    memory, readings = array("i", [0] * cell.SIZE), array("i", [0] * reading.SIZE)
    if extreme:
        for i in range(reading.PROBES):
            readings[reading.STORE_LOW_MC + i] = -55_000
            readings[reading.STORE_LOW_FAULT + i] = fault.CONFIG
        readings[reading.FLOW_ML_MIN], readings[reading.BATTERY_MV] = 99_999, 82_500
        memory[cell.STORE_STATE] = len(words.STORE_STATES) - 1
        memory[cell.ROOM_STATE] = len(words.ROOM_STATES) - 1
        memory[cell.OUT] = (output.ALARM << 1) - 1
        for slot in (cell.STORE_WORD, cell.ROOM_WORD, cell.LOCK_WORD):
            memory[slot] = 0xFFFF
        memory[cell.LATCH] = latch.STORE | latch.ROOM
        memory[cell.MODE] = mode.SIZE - 1
        memory[cell.MODE_T] = timekeeping.ticks_add(0, mode.LIMIT_MIN[mode.OFF] * 60_000)
    why = (reason.SIZE - 1, timekeeping.LONGEST_MS) * 2 if extreme else (-1, -1, -1, -1)
    scanner = SimpleNamespace(memory=memory, readings=readings, why=lambda: why, inputs=lambda: 31)
    utc_min = (1 << 29) - 1 if extreme else -1
    return scanner, SimpleNamespace(clock=SimpleNamespace(utc_min=utc_min))


def test_the_longest_record_fits_its_line_and_is_understood() -> None:
    scanner, owner = made(True)
    test = (1 << 2 * selftest.ITEMS) - 1
    text = report.line(scanner, owner, (1 << 31) - 1, True, 600, cause.SIZE - 1, test)
    print(len(text))
    assert len(text) < LINE_MOST, "and its newline"
    assert board_record.parse(text, 0.0) is not None


@given(
    st.integers(-1, reason.SIZE - 1),
    st.integers(-1, timekeeping.LONGEST_MS),
    st.integers(0, 1 << 30),
)
def test_the_reason_comes_through_the_line(number: int, ms: int, up_s: int) -> None:
    scanner, owner = made(False)
    scanner.why = lambda: (number, ms, -1, -1)
    line = board_record.parse(report.line(scanner, owner, up_s, False, 0, 0, 0), 0.0)
    assert line is not None
    assert line.line.why == (number, -(-ms // 1000) if ms >= 0 else -1, -1, -1)
    assert line.line.test == 0
