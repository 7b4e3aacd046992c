"""Records out: one JSON line of at most 288 bytes a second, and the black-box record."""

from array import array

from springhouse import memory as cell
from springhouse import reading, timekeeping
from springhouse.owner import Owner
from springhouse.scan import Scanner

SETTINGS_A_LINE = 16


def _mode_left_s(memory: "array[int]", now: int) -> int:
    if not timekeeping.waiting(memory, cell.MODE_T):
        return 0
    return timekeeping.ticks_diff(memory[cell.MODE_T], now) // 1000


def _seconds(ms: int) -> int:
    """Rounded up; -1 stays."""
    return (ms + 999) // 1000 if ms >= 0 else -1


def _join(record: "array[int]", first: int, count: int) -> str:
    return ",".join([str(record[first + n]) for n in range(count)])


def line(
    scanner: Scanner, owner: Owner, uptime_s: int, unproven: bool, trial: int, cause: int, test: int
) -> str:
    """The record of this scan. Keys are short for the line's sake; the host spells them out.

    up uptime s, utc minute (-1 unknown), st states, out bits, mc probes, bad probe faults, ml
    flow, mv battery, in inputs, w condition words, lat latches, md owner's mode and s left, rst
    cause of the start (cause.py), why number (reason.py) and s left of each side's reason, test the
    last self-test (selftest.py); unproven, and trial: s left of a new version's trial, -1 if it
    failed and this is the old one.
    """
    r, m = scanner.readings, scanner.memory
    store, store_ms, room, room_ms = scanner.why()
    text = '{"up":%d,"utc":%d,"st":[%d,%d],"out":%d,"mc":[%s],"bad":[%s],"ml":%d,"mv":%d' % (
        uptime_s,
        owner.clock.utc_min,
        m[cell.STORE_STATE],
        m[cell.ROOM_STATE],
        m[cell.OUT],
        _join(r, reading.STORE_LOW_MC, reading.PROBES),
        _join(r, reading.STORE_LOW_FAULT, reading.PROBES),
        r[reading.FLOW_ML_MIN],
        r[reading.BATTERY_MV],
    )
    text += ',"in":%d,"w":[%d,%d,%d],"lat":%d,"md":[%d,%d],"rst":%d,"why":[%d,%d,%d,%d]' % (
        scanner.inputs(),
        m[cell.STORE_WORD],
        m[cell.ROOM_WORD],
        m[cell.LOCK_WORD],
        m[cell.LATCH],
        m[cell.MODE],
        _mode_left_s(m, r[reading.NOW_MS]),
        cause,
        store,
        _seconds(store_ms),
        room,
        _seconds(room_ms),
    )
    if test:
        text += ',"test":%d' % test
    if unproven:
        text += ',"unproven":1'
    if trial:
        text += ',"trial":%d' % trial
    return text + "}"


def settings_line(owner: Owner, part: int) -> str:
    """Part `part` of the settings, "" behind the last."""
    settings = owner.record.settings
    first = part * SETTINGS_A_LINE
    if first >= len(settings):
        return ""
    count = min(SETTINGS_A_LINE, len(settings) - first)
    return '{"settings":[%s],"from":%d}' % (_join(settings, first, count), first)


def setting_values(values: "tuple[int, ...]", old: int, new: int, tick: int) -> "tuple[int, ...]":
    """`box_values` with a change of a setting in place of the numbers that a SETTING has not.

    Or, of a TEST, with the days since the ice points (-1 unknown) and the word of its items.
    """
    halves = tuple([n >> shift & 0xFFFF for n in (old, new, tick) for shift in (0, 16)])
    return values[:10] + halves + values[16:]


def _clip(value: int, low: int, high: int) -> int:
    return max(low, min(high, value))


def box_values(
    kind: int, boot: int, detail: int, uptime_s: int, scanner: Scanner, owner: Owner, dropped: int
) -> "tuple[int, ...]":
    """Values of a black-box record in the order of its format, each clipped to its field."""
    r, m = scanner.readings, scanner.memory
    faults = 0
    for i in range(reading.PROBES):
        faults |= r[reading.STORE_LOW_FAULT + i] << 3 * i
    head = (kind, boot, detail & 0xFFFF, max(0, owner.clock.utc_min), uptime_s)
    temperatures = tuple(
        [_clip(r[reading.STORE_LOW_MC + i] // 10, -32768, 32767) for i in range(reading.PROBES)]
    )
    return (
        head
        + temperatures
        + (
            _clip(r[reading.FLOW_ML_MIN], 0, 65535),
            _clip(r[reading.BATTERY_MV], 0, 65535),
            _clip(r[reading.FAN_RPM], 0, 65535),
            scanner.rh_cpc(),
            faults,
            m[cell.LOCK_WORD],
            m[cell.OUT],
            m[cell.STORE_STATE] << 4 | m[cell.ROOM_STATE],
            scanner.inputs(),
            m[cell.LATCH],
            m[cell.MODE],
            dropped,
        )
    )
