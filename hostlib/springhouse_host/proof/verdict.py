"""The verdict: promises against the worst scenario, invariants against all cases."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from springhouse import words

from ..site.promises import Promise
from ..site.site import Site
from . import advice, beyond, invariants, rule
from .checking import SCHEMA, sealed
from .firmware_alone import Alone
from .measures import MEASURES, SAFETY
from .placing import Absent
from .plausible import Sample
from .replay import Replay
from .responses import Response, named
from .running import Result
from .scenarios import without_reading
from .sources import Ran


@dataclass(frozen=True)
class Judged:
    """A promise, the worst value found, and the scenario that set it."""

    promise: Promise
    worst: float
    scenario: str
    why: str  # what the trace shows, and what to change; empty if kept

    @property
    def margin(self) -> float:
        """Distance to the bound, inside counted positive."""
        return self.promise.margin(self.worst)

    @property
    def kept(self) -> bool:
        """Whether the bound holds; a margin of exactly 0 is still inside."""
        return self.margin >= 0.0


@dataclass(frozen=True)
class Held:
    """One invariant over everything that was run."""

    number: int
    cases: int
    violations: int


@dataclass(frozen=True)
class Verdict:
    """The outcome of a proof."""

    site: Site
    judged: tuple[Judged, ...]
    held: tuple[Held, ...]
    results: tuple[Result, ...]
    bare: tuple[Result, ...]  # the nominal scenarios without the store, in the same order
    alone: Alone  # what was found about the firmware, whatever the site
    replayed: Replay
    ran: Ran  # the hashes of what ran
    sample: Sample  # plausible installations
    absent: tuple[Absent, ...] = ()  # faults for which no moment was found

    @property
    def kept(self) -> bool:
        """Whether nothing is broken, by the rule that `flash` asks again (`rule.kept`)."""
        return rule.kept(_found(self))

    @property
    def depends(self) -> bool:
        """Whether nothing speaks against it but that too few plausible installations keep all."""
        return rule.depends(_found(self))

    def responses(self) -> list[tuple[str, Response]]:
        """Return (fault, response) for everything expected of a fault."""
        tried = [(r.scenario.name, response) for r in self.results for response in r.responses]
        return tried + [
            (
                a.name,
                Response(a.row, "", 0.0, None, met=False, never=a.never, change=advice.NEVER_TRIED),
            )
            for a in self.absent
        ]

    def hardest(self) -> list[tuple[str, Response]]:
        """Return the same, of all readings of the labels the one that came worst."""
        found: dict[tuple[int, str, str], tuple[str, Response]] = {}
        for name, r in self.responses():
            key = (r.row, without_reading(name), r.expected)
            if key not in found or r.hardness > found[key][1].hardness:
                found[key] = (name, r)
        return list(found.values())

    def not_shown(self) -> list[str]:
        """Return the faults that came when there was nothing to answer, or could not be tried."""
        return _once(name for name, r in self.responses() if not r.met)

    def bare_rows(self) -> list[str]:
        """Return the faults that came about and that nothing here notices."""
        return _once(name for name, r in self.responses() if r.lacks)

    def unbroken(self) -> list[Result]:
        """Return the runs in which nothing breaks: nothing may latch in them."""
        return [r for r in self.results if r.scenario.unbroken]

    def assumes(self) -> list[str]:
        """Return what was taken on trust: the owner's declarations and what was not simulated."""
        board = ", ".join(invariants.identity(n) for n in invariants.BOARD_ONLY)
        found = [*self.site.assumes()]
        if not self.site.file.tray.open_drain:
            found.append("the condensate tray emptied every morning")
        found.append(
            "somebody there who pulls the freezer's plug within an hour of the alarm of a welded "
            "relay: the ice made till then stands in that fault's row, not in the promise"
        )
        found.append(f"the board's main program keeps {board}, which are not part of this proof")
        return found

    def cooler(self) -> list[tuple[str, float | None]]:
        """Return (scenario, K cooler in the wanted hours than without the store).

        None where a scenario has no wanted hours.
        """
        by_name = {r.scenario.name: r for r in self.results}
        found: list[tuple[str, float | None]] = []
        for bare in self.bare:
            name = bare.scenario.name.removesuffix(", without the store")
            with_c = by_name[name].summary["wanted_mean_c"]
            without_c = bare.summary["wanted_mean_c"]
            told = with_c is not None and without_c is not None
            found.append((name, without_c - with_c if told else None))
        return found


def judge(promise: Promise, results: Sequence[Result], site: Site | None = None) -> Judged:
    """Return the promise against the scenario that comes nearest to breaking it, or breaks it.

    Raises:
        ValueError: when no scenario has anything to say about the promise.
    """
    measured = [(MEASURES[promise.measure](r), r) for r in results]
    known = [(value, r) for value, r in measured if value is not None]
    worst, result = min(known, key=lambda pair: promise.margin(pair[0]))
    alike = len(known) > 1 and all(value == worst for value, _ in known)
    why = ""
    if promise.margin(worst) < 0.0 and promise.measure == "room_share_percent":
        why = f"{result.shortfall.words}. Try {result.shortfall.advice}"
    elif promise.margin(worst) < 0.0 and site is not None:
        why = advice.of_promise(promise, worst, site)
    scenario = "all alike" if alike else result.scenario.name
    return Judged(promise, float(worst), scenario, why)


