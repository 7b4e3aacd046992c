"""What the display says, in words of words.py: store, room, what both sides do, what is wrong."""

from springhouse import memory as cell
from springhouse import mode, probes, reading, words
from springhouse.cause import UNEXPECTED
from springhouse.reasons import text
from springhouse.selftest import FAILED

TYPE_CHECKING = False
if TYPE_CHECKING:
    from array import array

    from springhouse.scan import Scanner

ROWS, COLUMNS = 8, 16
_WHY_ROWS = 8
_TURN_S = 4  # several latches take turns
_NEWS_S = 86_400  # how long a start that nobody wanted is told


def wrap(line: str, rows: int) -> "list[str]":
    """Text in exactly so many rows, broken at blanks and hyphens where it can be."""
    made = []
    for _ in range(rows):
        end = len(line)
        if end > COLUMNS:
            end = COLUMNS
            while end > 1 and line[end - 1] not in " -" and line[end] != " ":
                end -= 1
            end = end if end > 1 else COLUMNS
        made.append(line[:end].rstrip())
        line = line[end:].lstrip()
    return made


def _row(name: str, mc: "list[int]") -> str:
    """A name and the mean of some temperatures in m°C, "?" without any."""
    value = words.tenths(sum(mc) // len(mc)) + " C" if mc else "?"
    return name + " " * (COLUMNS - len(name) - len(value)) + value


def _trusted(memory: "array[int]", readings: "array[int]", first: int, last: int) -> "list[int]":
    return [
        readings[reading.STORE_LOW_MC + i]
        for i in range(first, last + 1)
        if probes.trusted(memory, i)
    ]


def _side(state: str, why: str, uptime_s: int) -> "list[str]":
    """Two rows: what a side does and its reason, the latter two rows at a time, take turns."""
    turns = wrap(state, 2)
    if why:
        turns += wrap(why.replace("°", ""), _WHY_ROWS)  # the part's letters are ASCII
    while not turns[-2]:
        turns = turns[:-2]
    at = uptime_s // _TURN_S * 2 % len(turns)
    return turns[at : at + 2]


def _trouble(memory: "array[int]", proven: bool, uptime_s: int, cause: int, test: int) -> str:
    """What waits for a person, else what is unusual, else nothing."""
    latched = [word for n, word in enumerate(words.LATCHES) if memory[cell.LATCH] >> n & 1]
    if latched:
        return "! " + latched[uptime_s // _TURN_S % len(latched)]
    if memory[cell.MODE] != mode.AUTOMATIC:
        return words.MODES[memory[cell.MODE]]
    if not proven:
        return "unproven"
    failed = words.tested(test, FAILED)
    if failed:
        return "test: " + failed[uptime_s // _TURN_S % len(failed)]
    if cause in UNEXPECTED and uptime_s < _NEWS_S:
        return "started: " + words.CAUSES[cause]
    return ""


def running(scanner: "Scanner", proven: bool, uptime_s: int, cause: int, test: int) -> "list[str]":
    """The picture of a board that works."""
    memory, readings = scanner.memory, scanner.readings
    why = scanner.why()
    return (
        [
            _row("Store", _trusted(memory, readings, probes.LOW, probes.HIGH)),
            _row("Room", _trusted(memory, readings, probes.ROOM, probes.ROOM)),
        ]
        + _side(words.STORE_STATES[memory[cell.STORE_STATE]], text(*why[:2]), uptime_s)
        + _side(words.ROOM_STATES[memory[cell.ROOM_STATE]], text(*why[2:]), uptime_s)
        + wrap(_trouble(memory, proven, uptime_s, cause, test), 2)
    )


def safe(why: str) -> "list[str]":
    """The picture of the safe mode."""
    return ["Safe mode", "all off", ""] + wrap(why, 5)
