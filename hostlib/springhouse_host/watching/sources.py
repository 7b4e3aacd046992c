"""Where lines come from: a port, a file of recorded lines, or the simulated demo."""

import json
import time
from collections.abc import Callable, Iterator
from datetime import UTC, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import serial
from springhouse import condition, output, setting, week

from .. import outside
from ..flashing.line import BAUD
from .board_record import LONGEST_LINE

if TYPE_CHECKING:
    from ..site.site import Site

RETRY_S = 1.0
LONGEST_PARTIAL = 4096
MOST_CLOCK = 2**31
PROBE_COLUMNS = (
    "store_low_probe_c",
    "store_high_probe_c",
    "room_probe_c",
    "coil_in_c",
    "air_off_c",
)
OTHER_COLUMNS = ("store_state", "room_state", "out", "flow_l_min", "mains")
Stop = Callable[[], bool]

# (when seen [s since 1970], text); text "" tells that the port is away.
Lines = Iterator[tuple[float, str]]


def from_port(port: str, stop: Stop) -> Lines:
    """Yield a board's lines for as long as wanted; nothing is ever sent to it.

    A board that is unplugged or resets is waited for. Opening raises both handshake lines
    together, which resets none of the boards.
    """
    while not stop():
        try:
            with serial.Serial(port, BAUD, timeout=0.2, exclusive=True) as line:
                yield from _read(line, stop)
        except (serial.SerialException, OSError):
            yield time.time(), ""
            time.sleep(RETRY_S)


def _read(line: serial.Serial, stop: Stop) -> Lines:
    partial = b""
    while not stop():
        partial += line.read(line.in_waiting or 1)
        *whole, partial = partial.split(b"\n")
        partial = partial[-LONGEST_PARTIAL:]
        for raw in whole:
            yield time.time(), raw.decode(errors="replace").strip()


def from_file(path: Path, speed: float, stop: Stop) -> Lines:
    """Yield recorded lines, ``speed`` of their seconds in one; 0 means as fast as can be.

    The file holds lines as the board sent them; other lines are passed on and dropped later.

    Raises:
        KnownError: it cannot be read.
    """
    yield from _paced(outside.read_text(path, outside.LOG_BYTES).splitlines(), speed, stop)


def _paced(texts: list[str], speed: float, stop: Stop) -> Lines:
    before: int | None = None
    for text in texts:
        if stop():
            return
        up, utc_min = _clocks(text)
        if speed > 0.0 and up is not None and before is not None and up > before:
            time.sleep(min(60.0, (up - before) / speed))
        before = up if up is not None else before
        # When it was is told by the board's clock if it had one.
        if up is None or utc_min is None or utc_min < 0:
            yield time.time(), text
        else:
            yield 60.0 * utc_min + up % 60, text


def _clocks(text: str) -> tuple[int | None, int | None]:
    """Return uptime [s] and UTC [min] in a line, None where there is none."""
    given = outside.message(text, LONGEST_LINE) or {}
    up, utc = given.get("up"), given.get("utc")
    return (
        up if isinstance(up, int) and 0 <= up < MOST_CLOCK else None,
        utc if isinstance(utc, int) and utc < MOST_CLOCK else None,
    )


def from_demo(site: "Site", speed: float, stop: Stop) -> Lines:
    """Yield lines of a simulated board, one a simulated minute, over the hottest days.

    Raises:
        SiteError: the weather of the site holds no summer.
    """
    yield from _paced(simulated(site), speed, stop)


def simulated(site: "Site", days: int = 2) -> list[str]:
    """Return the link's lines of a simulated run, one a minute."""
    from springhouse_sim.bench import Pace

    from ..proof import running, scenarios

    scenario = scenarios.single(site, None, days)
    trace = running.bench(site, scenario, pace=Pace.SKIP).run(days)
    of = {name: trace.column(name) for name in (*PROBE_COLUMNS, *OTHER_COLUMNS)}
    events = trace.transitions()
    words = events[["store_word", "room_word", "lock_word"]].to_numpy()
    event_s = events["ms"].to_numpy() / 1000.0
    settings = site.settings()
    begin = trace.calendar.local(0)
    found = []
    for n, time_s in enumerate(trace.column("time_s")):
        local = begin + timedelta(seconds=float(time_s))
        at = max(0, int(event_s.searchsorted(time_s, "right")) - 1)
        store, room, lock = (int(word) for word in words[at])
        # Words of an event stay as they were then; what decided nothing may have changed since.
        week_min = local.weekday() * week.DAY_MIN + local.hour * 60 + local.minute
        wanted = week.plan_at(settings, week_min) & week.PLAN_WANTED
        room = room | condition.WANTED if wanted else room & ~condition.WANTED
        out = int(of["out"][n])
        line = {
            "up": int(time_s),
            "utc": int(local.replace(tzinfo=UTC).timestamp()) // 60,  # as if its clock were UTC
            "st": [int(of["store_state"][n]), int(of["room_state"][n])],
            "out": out,
            "mc": [
                round(1000.0 * float(of[name][n])) - settings[setting.STORE_LOW_OFFSET_MK + i]
                for i, name in enumerate(PROBE_COLUMNS)
            ],
            "bad": [0] * len(PROBE_COLUMNS),
            "ml": round(1000.0 * float(of["flow_l_min"][n])) if out & output.PUMP else 0,
            "mv": round(1000.0 * site.file.battery.nominal_v),
            "in": 31 if of["mains"][n] > 0.5 else 30,
            "w": [store, room, lock],
            "lat": 0,
            "md": [0, 0],
        }
        found.append(json.dumps(line, separators=(",", ":")))
    return found
