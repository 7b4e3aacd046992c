"""Puts one installation through the commands: results whose balances close, or a refusal by key."""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, is_dataclass
from pathlib import Path
from typing import Any

from springhouse_host.errors import KnownError
from springhouse_host.site import Site, load_site
from springhouse_host.site.read import MODELS

Changes = dict[str, Any]  # by "table.key"


class BrokenError(AssertionError):
    """A command crashed, gave no number, or refused without naming a key."""


@dataclass
class Outcome:
    """What became of one installation."""

    refused: str = ""  # key named by the first line that refuses it
    refused_by: str = ""  # the command
    steps: list[str] = field(default_factory=list)  # commands that gave a result
    energy_error: float = 0.0  # of the run, share of what was turned over
    water_error: float = 0.0


_LINE = re.compile(r"[\w./-]+: \[?([a-z_]+)(?:\.([a-z0-9_]+))?[\],: ]")


def key_of(line: str) -> str | None:
    """Return the table.key that a refusal names, None where it names none."""
    match = _LINE.match(line)
    if match is None or match[1] not in MODELS:
        return None
    if match[2] is not None and match[2] not in MODELS[match[1]].model_fields:
        return None
    return match[1] if match[2] is None else f"{match[1]}.{match[2]}"


def numbers_of(value: Any, where: str = "") -> Iterator[tuple[str, float]]:
    """Yield every number in nested records, with its path."""
    if isinstance(value, bool) or value is None:
        return
    if isinstance(value, int | float):
        yield where, float(value)
    elif is_dataclass(value) and not isinstance(value, type):
        for name, inner in vars(value).items():
            yield from numbers_of(inner, f"{where}.{name}")
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            yield from numbers_of(inner, f"{where}.{name}")
    elif isinstance(value, list | tuple):
        for n, inner in enumerate(value):
            yield from numbers_of(inner, f"{where}[{n}]")


def all_finite(what: str, value: Any) -> None:
    """Raise where a number in the records is none."""
    for where, number in numbers_of(value):
        if not math.isfinite(number):
            raise BrokenError(f"{what}{where}: {number}")


def look(base: str, changes: Changes, depth: int = 0) -> Outcome:
    """Put one installation through the commands.

    Args:
        base: word of a built-in site.
        changes: what differs, by "table.key".
        depth: 0 files, settings and wiring; 1 the sizing sheet too; 2 a day's run with its
            balances; 3 two scenarios of the proof, two days of `worth` and a page.

    Raises:
        BrokenError: on anything but results and refusals in lines that name a key.
    """
    found = Outcome()
    steps = (("file", _paper), ("size", _sized), ("run", _run), ("prove", _proved))
    site: Site | None = None
    for name, step in steps[: depth + 1]:
        try:
            if site is None:
                site = load_site(base, changes)
            step(site, found)
        except KnownError as error:
            keys = [key_of(line) for line in error.lines]
            if None in keys or any("\n" in line for line in error.lines):
                raise BrokenError(f"{name} names no key: {error.lines}") from None
            found.refused, found.refused_by = str(keys[0]), name
            return found
        found.steps.append(name)
    return found


def _paper(site: Site, found: Outcome) -> None:
    from springhouse_host.wiring import rules
    from springhouse_host.wiring.parts import parts
    from springhouse_host.wiring.pins import BOARDS, load_profile, signals

    all_finite("known", site.known)
    assert site.promises()
    assert len(site.unguarded() + site.assumes()) > 0
    site.tariff()
    for board in BOARDS:
        profile, table = load_profile(board), signals(site, board)
        bought = rules.Bought()
        needed, _unmet = parts(site, profile, bought)
        all_finite("parts", needed)
        list(rules.check(site, board, profile, table, bought))


def _sized(site: Site, found: Outcome) -> None:
    from springhouse_host.sheet.sizing import size

    sizing = size(site, variants=("mid",))
    all_finite("size", sizing)
    sheet = sizing.sheets["mid"]
    if sheet.air_off_c < 0.0:
        raise BrokenError(f"size: air off the coil at {sheet.air_off_c} °C")


def _run(site: Site, found: Outcome) -> None:
    from springhouse_host.proof import running, scenarios
    from springhouse_sim.bench import Pace, parameters

    scenario = scenarios.single(site, None, 1)
    trace = running.bench(site, scenario, pace=Pace.SKIP).run(1.0)
    all_finite("run", trace.summary(running.room_limit_c(site)))
    found.energy_error, found.water_error = balance_errors(
        trace.begun, trace.ended, parameters(site.plant())
    )


def balance_errors(begun: Any, ended: Any, p: Any) -> tuple[float, float]:
    """Return what is missing of energy and water over a run, of what was turned over."""
    from springhouse_sim.plant import balance, state

    turned_j = 1e6 + sum(
        abs(float(ended[slot]))
        for slot in (
            state.MAINS_J,
            state.OUTDOOR_TO_PLACE_J,
            state.OUTDOOR_TO_ROOM_J,
            state.SUN_J,
            state.EQUIPMENT_J,
        )
    )
    gained_j = balance.stored_energy_j(ended, p) - balance.stored_energy_j(begun, p)
    gained_kg = balance.stored_water_kg(ended, p) - balance.stored_water_kg(begun, p)
    turned_kg = 1.0 + abs(float(ended[state.INFILTRATION_MOISTURE_KG]))
    errors = (
        abs(gained_j - balance.energy_in_j(ended)) / turned_j,
        abs(gained_kg - balance.water_in_kg(ended)) / turned_kg,
    )
    for what, error in zip(("energy", "water"), errors, strict=True):
        if not error < CLOSES:
            raise BrokenError(f"run: balance of {what} open by {error:.2e} of the turnover")
    return errors


CLOSES = 1e-6  # of the turnover, as the tests of the plant ask


def _proved(site: Site, found: Outcome) -> None:
    """A nominal day, a corner and a fault, judged; two days of the other ways; a page."""
    from springhouse_host.proof import placing, running, scenarios
    from springhouse_host.proof.verdict import judge
    from springhouse_host.worth import ways
    from springhouse_sim.bench import Pace

    standard = placing.standard(site, variants=scenarios.MIDDLE)
    short = [
        next(s for s in standard if s.group == group) for group in ("nominal", "corner", "fault")
    ]
    results = [running.run_one(site.path, s, Pace.SKIP, site.changed) for s in short if s.days < 9]
    for promise in site.promises():
        all_finite("prove", judge(promise, results).worst)
    day = scenarios.single(site, None, 1)
    for way in ways.SIMULATED:
        season = ways.season(site, day, way)
        all_finite(f"worth.{way}", [season.kwh, season.cold_kwh, season.hours_over])
        for share in (season.share_within, season.wanted_mean_c):
            all_finite(f"worth.{way}", share)
    _page(site)


def _page(site: Site) -> None:
    """The report of a run, as a page."""
    from tempfile import TemporaryDirectory

    from springhouse_host.proof import running, scenarios
    from springhouse_host.report.make import write_run
    from springhouse_sim.bench import Pace

    scenario = scenarios.single(site, None, 1)
    trace = running.bench(site, scenario, pace=Pace.SKIP).run(1.0)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "run.html"
        write_run(site, scenario, trace, path, False)
        assert "</html>" in path.read_text("utf-8")
