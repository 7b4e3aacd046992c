"""Logs to fit to: what `run --csv` writes, and the board's black box as got over the link.

Both become one table: a row a sample, NaN where nothing is known, and the outputs as they changed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from io import StringIO
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
from springhouse import blackbox, reading, setting

from .. import outside
from ..errors import KnownError
from ..site import Site

LARGEST_BYTES = outside.LOG_BYTES
LONGEST_LINE = 4096

# Names of the table, by those of `run --csv`. Probes and what surrounds the installation.
CSV_NAMES = {
    "store_low_probe_c": "store_low_c",
    "store_high_probe_c": "store_high_c",
    "room_probe_c": "room_c",
    "coil_in_c": "coil_in_c",
    "air_off_c": "coil_air_c",
    "flow_l_min": "flow_l_min",
    "freezer_w": "freezer_w",
    "room_relative_humidity": "humidity",
    "place_c": "place_c",
    "outdoor_c": "outdoor_c",
    "sun_w": "sun_w",
    "people_sensible_w": "people_w",
    "equipment_w": "equipment_w",
    "mains": "mains",
    "out": "out",
}
# What a column may hold, by its name in the file: wide, but °F, per cent, kW and mL are found out.
# Below 0 is what the simulation's curves leave of nothing.
RANGES = {
    "flow_l_min": (-0.1, 100.0, "L/min"),
    "freezer_w": (-1.0, 5000.0, "W"),
    "room_relative_humidity": (0.0, 1.05, "as a share, no per cent"),
    "place_c": (-40.0, 60.0, "°C"),
    "outdoor_c": (-60.0, 60.0, "°C"),
    "sun_w": (-1.0, 50_000.0, "W through all windows"),
    "people_sensible_w": (-1.0, 20_000.0, "W"),
    "equipment_w": (-1.0, 20_000.0, "W"),
    "mains": (0.0, 1.0, "whole"),
    "out": (0.0, 31.0, "whole"),
}
COLUMNS = tuple(CSV_NAMES.values())
NEEDED = ("room_c", "out")
EXACT = "exact"  # 1: the row was written when its outputs began, not on the minute
TIME = "local_time"

PROBES = ("store_low_c", "store_high_c", "room_c", "coil_in_c", "coil_air_c")
BOX_TEMPERATURES = slice(5, 10)  # places of a black-box record, see `blackbox`
BOX_BOOT, BOX_UTC_MIN, BOX_UPTIME_S = 1, 3, 4
BOX_FLOW, BOX_HUMIDITY, BOX_FAULTS, BOX_OUT, BOX_INPUTS = 10, 13, 14, 16, 18
INPUT_MAINS = 1
RECORD_KINDS = (blackbox.MINUTE, blackbox.TRANSITION)
CLOCK_STEP_S = 90  # two records tell the boot's start apart by less than a minute, but for this
BOOTS = 256  # numbered modulo


@dataclass(frozen=True, eq=False)
class Log:
    """``table`` is indexed by local time and has `COLUMNS`; ``notes`` say what was passed over."""

    path: Path
    table: pd.DataFrame
    notes: tuple[str, ...] = ()

    def has(self, column: str) -> bool:
        """Whether anything is known of a column."""
        return bool(self.table[column].notna().any())


def read_text(path: Path) -> str:
    """Return a log's text.

    Raises:
        KnownError: it cannot be read, is too long or is no text.
    """
    return outside.read_text(path, LARGEST_BYTES)


def read_log(path: Path, site: Site) -> Log:
    """Return a log in either form.

    Raises:
        KnownError: naming file, line and column of what is wrong with it.
    """
    lines = read_text(path).splitlines()
    if lines and lines[0].lstrip().startswith("{"):
        return _black_box(path, lines, site)
    return _csv(path)


def read_columns(path: Path, needed: Iterable[str], known: Iterable[str]) -> pd.DataFrame:
    """Return a CSV file with a time column, numbers checked, indexed by time.

    Raises:
        KnownError: naming file, line and column.
    """
    text = read_text(path)
    try:
        raw = pd.read_csv(StringIO(text), dtype=str, keep_default_na=False)
    except ValueError as error:
        raise KnownError(f"{path}: no table: {' '.join(str(error).split())}") from None
    for name in (TIME, *needed):
        if name not in raw.columns:
            raise KnownError(f"{path}: line 1: no column {name}")
    dated = raw[TIME].where(raw[TIME].str.match(r"\d{4}-\d"))  # "now" is a date to pandas
    offset = f"{path}: column {TIME}: the clock on the wall, without an offset"
    try:
        when = pd.to_datetime(dated, errors="coerce", format="ISO8601", utc=False)
    except ValueError:  # some with one, some without, or two of them
        raise KnownError(offset) from None
    if len(raw) < 2:
        raise KnownError(f"{path}: at least two rows are needed")
    bad = np.flatnonzero(when.isna())
    if len(bad):
        raise KnownError(
            _cell(path, raw, int(bad[0]), TIME, "no local time such as 2001-07-09T13:30")
        )
    if getattr(when.dt, "tz", None) is not None:
        raise KnownError(offset)
    back = np.flatnonzero(np.diff(when.to_numpy()) <= np.timedelta64(0))
    if len(back):
        raise KnownError(_cell(path, raw, int(back[0]) + 1, TIME, "later than the line before"))
    table = pd.DataFrame(index=pd.DatetimeIndex(when, name=TIME))
    for name in (n for n in known if n in raw.columns):
        values = pd.to_numeric(raw[name], errors="coerce")
        wrong = np.flatnonzero((values.isna() & (raw[name].str.strip() != "")) | np.isinf(values))
        if len(wrong):
            raise KnownError(_cell(path, raw, int(wrong[0]), name, "a number, or nothing"))
        low, high, unit = RANGES.get(name, (-np.inf, np.inf, ""))
        broken = (values % 1.0 != 0.0) & values.notna() & (unit == "whole")
        wrong = np.flatnonzero((values < low) | (values > high) | broken)
        if len(wrong):
            raise KnownError(_cell(path, raw, int(wrong[0]), name, f"{low:g} to {high:g}, {unit}"))
        table[name] = values.to_numpy(np.float64)
    return table


def _cell(path: Path, raw: pd.DataFrame, row: int, column: str, allowed: str) -> str:
    text = str(raw[column].iloc[row])[:40]
    return f"{path}: line {row + 2}, column {column}: {text!r}: {allowed}"


def _csv(path: Path) -> Log:
    needed = [csv for csv, name in CSV_NAMES.items() if name in NEEDED]
    table = read_columns(path, needed, CSV_NAMES).rename(columns=CSV_NAMES)
    # A board's own log has no fault bits here: what no probe can show is no reading.
    for name in PROBES:
        if name in table:
            table[name] = table[name].where(table[name].between(-40.0, 84.9))
    return Log(path, _complete(path, table))


def _complete(path: Path, table: pd.DataFrame) -> pd.DataFrame:
    table = table.reindex(columns=[*COLUMNS, EXACT])
    table[EXACT] = table[EXACT].fillna(0.0)
    table["out"] = table["out"].ffill().fillna(0.0)
    table["mains"] = table["mains"].ffill().fillna(1.0)
    if not table[["store_low_c", "store_high_c"]].notna().any().any():
        raise KnownError(f"{path}: no reading of a store probe")
    if not table["room_c"].notna().any():
        raise KnownError(f"{path}: no reading of the room probe")
    return table


def records(lines: list[str]) -> tuple[list[tuple[int, ...]], int]:
    """Return the black-box records of lines got over the link, and how many were damaged.

    A line of the link that carries something else is no damage.
    """
    found: list[tuple[int, ...]] = []
    damaged = 0
    for line in lines:
        message = outside.message(line, LONGEST_LINE)
        if message is None:
            damaged += line.strip() != ""
            continue
        text = message.get("log")
        if not text:
            continue
        try:
            payload = bytes.fromhex(text)
        except (ValueError, TypeError):
            payload = b""
        if len(payload) == blackbox.RECORD_SIZE:
            found.append(blackbox.fields(payload, 0))
        else:
            damaged += 1
    return found, damaged


def _black_box(path: Path, lines: list[str], site: Site) -> Log:
    found, damaged = records(lines)
    kept = [r for r in found if r[0] in RECORD_KINDS]
    if not kept:
        raise KnownError(f'{path}: no black-box record: expected lines such as {{"log":"00..."}}')
    notes = [f"{damaged} damaged lines passed over"] if damaged else []
    starts, doubts = _boots(kept)
    timed = [r for r in kept if r[BOX_BOOT] in starts]
    if not timed:
        raise KnownError(f"{path}: the board did not know the time in any record: set its clock")
    changed = sum(r[0] == blackbox.SETTING for r in found)
    if changed:
        notes.append(f"{changed} settings changed by the owner in it: springhouse history --log")
    notes += doubts
    place = site.read_weather().place
    ahead_s = 3600.0 * place.utc_offset_h + 60.0 * site.file.weather.clock_ahead_min
    seconds = np.array([starts[r[BOX_BOOT]] + r[BOX_UPTIME_S] for r in timed], np.float64)
    first = setting.STORE_LOW_OFFSET_MK
    offset_k = [mk / 1000.0 for mk in site.settings()[first : first + reading.PROBES]]
    table = pd.DataFrame(
        [_box_row(r, site, offset_k) for r in timed],
        index=pd.DatetimeIndex(pd.to_datetime(seconds + ahead_s, unit="s"), name=TIME),
    )
    table = table[~table.index.duplicated(keep="last")].sort_index()
    return Log(path, _complete(path, table), tuple(notes))


def _boots(kept: list[tuple[int, ...]]) -> tuple[dict[int, int], list[str]]:
    """Return when each boot began [s since 1970], and what of its clock is in doubt.

    The clock tells minutes, the uptime seconds: the latest minute that a record claims for the
    start is the best one. A clock that was set meanwhile is believed for what went before too. A
    boot that would end after a later one began had a wrong clock and is left out.
    """
    by_boot: dict[int, list[tuple[int, ...]]] = {}
    for r in kept:
        by_boot.setdefault(r[BOX_BOOT], []).append(r)
    spans, doubts, without = {}, [], 0
    for boot, of_boot in by_boot.items():
        of_boot.sort(key=lambda r: r[BOX_UPTIME_S])
        told = [60 * r[BOX_UTC_MIN] - r[BOX_UPTIME_S] for r in of_boot if r[BOX_UTC_MIN]]
        if not told:
            without += len(of_boot)
            continue
        steps = [i for i, (a, b) in enumerate(pairwise(told), 1) if abs(b - a) > CLOCK_STEP_S]
        if steps:
            doubts.append(f"boot {boot}: its clock was set meanwhile: all by the clock at its end")
        start = max(told[steps[-1] if steps else 0 :])
        spans[boot] = (start, start + of_boot[-1][BOX_UPTIME_S])
    starts = {}
    for boot, (start, end) in spans.items():
        later = [s for b, (s, _) in spans.items() if 0 < (b - boot) % BOOTS < BOOTS // 2]
        if later and end > min(later) + CLOCK_STEP_S:
            n = len(by_boot[boot])
            doubts.append(
                f"boot {boot}: {n} records passed over: they would reach into a later one"
            )
        else:
            starts[boot] = start
    if without:
        doubts.append(f"{without} records of boots without a clock passed over")
    return starts, doubts


def _box_row(r: tuple[int, ...], site: Site, offset_k: list[float]) -> dict[str, float]:
    """Return a row; a record carries raw readings, ``offset_k`` is added as the controller does."""
    row: dict[str, float] = {}
    for i, (name, centi) in enumerate(zip(PROBES, r[BOX_TEMPERATURES], strict=True)):
        fitted = getattr(site.file.sensors, name.removesuffix("_c")) == "fitted"
        if fitted and not r[BOX_FAULTS] >> 3 * i & 7:
            row[name] = centi / 100.0 + offset_k[i]
    if site.file.sensors.flow == "fitted":
        row["flow_l_min"] = r[BOX_FLOW] / 1000.0
    if r[BOX_HUMIDITY]:
        row["humidity"] = r[BOX_HUMIDITY] / 10000.0
    row["out"] = float(r[BOX_OUT])
    row[EXACT] = float(r[0] == blackbox.TRANSITION)
    row["mains"] = float(bool(r[BOX_INPUTS] & INPUT_MAINS))
    return row
