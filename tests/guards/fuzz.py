"""Damaged inputs by the thousand: site files, weather files, bases of records.

    python tests/guards/fuzz.py sites 10000
    python tests/guards/fuzz.py weather 2000
    python tests/guards/fuzz.py bases 500

Each mutant is read in this process. What must come of it: a result, or known errors of one line
that begin with the file, within CPU_S of computing (of this process, so that a busy machine changes
nothing). Counted are tracebacks, hangs, lines that name no key, and records lost or invented.
"""

import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "host"))
sys.path.insert(0, str(Path(__file__).parent.parent / "sim"))

import base_case
import pvgis_files
import springhouse_host
from springhouse_host.errors import KnownError
from springhouse_host.site import load_site
from springhouse_host.site.read import MODELS
from springhouse_host.watching.base import Base
from springhouse_sim.world import weather_files
from springhouse_sim.world.pvgis import Asked
from springhouse_sim.world.weather import Place

CPU_S = 5.0
Chance = random.Random
Counts = Counter[str]

SITES = Path(springhouse_host.__file__).parent / "sites"
WORDS = [
    "0", "-1", "1e308", "-1e308", "nan", "inf", "-inf", "0x7fffffff", "9" * 5000, "1e-320", "true",
    '""', '"x"', '"1 furlong"', '"-0 °C"', '"\\u0000"', "[]", "{}", "[[]]", '["23:00-07:00"]',
    '["mon-mon 00:00-24:00"]', "{ value = 1, grade = 'label' }", "2026-02-30", "1979-05-27", "'''",
    "[" * 40, "{a=" * 40, "a.b.c.d = 1", "'" + "n" * 3000 + "'", "07:00:00",
]  # fmt: skip


def bytes_wrong(data: bytes, chance: Chance) -> bytes:
    """Return data with one run of bytes changed, doubled, swapped or taken out."""
    at, to = sorted(chance.randrange(len(data) + 1) for _ in range(2))
    to = min(to, at + chance.choice((1, 1, 4, 200, 50_000)))
    match chance.randrange(5):
        case 0:
            return data[:at] + chance.randbytes(to - at) + data[to:]
        case 1:
            return data[:at] + data[to:]
        case 2:
            return data[:to] + data[at:to] * chance.choice((1, 3)) + data[to:]
        case 3:
            return data[:at]
        case _:
            return data[to:] + data[at:to] + data[:at]


def site_mutant(text: str, chance: Chance) -> bytes:
    """Return a site file with up to three values scaled, replaced, misspelt, moved or broken."""
    lines = text.splitlines()
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        n = chance.choice([k for k, line in enumerate(lines) if "=" in line or "[" in line])
        key, is_set, value = lines[n].partition("=")
        match chance.randrange(7):
            case 0 | 1 | 2 if is_set:
                lines[n] = f"{key}= {scaled(value, chance)}"
            case 3 if is_set:
                lines[n] = f"{key}= {chance.choice(WORDS)}"
            case 4:
                lines.insert(chance.randrange(len(lines)), lines[n])
            case 5:
                del lines[n]
            case _:
                lines[n] = bytes_wrong(lines[n].encode(), chance).decode("latin-1")
    data = "\n".join(lines).encode()
    return bytes_wrong(data, chance) if chance.random() < 0.1 else data


def scaled(value: str, chance: Chance) -> str:
    """Return a number times a factor, anything else as it is."""
    bare = value.split("#")[0].strip()
    try:
        number = float(bare)
    except ValueError:
        return bare
    factor = chance.choice((0.0, 0.1, 0.3, 0.5, 0.8, 1.3, 2.0, 4.0, 10.0, -1.0))
    changed = number * factor
    return str(round(changed)) if "." not in bare else repr(changed)


def faulty_line(line: str, path: Path) -> bool:
    """Whether a refusal is not one line about the file and, in it, a table or a place."""
    head = f"{path}: "
    if not line.startswith(head) or "\n" in line:
        return True
    where = line[len(head) :].split(":")[0].strip("[]")
    whole = ("not valid TOML", "byte ", "more than", "cannot be read", "and ", "nested", "weather")
    return where.split(".")[0] not in MODELS and not line[len(head) :].startswith(whole)


def read_site(path: Path) -> str:
    """Read a site with all that follows from it."""
    site = load_site(path)
    site.tariff()
    site.plant("low")
    return "accepted"


def fuzz_site(folder: Path, chance: Chance) -> str:
    """Read one mutant of a built-in site."""
    base = chance.choice(sorted(SITES.glob("*.toml")))
    path = folder / "site.toml"
    path.write_bytes(site_mutant(base.read_text("utf-8"), chance))
    try:
        return read_site(path)
    except KnownError as error:
        known = [line for line in error.lines if "no such table" not in line]
        return "NAMES NO KEY" if any(faulty_line(line, path) for line in known) else "refused"


def fuzz_weather(folder: Path, chance: Chance) -> str:
    """Read one mutant of a typical year or of an hourly CSV."""
    names = ("own.csv", "own-hours.csv", "own-year.csv", "723170TYA.CSV", "12839.tm2")
    name = chance.choices(names, (16, 8, 2, 2, 1))[0]  # a typical year takes its parser a second
    path = folder / name
    path.write_bytes(weather_mutant(original(name), chance))
    try:
        moisture = weather_files.shipped("723170TYA.CSV") if "hours" in name else None
        asked = Asked(pvgis_files.OFFSET_H, None, moisture)
        weather_files.read(path, 2001, Place(40.0, 0.0, 10.0, 0.0), asked)
    except ValueError as error:
        line = str(error)
        return "refused" if line.startswith(f"{path}: ") and "\n" not in line else "NOT ONE LINE"
    return "accepted"


