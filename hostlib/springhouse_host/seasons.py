"""Closing an installation for the winter and opening it again: steps, record, next dates.

The record is a JSON file that grows with every answer, so that the work can be left and taken up
again. Limits without a source are common practice and say so.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from math import isfinite
from pathlib import Path
from typing import Any, Literal

from .commissioning.kinds import add_months
from .commissioning.steps import steps as commissioning
from .errors import KnownError
from .outside import read_json
from .screen import write_json
from .site import Site

SCHEMA = 1
COMPARED = "compared"  # the step whose value the next opening is held against
Season = Literal["close", "open"]
Answer = dict[str, Any]

CLOCK_BATTERY_V = 2.8  # a 3 V lithium cell under that is near its end; common practice, no source
RELAY_SHARE = 0.5  # of its rated operations, at which a relay is replaced; as wiring/ has it
SLOWER_SHARE = 1.2  # a charge so much slower than last year's wants looking into

CAUTIONS = (
    "Mains: pull the freezer's plug before hands go into the water; wiring is work for whom local "
    "codes allow it. The residual-current device stays in.",
    "Idle water grows slime and germs, fastest from 25 to 45 °C: gloves, no spray, not for "
    "drinking, not near people with a weak immune system; rinse, do not splash.",
    "A chest that shuts is a trap: while it stands empty the lid is wedged open or the latch is "
    "off, out of the reach of children and pets.",
    "Never chip ice or cut, drill or screw into the freezer: its refrigerant burns.",
    "Water weighs 1 kg a litre: drain by hose into a floor drain, do not lift.",
)


@dataclass(frozen=True)
class SeasonStep:
    """One line of the sheet. ``unit`` set: a number is asked; ``judge`` says what is wrong."""

    name: str
    do: str
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    repeats_months: int = 0  # a proof test: when it is due again
    judge: Callable[[float], str] = lambda value: ""


def _within(limit: float, unit: str, otherwise: str) -> Callable[[float], str]:
    return lambda v: "" if abs(v) <= limit else f"over ±{limit:g} {unit}: {otherwise}"


def steps(season: Season, site: Site, last_h_per_k: float | None = None) -> list[SeasonStep]:
    """Return the steps for what this installation has.

    Args:
        season: which.
        site: the installation.
        last_h_per_k: hours a kelvin of last year's first charge, None if unknown.
    """
    return _closing(site) if season == "close" else _opening(site, last_h_per_k)


def _closing(site: Site) -> list[SeasonStep]:
    found = [
        SeasonStep("log", "log of the season saved from the board, if you want to fit to it"),
        SeasonStep("meter", "plug-in meter read, if there is one (else 0)", "kWh", 0.0, 1e6),
        SeasonStep("relay_count", "relay operations read from the board's log", "times", 0.0, 1e7),
        SeasonStep("unplug", "freezer unplugged, board off, nothing hums"),
        SeasonStep("drain_store", "store drained by hose, the last litre sponged out"),
        SeasonStep(
            "drain_loop",
            "pump, tubes and coil drained at their lowest point and blown through: "
            "what stays in freezes and splits them",
        ),
        SeasonStep("tray", "tray emptied, cleaned and dried"),
        SeasonStep("dry", "inside wiped and left to dry for a day, probes hung up dry"),
        SeasonStep("wedge", "lid wedged open by a hand's width, latch off or chest out of reach"),
    ]
    if site.file.battery.kind != "none":
        found.append(
            SeasonStep(
                "battery", "battery half full, charger off, fuse out; never charged below 0 °C"
            )
        )
    found.append(SeasonStep("label", "a label on the lid: drained, date, name"))
    return found


def _proof_tests(site: Site) -> Iterator[SeasonStep]:
    """Yield what commissioning lists as coming back, `commissioning/steps.py`.

    Of an ice point the mean is asked, and held against the error the proof allows this probe.
    """
    for test in commissioning(site):
        if not test.repeats_months:
            continue
        step = SeasonStep(
            test.name, f"{test.do}: {test.expect}", repeats_months=test.repeats_months
        )
        if test.kind == "ice_point":
            wrong = "recalibrate or replace it, and prove with the wider error"
            judge = _within(site.probe_errors_k[test.probe], "K", wrong)
            do = f"{test.do}; their mean as springhouse watch SITE shows it"
            step = replace(step, do=do, unit="°C", low=-20.0, high=20.0, judge=judge)
        yield step


def _opening(site: Site, last_h_per_k: float | None) -> list[SeasonStep]:
    found = [
        SeasonStep(
            "look",
            "cord, seals, hoses, drain plug and tray looked at; nothing gnawed, rusted or cracked",
        ),
        SeasonStep(
            "fill",
            "rinsed, filled with cold tap water to the line, watched for 24 h: level unchanged",
        ),
        *_proof_tests(site),
    ]
    found += [
        SeasonStep(
            "relay_life",
            "relay operations so far, share of its rated number",
            "%",
            0.0,
            1000.0,
            judge=lambda v: "" if v < 100.0 * RELAY_SHARE else "replace the relay",
        ),
        SeasonStep(
            "clock_battery",
            "cell of the clock by voltmeter (0: none fitted)",
            "V",
            0.0,
            4.0,
            12,
            lambda v: "" if v == 0.0 or v >= CLOCK_BATTERY_V else "replace it, set the clock",
        ),
        SeasonStep("clock", "board's time and date right to a minute"),
    ]
    if site.file.battery.kind != "none":
        found.append(
            SeasonStep(
                "battery", "fuse in, charger's end voltage as the cells want it", repeats_months=12
            )
        )
    found += [
        SeasonStep(
            "prove",
            "proven again as it stands now: springhouse prove SITE --json verdict.json, "
            "given here by --proof",
        ),
        SeasonStep("first_charge_h", "first charge: hours the compressor ran", "h", 0.1, 500.0),
        SeasonStep("first_charge_k", "first charge: kelvin the water fell", "K", 0.5, 40.0),
        SeasonStep(
            COMPARED,
            "first charge, hours a kelvin, against last year's",
            "h/K",
            0.0,
            1000.0,
            judge=lambda v: _slower(v, last_h_per_k),
        ),
    ]
    return found


def _slower(h_per_k: float, last_h_per_k: float | None) -> str:
    if last_h_per_k is None or h_per_k <= SLOWER_SHARE * last_h_per_k:
        return ""
    return (
        f"last year {last_h_per_k:.2f} h/K: dust on the condenser, lid seal, warmer place, more "
        "water, or a tired compressor; fit a log"
    )


@dataclass(frozen=True, eq=False)
class SeasonSheet:
    """A season's sheet and what has been answered so far, by step."""

    site: Site
    season: Season
    steps: tuple[SeasonStep, ...]
    path: Path
    answers: dict[str, Answer]

    @property
    def open_steps(self) -> list[SeasonStep]:
        """Steps without an answer, and those whose answer was not good."""
        return [s for s in self.steps if self.answers.get(s.name, {}).get("wrong", "open")]

    @property
    def done(self) -> bool:
        """Whether every step is answered and good."""
        return not self.open_steps

    def step(self, name: str) -> SeasonStep:
        """Return a step.

        Raises:
            KnownError: naming the steps there are.
        """
        for step in self.steps:
            if step.name == name:
                return step
        names = ", ".join(s.name for s in self.steps)
        raise KnownError(f"season {self.season}: no step {name!r}; steps: {names}")

    def answer(self, name: str, text: str, today: date) -> Answer:
        """Take an answer and save the record.

        Args:
            name: of the step.
            text: a number where the step asks one, else a note.
            today: the date it was done.

        Raises:
            KnownError: when it is no number in range, or the record cannot be written.
        """
        step = self.step(name)
        given: Answer = {"on": today.isoformat(), "note": text, "wrong": ""}
        if step.unit:
            try:
                value = float(text)
            except ValueError:
                value = float("nan")
            if not step.low <= value <= step.high:
                raise KnownError(
                    f"season {self.season}: {name}: {text!r}: a number from {step.low:g} to "
                    f"{step.high:g} {step.unit}"
                )
            given = {
                "on": given["on"],
                "value": value,
                "unit": step.unit,
                "wrong": step.judge(value),
            }
        self.answers[name] = given
        if name.startswith("first_charge"):
            self._compare(today)
        self.save()
        return given

    def _compare(self, today: date) -> None:
        hours, kelvin = (self.answers.get(f"first_charge_{x}", {}).get("value") for x in "hk")
        if hours and kelvin:
            value = hours / kelvin
            wrong = self.step(COMPARED).judge(value)
            self.answers[COMPARED] = {
                "on": today.isoformat(),
                "value": value,
                "unit": "h/K",
                "wrong": wrong,
            }

    def next_dates(self) -> list[tuple[date, SeasonStep]]:
        """Return when each proof test that was done is due again, soonest first."""
        found = []
        for step in self.steps:
            given = self.answers.get(step.name)
            if step.repeats_months and given and not given["wrong"]:
                due = add_months(date.fromisoformat(given["on"]), step.repeats_months)
                found.append((due, step))
        return sorted(found, key=lambda pair: (pair[0], pair[1].name))

    def save(self) -> None:
        """Write the record."""
        write_json(
            self.path,
            {
                "schema": SCHEMA,
                "site": self.site.name,
                "season": self.season,
                "site_sha256": self.site.site_sha256,
                "answers": self.answers,
                "next": {step.name: due.isoformat() for due, step in self.next_dates()},
                "done": self.done,
            },
        )

    def text(self, today: date) -> str:
        """Return the sheet for print."""
        title = {"close": "closed for the winter", "open": "opened for the summer"}[self.season]
        lines = [f"# {self.site.name}: {title}", "", f"Printed {today.isoformat()}.", ""]
        lines += [f"- {caution}" for caution in CAUTIONS]
        lines.append("")
        for n, step in enumerate(self.steps, 1):
            given = self.answers.get(step.name)
            box = " " if given is None else "!" if given["wrong"] else "x"
            lines.append(f"{n}. [{box}] {step.do}{_as_text(given, step)}")
        dates = self.next_dates()
        if dates:
            lines += ["", "## Due again", ""]
            lines += [f"- {due.isoformat()}: {step.do}" for due, step in dates]
        return "\n".join(lines) + "\n"


