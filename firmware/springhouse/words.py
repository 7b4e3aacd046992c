"""Plain words for people: a name for each state, output, mode, latch, fault and sensor, in order.

Used by links, logs, reports, page and display, never in the step path. Those that no board keeps in
memory are in why.py.
"""

STORE_STATES = (
    "keeping cold",
    "chilling the store",
    "freeze guard",
    "no store probe",
    "store side locked",
)
ROOM_STATES = (
    "waiting",
    "cooling the room",
    "purging",
    "coil-freeze stop",
    "condensate-full stop",
    "dry-run stop",
    "no room probe",
    "room side locked",
)
OUTPUTS = ("compressor", "pump", "fan", "fan at full speed", "alarm")
MODES = (
    "automatic",
    "off",
    "charge now",
    "cool now",
    "quiet",
    "service",
    "purge",
    "first pull-down",
)
LATCHES = (
    "store level low",
    "floor wet",
    "no cooling",
    "store probes disagree",
    "pump ran dry",
    "condensate tray full",
    "fans without air",
    "compressor stuck on: unplug",
)
FAULTS = (
    "good frame",
    "no answer",
    "checksum wrong",
    "bus shorted: all zeros",
    "bus open: all ones",
    "power-on value",
    "configuration byte wrong",
)
# Why the board started, by the numbers of cause.py.
CAUSES = (
    "unknown cause",
    "power-on",
    "power-on or brown-out",
    "power-on, brown-out or reset pin",
    "brown-out",
    "reset pin",
    "watchdog",
    "request by link or button",
    "fault of the program",
    "reset over the cable",
    "reset over the cable, or crash",
    "soft restart",
)
SENSORS = (
    "store probe low",
    "store probe high",
    "room probe",
    "coil inlet probe",
    "coil air probe",
    "tray float",
    "level float",
    "floor sensor",
    "flow sensor",
    "fan speed",
    "mains sense",
    "battery voltage",
    "relay contact",
)


# What the self-test looks at, by the numbers of selftest.py.
TESTED = SENSORS[:8] + (SENSORS[12], "stored settings", "flash", "ice point check")


def tested(word: int, state: int) -> "list[str]":
    """What of a self-test has a state of selftest.py."""
    return [name for n, name in enumerate(TESTED) if word >> 2 * n & 3 == state]


def test_text(word: int) -> str:
    """A self-test for a person, e.g. "well; not guarded: relay contact"."""
    if not word:
        return "not yet"
    said = ""
    for state, words in ((2, "failed: "), (3, "not guarded: "), (0, "not known: ")):
        names = tested(word, state)
        if names:
            said += "; " + words + ", ".join(names)
    return said[2:] if tested(word, 2) else "well" + said


def tenths(mc: int) -> str:
    """m°C as °C with one digit, halves away from zero."""
    n = (abs(mc) + 50) // 100
    return "%s%d.%d" % ("-" if mc < 0 and n else "", n // 10, n % 10)


def clock(ms: int) -> str:
    """A time left, whole seconds rounded up: "7:12", "1:07:12"."""
    s = (ms + 999) // 1000
    if s < 3600:
        return "%d:%02d" % (s // 60, s % 60)
    return "%d:%02d:%02d" % (s // 3600, s // 60 % 60, s % 60)


def mode_text(mode: int, ms: int) -> str:
    """The owner's mode and its time left, e.g. "quiet, 59:30 left"."""
    if ms < 0:
        return MODES[mode]
    return MODES[mode] + ", " + clock(ms) + " left"