def tally(results: Sequence[Result], alone: Alone) -> tuple[Held, ...]:
    """Return cases and violations of every invariant over scenarios and random inputs.

    A claim about it that the proof by induction does not show is a violation too.
    """
    random = alone.random
    return tuple(
        Held(
            number,
            sum(r.cases[number] for r in results) + random.cases[number],
            sum(r.violations[number] for r in results)
            + random.violations[number]
            + alone.induction.broken(number),
        )
        for number in invariants.TEXTS
    )


def _once(names: Iterable[str]) -> list[str]:
    """Return names of faults, whatever the reading of the labels, each once."""
    return list(dict.fromkeys(map(without_reading, names)))


def as_json(verdict: Verdict) -> dict[str, Any]:
    """Return the record of a proof, schema 2, plain values only, sealed part by part."""
    found = _found(verdict)
    return sealed({"schema": SCHEMA, "kept": rule.kept(found), **found})


def _found(verdict: Verdict) -> dict[str, Any]:
    """Return all of the record but what follows from it."""
    site = verdict.site
    return {
        "site": site.name,
        "evidence": site.evidence,
        "owner_range": [list(entry) for entry in site.ranges()],
        "unguarded": site.unguarded(),
        "not_guarded": [
            {"key": gap.key, "severity": gap.severity.name.lower(), "text": gap.text}
            for gap in site.gaps()
        ],
        "assumes": verdict.assumes(),
        "currency": site.currency,
        "without_store": {
            bare.scenario.name: {
                "wanted_mean_c": bare.summary["wanted_mean_c"],
                "room_hours_over": bare.summary["room_hours_over"],
                "cooler_with_store_k": cooler,
            }
            for bare, (_, cooler) in zip(verdict.bare, verdict.cooler(), strict=True)
        },
        **verdict.ran.hashes(),
        "promises": [_promise(j) for j in verdict.judged],
        "beyond_the_promise": beyond.as_json(verdict.results),
        "plausible": _plausible(verdict.sample),
        "invariants": [
            {
                "id": invariants.identity(h.number),
                "text": invariants.TEXTS[h.number],
                "cases": h.cases,
                "violations": h.violations,
            }
            for h in verdict.held
        ],
        "scenarios": [_scenario(r) for r in (*verdict.results, *verdict.bare)],
        "complete_check": {
            "states": verdict.alone.complete.states,
            "table_cases": verdict.alone.complete.table_cases,
            "interlock_cases": verdict.alone.complete.interlock_cases,
            "violations": list(verdict.alone.complete.violations),
        },
        "abstract_machine": {
            "slices": len(verdict.alone.machine.explored),
            "states": verdict.alone.machine.states,
            "steps": verdict.alone.machine.steps,
            "transitions": verdict.alone.machine.transitions,
            "violations": list(verdict.alone.machine.violations),
        },
        "induction": {
            "queries": len(verdict.alone.induction.results),
            "table": verdict.alone.induction.table(),
            "violations": list(verdict.alone.induction.violations),
        },
        "responses": [
            {
                "row": r.row,
                "fault": name,
                "expected": r.expected,
                "limit": r.limit,
                "value": r.value,
                "unit": r.unit,
                "met": r.met,
                "why_not": r.why_not,
                "never": r.never,
                "lacks": list(r.lacks),
                "happened": r.happened,
                "kept": r.kept,
            }
            for name, r in verdict.responses()
        ],
        "random_inputs": {
            "scans": verdict.alone.random.scans,
            "violations": sum(verdict.alone.random.violations),
        },
        "firmware_checks_from": verdict.alone.kept_since or None,
        "false_alarms": {
            "runs": len(verdict.unbroken()),
            "latched": {
                r.scenario.name: named(r.latched, words.LATCHES)
                for r in verdict.unbroken()
                if r.latched
            },
        },
        "replay": {
            "ticks": verdict.replayed.ticks,
            "differing": verdict.replayed.differing,
        },
    }


def _promise(j: Judged) -> dict[str, Any]:
    return {
        "name": j.promise.name,
        "safety": j.promise.measure in SAFETY,
        "unit": j.promise.unit,
        "limit": j.promise.limit,
        "at_least": j.promise.at_least,
        "worst": j.worst,
        "margin": j.margin,
        "scenario": j.scenario,
        "kept": j.kept,
    }


def _plausible(sample: Sample) -> dict[str, Any]:
    return {
        "wanted_percent": sample.wanted_percent,
        "draws": [list(row.values) for row in sample.rows],
        "summers": [{"draw": i, "values": list(row.values)} for i, row in sample.summers],
        "violations": sum(
            row.violations for row in (*sample.rows, *(r for _, r in sample.summers))
        ),
        "inputs": [
            {
                "key": d.key,
                "low": d.low,
                "middle": d.mid,
                "high": d.high,
                "unit": d.unit,
                "source": d.source,
                "narrowed_by": d.by,
                "rank_correlation": rank,
            }
            for d, rank in sample.ranks()
        ],
        "worst": {
            d.key: value
            for d, (_, value) in zip(sample.doubts, sample.draws[sample.worst], strict=True)
        },
    }


def _scenario(r: Result) -> dict[str, Any]:
    keys = (
        "days",
        "seed",
        "min_store_true_c",
        "max_ice_kg",
        "longest_ice_h",
        "room_hours_over",
        "starts_per_hour_max",
        "off_gap_min_s",
        "dry_seconds_max",
        "spill_l",
        "energy_kwh",
        "cost",
    )
    return {"name": r.scenario.name, **{key: r.summary[key] for key in keys}}
