"""Logs of an installation whose true numbers are known, as real probes would leave them."""

import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from springhouse import output
from springhouse_host import load_site, run
from springhouse_host.notebook import Run

# How far the truth may lie from what the site file says; labels are no better.
PLACE = str(Path(__file__).parent / "base.toml")  # apart from the demo
SPREAD = {
    "freezer.cabinet_ua_w_k": (0.75, 1.3),
    "freezer.capacity_w": (0.85, 1.15),
    "freezer.input_factor": (0.85, 1.2),
    "store.water_litres": (0.95, 1.03),
    "coil.ua_w_k": (0.8, 1.25),
    "room.envelope_ua_w_k": (0.7, 1.35),
    "room.heat_capacity_kj_k": (0.75, 1.3),
    # not reported, yet not what the site says either
    "coil.air_m3_h": (0.88, 1.15),
    "freezer.condenser_ua_w_k": (0.85, 1.15),
    "room.infiltration_per_h": (0.75, 1.3),
    "room.sun_share_percent": (0.9, 1.1),
}
PROBES = {
    "store_low_probe_c": 0.1,  # standard deviation of its constant error [K]
    "store_high_probe_c": 0.1,
    "room_probe_c": 0.1,
    "coil_in_c": 0.2,
    "air_off_c": 0.2,
}
SIXTEENTH_K = 0.0625  # resolution of a 12-bit digital probe (DS18B20 datasheet)
NOISE_K = 0.03
BOX_FORMAT = "<BBHIIhhhhhHHHHHHBBBBBB"  # written out again, to check the reader


def truth(rng: np.random.Generator) -> dict[str, float]:
    """Random true values by key."""
    site = load_site(PLACE)
    mid = {key: known.mid for key, known in site.known.items()}
    mid |= {"freezer.input_factor": 1.0, "store.water_litres": site.file.store.water_litres}
    return {key: mid[key] * rng.uniform(*span) for key, span in SPREAD.items()}


def true_run(true: dict[str, float], days: int, start: str = "2001-07-09") -> Run:
    """The installation for tests with these values, run by its own controller."""
    changes: dict[str, Any] = {k: {"value": v, "grade": "measured"} for k, v in true.items()}
    if "store.water_litres" in true:
        changes["store.water_litres"] = true["store.water_litres"]
    return run(load_site(PLACE, changes), start=start, days=days)


def as_read(minutes: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """What probes and a plug-in meter show: constant errors, noise, resolution."""
    seen = minutes.copy()
    for name, sd in PROBES.items():
        shown = seen[name] + rng.normal(0.0, sd) + rng.normal(0.0, NOISE_K, len(seen))
        seen[name] = np.round(shown / SIXTEENTH_K) * SIXTEENTH_K
    seen["freezer_w"] = np.round(seen["freezer_w"] * (1.0 + rng.normal(0.0, 0.01, len(seen))), 1)
    seen["place_c"] = np.round(seen["place_c"] / SIXTEENTH_K) * SIXTEENTH_K
    return seen


def with_gaps(seen: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Lose one minute in fifty, three quarters of an hour one evening, and some single readings."""
    kept = rng.random(len(seen)) > 0.02
    begins = int(rng.integers(18 * 60, 21 * 60))
    kept[begins : begins + 45] = False
    seen = seen[kept].copy()
    for name in PROBES:
        seen.loc[rng.random(len(seen)) < 0.01, name] = np.nan
    return seen


def csv_log(path: Path, true: dict[str, float], rng: np.random.Generator, days: int) -> Path:
    """The log of a run as `run --csv` writes it, read by real probes."""
    with_gaps(as_read(true_run(true, days).minutes, rng), rng).to_csv(
        path, index_label="local_time"
    )
    return path


def box_log(path: Path, done: Run, rng: np.random.Generator) -> Path:
    """The same as the board's black box over the link: minutes, and every change of the outputs."""
    seen = as_read(done.minutes, rng)
    changes = done.changes[done.changes["out"].diff() != 0.0]
    ahead = pd.Timedelta(minutes=done.trace.calendar.clock_ahead_min)
    utc = pd.Timedelta(hours=-done.site.read_weather().place.utc_offset_h)
    lines = ['{"up":1,"utc":-1,"st":[0,0]}']
    for kind, table in ((0, seen), (1, changes)):
        for stamp, row in table.iterrows():
            at = row if kind == 0 else seen.iloc[seen.index.searchsorted(stamp) - 1]
            true_utc = int((stamp - ahead + utc).timestamp())
            uptime = int((stamp - seen.index[0]).total_seconds()) + 600
            centi = [int(np.floor(at[name] * 100.0)) for name in PROBES]
            record = struct.pack(
                BOX_FORMAT, kind, 7, 0, true_utc // 60, uptime, *centi,
                int(at["flow_l_min"] * 1000.0), 13200, 0,
                int(at["room_relative_humidity"] * 10000.0), 0, 0, int(row["out"]), 0x11, 0x1F,
                0, 0, 0,
            )  # fmt: skip
            lines.append(json.dumps({"log": record.hex()}))
    lines.append('{"log":""}')
    path.write_text("\n".join(lines), "utf-8")
    return path


def outdoor_csv(path: Path, done: Run) -> Path:
    """An outdoor thermometer's own hourly log."""
    hours = done.minutes[["outdoor_c", "sun_w"]].iloc[::30]
    last = done.minutes[["outdoor_c", "sun_w"]].iloc[-1:]
    pd.concat([hours, last]).to_csv(path, index_label="local_time")
    return path


COMPRESSOR, PUMP = output.COMPRESSOR, output.PUMP