def weather_mutant(data: bytes, chance: Chance) -> bytes:
    """Return a weather file with rows swapped, reversed, doubled, missing, or bytes wrong."""
    if chance.random() < 0.5:
        return bytes_wrong(data, chance)
    lines = data.splitlines(keepends=True)
    at, to = sorted(chance.randrange(len(lines)) for _ in range(2))
    match chance.randrange(5):
        case 0:
            lines = lines[:at] + lines[to:] + lines[at:to]
        case 1:
            lines[at:to] = lines[at:to][::-1]
        case 2:
            lines.insert(at, lines[at])
        case 3:
            del lines[at]
        case _:
            cells = lines[to].split(b",")
            k = chance.randrange(len(cells))
            cells[k] = chance.choice((b"", b"x", b"nan", b"1e999", b"-9999", b'"', b"24:00"))
            lines[to] = b",".join(cells)
    return b"".join(lines)


_kept: dict[str, bytes] = {}


def original(name: str) -> bytes:
    """Return an intact file: as pvlib ships it, or written here from one of those."""
    if name not in _kept:
        if name.startswith("own"):
            _kept[name] = written(name)
        else:
            _kept[name] = weather_files.shipped(name).read_bytes()
    return _kept[name]


def written(name: str) -> bytes:
    """Return 300 hours as CSV of our own or of PVGIS, or a typical year of PVGIS."""
    w = weather_files.read(weather_files.shipped("723170TYA.CSV"), 2001)
    if name == "own-year.csv":
        return pvgis_files.typical_text(w).encode()
    if name == "own-hours.csv":
        return pvgis_files.hourly_text(w, datetime(2003, 7, 1), 300).encode()
    rows = ["time,temp_air_c,dew_point_c,pressure_pa,ghi_w_m2,dni_w_m2,dhi_w_m2"]
    columns = (w.temp_air_c, w.dew_point_c, w.pressure_pa, w.ghi_w_m2, w.dni_w_m2, w.dhi_w_m2)
    for n, stamp in enumerate(w.stamps[:300]):
        rows.append(",".join([stamp.isoformat(), *(f"{column[n]:g}" for column in columns)]))
    return ("\n".join(rows) + "\n").encode()


def fuzz_base(folder: Path, chance: Chance) -> str:
    """Read one damaged base; compare with what was written into it."""
    path = folder / "b.sqlite"
    rows = 300
    name = "base"
    if name not in _kept:
        base_case.made(path, rows)
        _kept[name] = path.read_bytes()
        path.unlink()
    data, _ = base_case.damaged(_kept[name], chance)
    path.write_bytes(data)
    written = {10 * n: 1.7e9 + 10.0 * n for n in range(rows)}
    whole = {up for up in written if base_case.text(up).encode() in data}
    try:
        with Base(path, read_only=True) as base:
            found = list(base.records(whose="site:A"))
            told = base.damage
    except KnownError as error:
        # One page holds nothing whole only where the file is cut off at its head.
        one = len(error.lines) == 1 and "\n" not in error.lines[0]
        return "refused" if one and len(whole) <= 2 else "LOST OR NOT ONE LINE"
    got = {record.line.up: record.seen_s for record in found}
    if any(written.get(up) != seen_s for up, seen_s in got.items()) or len(got) != len(found):
        return "INVENTED"
    if len(whole - set(got)) > 2:  # a text may be whole and its row's head not
        return "LOST"
    missing = len(written) - len(got)
    if not missing and not told.salvaged:
        return "read, all"
    return "read, damage counted" if told.lost or told.salvaged else "read, end cut off"


KINDS: dict[str, Callable[[Path, Chance], str]] = {
    "sites": fuzz_site,
    "weather": fuzz_weather,
    "bases": fuzz_base,
}
GOOD = ("accepted", "refused", "read, all", "read, damage counted", "read, end cut off")


def run(kind: str, numbers: range, say: Callable[[str], None]) -> Counts:
    """Read mutants by their numbers; return how often what came of them."""
    counts: Counts = Counter()
    with tempfile.TemporaryDirectory() as name:
        for number in numbers:
            begun_s = time.process_time()
            try:
                came = KINDS[kind](Path(name), random.Random(f"{kind} {number}"))
            except Exception as error:
                came = f"TRACEBACK {type(error).__name__}"
            took_s = time.process_time() - begun_s
            if took_s > CPU_S and number != numbers.start:  # the first one imports
                came = "HANG"
            counts[came] += 1
            if number % 500 == 499:
                say(f"after {number + 1}: {dict(counts)}")
            if came not in GOOD:
                say(f"{kind} {number}: {came}, {took_s:.1f} s")
    return counts


def main() -> int:
    """Run from the command line; leave with 1 where anything came that must not."""
    kind, count, *first = sys.argv[1:]
    begin = int(first[0]) if first else 0
    counts = run(kind, range(begin, begin + int(count)), print)
    for came, times in counts.most_common():
        print(f"{times:6} {came}")
    return int(any(came not in GOOD for came in counts))


if __name__ == "__main__":
    sys.exit(main())
