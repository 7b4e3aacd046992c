"""The status page: one plain text in words. No input, no link that changes anything, no script.

Every word comes from the program or is a number, so nothing needs escaping.
"""

from springhouse import fitted, probes, reading, setting, timekeeping, words
from springhouse import memory as cell
from springhouse.reasons import text

TYPE_CHECKING = False
if TYPE_CHECKING:
    from array import array

    from springhouse.scan import Scanner

_HEAD = (
    '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width">'
    '<meta name="color-scheme" content="light dark"><meta http-equiv="refresh" content="10">'
    "<title>springhouse</title><style>body{font:18px/1.5 serif;max-width:32em;margin:2em auto;"
    "padding:0 1em}td{padding-right:2em;vertical-align:top}</style></head><body>"
    "<h1>springhouse</h1>"
)
_FOOT = (
    '<p>Read only: nothing can be changed from here. <a href="/state.json">The record in '
    "numbers</a>.</p></body></html>"
)
_LOOPS = (  # fitted bit, reading, healthy, not healthy
    (fitted.TRAY, reading.TRAY_OK, "well", "full"),
    (fitted.LEVEL, reading.LEVEL_OK, "well", "low"),
    (fitted.FLOOR, reading.FLOOR_DRY, "dry", "wet"),
    (fitted.MAINS, reading.MAINS_OK, "present", "away"),
    (fitted.RELAY, reading.RELAY_OPEN, "freezer dead", "freezer live"),
)
_AMOUNTS = (  # fitted bit, reading, unit
    (fitted.FLOW, reading.FLOW_ML_MIN, " mL/min"),
    (fitted.FAN_TACH, reading.FAN_RPM, " rev/min"),
    (fitted.BATTERY, reading.BATTERY_MV, " mV"),
)


def _named(names: "tuple[str, ...]", bits: int) -> "list[str]":
    return [name for n, name in enumerate(names) if bits >> n & 1]


def _name(bit: int) -> str:
    """Name of a sensor by its fitted bit."""
    return _named(words.SENSORS, bit)[0]


def _probe(memory: "array[int]", readings: "array[int]", i: int) -> str:
    if probes.trusted(memory, i):
        return words.tenths(readings[reading.STORE_LOW_MC + i]) + " °C"
    fault = readings[reading.STORE_LOW_FAULT + i]
    if fault:
        return "not trusted: " + words.FAULTS[fault]
    if not probes.frame_good(readings, i):
        return "not trusted: out of range"
    if i <= probes.HIGH and timekeeping.due(memory, cell.STORE_LOW_STUCK_T + i):
        return "not trusted: does not move"
    return "gaining trust"


def _because(reason: int, ms: int) -> str:
    return " (" + text(reason, ms) + ")" if reason >= 0 else ""


def _rows(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> "list[str]":
    """A table row for each sensor that is fitted."""
    fits = settings[setting.FITTED]
    pairs = [
        (_name(fitted.STORE_LOW << i), _probe(memory, readings, i))
        for i in range(reading.PROBES)
        if probes.fitted(settings, i)
    ]
    for bit, slot, well, ill in _LOOPS:
        if fits & bit:
            pairs.append((_name(bit), well if readings[slot] else ill))
    for bit, slot, unit in _AMOUNTS:
        if fits & bit:
            pairs.append((_name(bit), str(readings[slot]) + unit))
    return ["<tr><td>%s</td><td>%s</td></tr>" % pair for pair in pairs]


def html(scanner: "Scanner", proven: bool, uptime_s: int, cause: int, test: int) -> "list[str]":
    """The page as the board stands, in pieces: one of its whole length may not be free."""
    memory, readings = scanner.memory, scanner.readings
    store, store_ms, room, room_ms = scanner.why()
    running = _named(words.OUTPUTS, memory[cell.OUT])
    latched = _named(words.LATCHES, memory[cell.LATCH])
    left_ms = timekeeping.ticks_diff(memory[cell.MODE_T], readings[reading.NOW_MS])
    mode_ms = left_ms if timekeeping.waiting(memory, cell.MODE_T) else -1
    said = "<p>Store side: %s%s.<br>Room side: %s%s.<br>Running: %s.<br>Asked for: %s.</p>" % (
        words.STORE_STATES[memory[cell.STORE_STATE]],
        _because(store, store_ms),
        words.ROOM_STATES[memory[cell.ROOM_STATE]],
        _because(room, room_ms),
        ", ".join(running) or "nothing",
        words.mode_text(memory[cell.MODE], mode_ms),
    )
    if latched:
        said += "<p>Waiting for the button at the board: %s.</p>" % ", ".join(latched)
    if not proven:
        said += "<p>These settings are unproven.</p>"
    table = "<table>" + "".join(_rows(memory, scanner.settings, readings)) + "</table>"
    up = (uptime_s // 3600, uptime_s // 60 % 60, words.CAUSES[cause], words.test_text(test))
    ends = "<p>Up for %d h %d min; started by: %s.<br>Self-test: %s.</p>" % up
    return [_HEAD, said, table, ends, _FOOT]
