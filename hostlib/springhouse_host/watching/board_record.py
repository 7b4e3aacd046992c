"""One record of the board's link, checked, with the words a person reads."""

import json
from dataclasses import dataclass
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from springhouse import cause, condition, output, reading, selftest, statechart, why, words

from ..outside import message
from ..units import in_us

LONGEST_LINE = 512  # the board's own are at most 288 bytes; more is noise on the wire

Whole = Annotated[int, Field(ge=-(2**31), lt=2**33)]
Short = Annotated[int, Field(ge=0, lt=2**16)]
Probes = Annotated[tuple[Whole, ...], Field(min_length=reading.PROBES, max_length=reading.PROBES)]
Faults = Annotated[tuple[Short, ...], Field(min_length=reading.PROBES, max_length=reading.PROBES)]


Reason = Annotated[int, Field(ge=-1, lt=len(why.REASONS))]
Left = Annotated[int, Field(ge=-1, lt=2**21)]  # s; the board's waits are below 2**30 ms


class Line(BaseModel):
    """The keys of a line, as the firmware's report.py writes them."""

    model_config = ConfigDict(strict=True, extra="ignore", frozen=True)

    up: Annotated[int, Field(ge=0, lt=2**31)]
    utc: Annotated[int, Field(ge=-1, lt=2**29)]
    st: tuple[
        Annotated[int, Field(ge=0, lt=len(words.STORE_STATES))],
        Annotated[int, Field(ge=0, lt=len(words.ROOM_STATES))],
    ]
    out: Short
    mc: Probes
    bad: Faults
    ml: Whole
    mv: Whole
    inputs: Annotated[Short, Field(alias="in")]
    w: tuple[Short, Short, Short]
    lat: Short
    md: tuple[Annotated[int, Field(ge=0, lt=len(words.MODES))], Whole]
    unproven: Short = 0
    trial: Annotated[int, Field(ge=-1, lt=2**16)] = 0
    rst: Annotated[int, Field(ge=0, lt=cause.SIZE)] | None = None
    why: tuple[Reason, Left, Reason, Left] | None = None
    test: Annotated[int, Field(ge=0, lt=1 << 2 * selftest.ITEMS)] = 0


@dataclass(frozen=True)
class BoardRecord:
    """A record and when this computer saw it [s since 1970, UTC].

    ``offset_mk`` is the calibration of each probe, see `calibration`; 0 leaves readings raw.
    """

    seen_s: float
    line: Line
    offset_mk: tuple[int, ...] = (0,) * reading.PROBES

    @property
    def mains(self) -> bool:
        """Whether the board sees mains."""
        return bool(self.line.inputs & 1)

    def on(self, bit: int) -> bool:
        """Whether an output of ``springhouse.output`` is on."""
        return bool(self.line.out & bit)

    def probe_c(self, i: int) -> float | None:
        """Temperature of a probe [°C], None where its last frame was bad."""
        return None if self.line.bad[i] else (self.line.mc[i] + self.offset_mk[i]) / 1000.0

    def store_c(self) -> float | None:
        """Mean of the store probes that answer [°C], None if none does."""
        seen = [c for c in (self.probe_c(0), self.probe_c(1)) if c is not None]
        return sum(seen) / len(seen) if seen else None


def parse(text: str, seen_s: float) -> BoardRecord | None:
    """Return the record in a line of the link, None if it holds something else."""
    if len(text) > LONGEST_LINE or '"st"' not in text:
        return None
    given = message(text, LONGEST_LINE)
    if given is None:
        return None
    try:
        # Lists stand for the tuples here; strictness is wanted for the numbers in them.
        line = Line.model_validate_json(json.dumps(given))
    except (ValueError, ValidationError):
        return None
    return BoardRecord(seen_s, line)


def latches(record: BoardRecord) -> list[str]:
    """Return the latched faults, which wait for the acknowledge button."""
    return [word for n, word in enumerate(words.LATCHES) if record.line.lat >> n & 1]


def locks(record: BoardRecord, first: int, last: int) -> list[str]:
    """Return what the interlock holds back, bits ``first`` to ``last`` of its word."""
    found = []
    for n, word in enumerate(why.LOCKS):
        if first <= 1 << n <= last and record.line.w[2] >> n & 1:
            found.append(word)
    return found


def reason(record: BoardRecord, side: int) -> str:
    """Return the board's own reason of a side (0 store, 1 room) in words, "" if it says none."""
    if record.line.why is None:
        return ""
    number, left_s = record.line.why[2 * side : 2 * side + 2]
    if number < 0:
        return ""
    return why.text(number, 1000 * left_s)


def degrees(t_c: float, us: bool) -> str:
    """Return a temperature with one decimal, as probes are read."""
    return f"{in_us(t_c, '°C'):.1f} °F" if us else f"{t_c:.1f} °C"


