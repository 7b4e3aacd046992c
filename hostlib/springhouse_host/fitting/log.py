"""Logs to fit to: what `run --csv` writes, and the board's black box as got over the link.

Both become one table: a row a sample, NaN where nothing is known, and the outputs as they changed.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from springhouse import blackbox as B

from ..errors import KnownError
from ..site import Site

LARGEST_BYTES = 200_000_000

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
COLUMNS = tuple(CSV_NAMES.values())
NEEDED = ("room_c", "out")
EXACT = "exact"  # 1: the row was written when its outputs began, not on the minute
TIME = "local_time"

PROBES = ("store_low_c", "store_high_c", "room_c", "coil_in_c", "coil_air_c")
BOX_TEMPERATURES = slice(5, 10)  # places of a black-box record, see `blackbox`
BOX_BOOT, BOX_UTC_MIN, BOX_UPTIME_S = 1, 3, 4
BOX_FLOW, BOX_HUMIDITY, BOX_FAULTS, BOX_OUT, BOX_INPUTS = 10, 13, 14, 16, 18
INPUT_MAINS = 1
RECORD_KINDS = (B.MINUTE, B.TRANSITION)


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
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise KnownError(
                f"{path}: more than {LARGEST_BYTES // 1_000_000} MB: give a part of it"
            )
        return path.read_text("utf-8")
    except OSError as error:
        raise KnownError(f"{path}: cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError as error:
        raise KnownError(f"{path}: byte {error.start}: not UTF-8 text") from None


def read_log(path: Path, site: Site) -> Log:
    """Return a log in either form.

    Raises:
        KnownError: naming file, line and column of what is wrong with it.
    """
    lines = read_text(path).splitlines()
    if lines and lines[0].lstrip().startswith("{"):
        return _black_box(path, lines, site)
    return _csv(path, lines)


def read_columns(path: Path, needed: Iterable[str], known: Iterable[str]) -> pd.DataFrame:
    """Return a CSV file with a time column, numbers checked, indexed by time.

    Raises:
        KnownError: naming file, line and column.
    """
    try:
        raw = pd.read_csv(path, dtype=str, keep_default_na=False)
    except (OSError, ValueError) as error:
        raise KnownError(f"{path}: no table: {' '.join(str(error).split())}") from None
    for name in (TIME, *needed):
        if name not in raw.columns:
            raise KnownError(f"{path}: line 1: no column {name}")
    dated = raw[TIME].where(raw[TIME].str.match(r"\d{4}-\d"))  # "now" is a date to pandas
    when = pd.to_datetime(dated, errors="coerce", format="ISO8601", utc=False)
    if len(raw) < 2:
        raise KnownError(f"{path}: at least two rows are needed")
    bad = np.flatnonzero(when.isna())
    if len(bad):
        raise KnownError(
            _cell(path, raw, int(bad[0]), TIME, "no local time such as 2001-07-09T13:30")
        )
    if getattr(when.dt, "tz", None) is not None:
        raise KnownError(f"{path}: column {TIME}: the clock on the wall, without an offset")
    back = np.flatnonzero(np.diff(when.to_numpy()) <= np.timedelta64(0))
    if len(back):
        raise KnownError(_cell(path, raw, int(back[0]) + 1, TIME, "later than the line before"))
    table = pd.DataFrame(index=pd.DatetimeIndex(when, name=TIME))
    for name in (n for n in known if n in raw.columns):
        values = pd.to_numeric(raw[name], errors="coerce")
        wrong = np.flatnonzero((values.isna() & (raw[name].str.strip() != "")) | np.isinf(values))
        if len(wrong):
            raise KnownError(_cell(path, raw, int(wrong[0]), name, "a number, or nothing"))
        table[name] = values.to_numpy(np.float64)
    return table


def _cell(path: Path, raw: pd.DataFrame, row: int, column: str, allowed: str) -> str:
    text = str(raw[column].iloc[row])[:40]
    return f"{path}: line {row + 2}, column {column}: {text!r}: {allowed}"


def _csv(path: Path, lines: list[str]) -> Log:
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
        try:
            message: Any = json.loads(line)
        except ValueError:
            damaged += line.strip() != ""
            continue
        text = message.get("log") if isinstance(message, dict) else None
        if not text:
            continue
        try:
            payload = bytes.fromhex(text)
        except (ValueError, TypeError):
            payload = b""
        if len(payload) == B.RECORD_SIZE:
            found.append(B.fields(payload, 0))
        else:
            damaged += 1
    return found, damaged


def _black_box(path: Path, lines: list[str], site: Site) -> Log:
    found, damaged = records(lines)
    kept = [r for r in found if r[0] in RECORD_KINDS]
    if not kept:
        raise KnownError(f'{path}: no black-box record: expected lines such as {{"log":"00..."}}')
    notes = [f"{damaged} damaged lines passed over"] if damaged else []
    # The clock tells minutes, the uptime seconds: within a boot the latest minute that any record
    # claims for the start is the best one.
    starts: dict[int, int] = {}
    for r in kept:
        if r[BOX_UTC_MIN]:
            start = r[BOX_UTC_MIN] * 60 - r[BOX_UPTIME_S]
            starts[r[BOX_BOOT]] = max(start, starts.get(r[BOX_BOOT], start))
    timed = [r for r in kept if r[BOX_BOOT] in starts]
    if not timed:
        raise KnownError(f"{path}: the board did not know the time in any record: set its clock")
    changed = sum(r[0] == B.SETTING for r in found)
    if changed:
        notes.append(f"{changed} settings changed by the owner in it: springhouse history --log")
    if len(timed) < len(kept):
        notes.append(f"{len(kept) - len(timed)} records of boots without a clock passed over")
    place = site.read_weather().place
    ahead_s = 3600.0 * place.utc_offset_h + 60.0 * site.file.weather.clock_ahead_min
    seconds = np.array([starts[r[BOX_BOOT]] + r[BOX_UPTIME_S] for r in timed], np.float64)
    table = pd.DataFrame(
        [_box_row(r, site) for r in timed],
        index=pd.DatetimeIndex(pd.to_datetime(seconds + ahead_s, unit="s"), name=TIME),
    )
    table = table[~table.index.duplicated(keep="last")].sort_index()
    return Log(path, _complete(path, table), tuple(notes))


def _box_row(r: tuple[int, ...], site: Site) -> dict[str, float]:
    row: dict[str, float] = {}
    for i, (name, centi) in enumerate(zip(PROBES, r[BOX_TEMPERATURES], strict=True)):
        fitted = getattr(site.file.sensors, name.removesuffix("_c")) == "fitted"
        if fitted and not r[BOX_FAULTS] >> 3 * i & 7:
            row[name] = centi / 100.0
    if site.file.sensors.flow == "fitted":
        row["flow_l_min"] = r[BOX_FLOW] / 1000.0
    if r[BOX_HUMIDITY]:
        row["humidity"] = r[BOX_HUMIDITY] / 10000.0
    row["out"] = float(r[BOX_OUT])
    row[EXACT] = float(r[0] == B.TRANSITION)
    row["mains"] = float(bool(r[BOX_INPUTS] & INPUT_MAINS))
    return row