def _as_text(given: Answer | None, step: SeasonStep) -> str:
    if given is None:
        return f": ________ {step.unit}".rstrip() + "   date ________"
    value = f": {given['value']:.3g} {given['unit']}" if "value" in given else ""
    note = f" ({given['note']})" if given.get("note") else ""
    wrong = f" -- {given['wrong']}" if given["wrong"] else ""
    return f"{value}{note}, {given['on']}{wrong}"


def read_record(path: Path) -> Mapping[str, Any]:
    """Return a record.

    Raises:
        KnownError: when the file is none.
    """
    record = read_json(path)
    try:
        if record["schema"] != SCHEMA or not isinstance(record["answers"], dict):
            raise KeyError("schema")
        for name, given in record["answers"].items():
            date.fromisoformat(given["on"])
            str(given["wrong"])
            if not isfinite(float(given["value"] if name == COMPARED else given.get("value", 0))):
                raise ValueError(name)
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError):
        raise KnownError(f"{path}: no record of a season, schema {SCHEMA}") from None
    return dict(record)


def last_first_charge(paths: Iterable[Path]) -> float | None:
    """Return the hours a kelvin of the newest opening that has them."""
    found: list[tuple[str, float]] = []
    for path in paths:
        given = read_record(path)["answers"].get(COMPARED)
        if given is not None:
            found.append((given["on"], float(given["value"])))
    return max(found)[1] if found else None


def sheet(site: Site, season: Season, path: Path, last: Iterable[Path] = ()) -> SeasonSheet:
    """Return a sheet, with the answers of its record where there is one.

    Args:
        site: the installation.
        season: which.
        path: the record, there or not.
        last: records of earlier openings, to compare the first charge with.

    Raises:
        KnownError: when a record cannot be used.
    """
    answers: dict[str, Answer] = {}
    if path.exists():
        record = read_record(path)
        if record.get("season") != season:
            raise KnownError(f"{path}: the record of another season: {record.get('season')}")
        answers = dict(record["answers"])
    h_per_k = last_first_charge(last)
    return SeasonSheet(site, season, tuple(steps(season, site, h_per_k)), path, answers)


def check_proof(site: Site, path: Path) -> str:
    """Return what is wrong with a proof for the site as it stands now, "" if nothing.

    Raises:
        KnownError: when the file is no record of a proof.
    """
    record = read_json(path)
    try:
        same = record["site_sha256"] == site.site_sha256
        kept = record["kept"] is True
    except (KeyError, TypeError):
        raise KnownError(f"{path}: no record of springhouse prove --json") from None
    if not same:
        return "proof of another site file: prove this one"
    return "" if kept else "the proof says NOT KEPT"