def store_words(record: BoardRecord, aim: str | None, us: bool = False) -> str:
    """Return what the store side does and why; ``aim`` is where a charge goes, if known.

    The reason is the board's own; from one that gives none it is told by what is held back.
    """
    state = words.STORE_STATES[record.line.st[0]]
    now = record.store_c()
    at = "" if now is None else f": {degrees(now, us)}"
    if told := reason(record, 0):
        goal = f", aiming for {aim}" if aim and record.on(output.COMPRESSOR) else ""
        return f"{state}{at}{goal} ({told})"
    if record.on(output.COMPRESSOR):
        return f"{words.STORE_STATES[statechart.CHARGE]}{at}" + (
            f", aiming for {aim}" if aim else ""
        )
    held = locks(record, condition.LOCK_FREEZE, condition.LOCK_REST)
    wants = record.line.w[0] & condition.STORE_WARM
    why = "; ".join(held) if held and wants else ""
    return f"{state}{at}" + (f" ({why})" if why else "")


def room_words(record: BoardRecord, us: bool = False) -> str:
    """Return what the room side does and why."""
    state = words.ROOM_STATES[record.line.st[1]]
    room = record.probe_c(2)
    at = "" if room is None else f": {degrees(room, us)}"
    if told := reason(record, 1):
        return f"{state}{at} ({told})"
    if record.on(output.PUMP):
        return f"{state}{at}"
    word = record.line.w[1]
    held = locks(record, condition.LOCK_TRAY, condition.LOCK_ROOM)
    if held:
        why = "; ".join(held)
    elif not word & condition.WANTED:
        why = "not wanted now"
    elif word & condition.ROOM_COOL:
        why = "room cool"
    elif not word & condition.USEFUL:
        why = "store not cold enough to be of use"
    else:
        why = ""
    return f"{state}{at}" + (f" ({why})" if why else "")


def started(record: BoardRecord) -> str:
    """Return when the board started and what it knows of why, "" from one that does not say."""
    if record.line.rst is None:
        return ""
    hours, minutes = divmod(record.line.up // 60, 60)
    return f"{hours} h {minutes} min ago: {words.CAUSES[record.line.rst]}"


def alarms(record: BoardRecord) -> list[tuple[str, str]]:
    """Return (what is wrong, what to do) in plain words."""
    found = [(word, ADVICE[word]) for word in latches(record)]
    for i, fault in enumerate(record.line.bad):
        if (
            fault and selftest.state(record.line.test, i) != selftest.UNGUARDED
        ):  # then it is not fitted
            name = words.FAULTS[fault] if fault < len(words.FAULTS) else "no answer"
            found.append((f"{words.SENSORS[i]}: {name}", "look at its plug, cable and pull-up"))
    if record.line.rst in RESTARTS and record.line.up < NEWS_S:
        found.append(
            (f"the board restarted: {words.CAUSES[record.line.rst]}", RESTARTS[record.line.rst])
        )
    silent = {words.SENSORS[i] for i, fault in enumerate(record.line.bad) if fault}  # said above
    for name in words.tested(record.line.test, selftest.FAILED):
        if name not in silent:
            found.append((f"self-test: {name}", TEST_ADVICE[name]))
    if record.line.unproven:
        found.append(("settings or firmware are not proven", "run springhouse prove, then flash"))
    if record.line.trial > 0:
        left_min = -(-record.line.trial // 60)
        found.append(
            (f"a new version is on trial, {left_min} min left", "leave it powered until it is over")
        )
    if record.line.trial < 0:
        found.append(
            ("a new version failed its trial, the old one runs", "see the log; flash again")
        )
    return found


NEWS_S = 86_400  # how long a start that nobody wanted is told
RESTARTS = {
    cause.SAG: "measure the board's 5 V while the freezer starts; a supply of its own",
    cause.WATCHDOG: "springhouse history --log; "
    "if it comes again, another supply, then another board",
    cause.FAULT: "springhouse history --log says what ended it",
}
TEST_ADVICE = {
    **dict.fromkeys(words.SENSORS[: reading.PROBES], "look at its plug, cable and pull-up"),
    "tray float": "empty the tray; if it is empty its wire is broken, or the float stuck",
    "level float": "look for a leak; if the level is right its wire is broken, or the float stuck",
    "floor sensor": "dry the floor; if it is dry its wire is broken",
    "relay contact": "it does not follow the relay: its wire, its supply, or a welded relay",
    "stored settings": "flash again; a second time: another board",
    "flash": "flash again; a second time: another board",
    "ice point check": "springhouse commission SITE: ice point of every probe, then flash",
}
ADVICE = {
    "compressor stuck on: unplug": "pull the freezer's plug at once: its relay "
    "is welded; replace it, look for ice, then press the button",
    "store level low": "look for a leak, cut the power at the distribution board if the floor is "
    "wet; refill, then press the button",
    "floor wet": "cut the power at the distribution board first, find the water, dry it, then "
    "press the button",
    "no cooling": "is the freezer plugged in, its lid shut, its own thermostat at coldest? Then "
    "press the button",
    "store probes disagree": "ice point of both probes; look for ice at the wall; then press the "
    "button",
    "pump ran dry": "water level, kinked or blocked tube, air in the loop; purge, then press the "
    "button",
    "condensate tray full": "empty and clean the tray, then press the button",
    "fans without air": "what blocks the fans or the coil? Then press the button",
}
