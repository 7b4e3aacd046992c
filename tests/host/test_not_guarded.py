"""Physical faults come about whatever is fitted: what nothing notices is run and told as it is."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from types import SimpleNamespace
from typing import Any

import made_verdict
import pytest
from springhouse_host.proof import catalogue, rule, show
from springhouse_host.proof.case import FaultCase
from springhouse_host.proof.limits import Shortfall
from springhouse_host.proof.responses import unanswered
from springhouse_host.proof.running import Result
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.proof.verdict import judge
from springhouse_host.site import Site, load_site

WHOLE = load_site("demo", {"sensors.fan_tach": "fitted"})
BARE = load_site("rented-room")  # the built-in installation with the fewest sensors
NO_CUT_OUT = load_site("demo", {"protection.independent_freeze_cutout": False})

SUMMARY: dict[str, Any] = {
    "off_gap_min_s": 5.0,
    "starts_per_hour_max": 2,
    "dry_seconds_max": 2990,
    "max_ice_kg": 0.0,
    "longest_ice_h": 0.0,
    "spill_l": 0.0,
}
TOLD = (
    "compressor off for 5 s at least, 2 starts in an hour at most, pump dry for 2990 s at most, "
    "0.00 kg of ice, 0.00 L spilled"
)


def physical(site: Site) -> set[object]:
    """What breaks in the cases of a site, the times of faults aside."""
    found: set[object] = set()
    for case in catalogue.cases(site):
        found |= {fault.kind for fault in case.faults if fault.physical}
        found |= {outage.duration_s for outage in case.outages}
    return found


def bare_cases(site: Site) -> list[FaultCase]:
    return [case for case in catalogue.cases(site) if case.lacks]


def test_a_site_with_few_sensors_meets_the_same_physical_faults() -> None:
    of_battery = {24 * 3600}
    assert physical(BARE) == physical(WHOLE) - of_battery
    assert physical(BARE) >= {5, 600, "prime_lost", "leak", "relay_welded", "relay_dead"}
    assert {key for case in bare_cases(BARE) for key in case.lacks} == {
        "sensors.mains",
        "sensors.flow",
        "sensors.tray",
        "sensors.fan_tach",
    }
    assert not bare_cases(WHOLE)


@pytest.mark.parametrize("site", [BARE, NO_CUT_OUT], ids=lambda s: s.name)
def test_what_nothing_answers_expects_nothing_and_is_run_once(site: Site) -> None:
    cases = bare_cases(site)
    assert cases
    assert not any(case.expects for case in cases)
    assert len({case.happens for case in cases}) == len(cases)
    assert all(fault.physical for case in cases for fault in case.faults)
    known = {gap.key for gap in site.gaps()}
    assert all(set(case.lacks) <= known for case in cases)


def test_without_a_cut_out_the_welded_relay_is_run_and_its_ice_counts() -> None:
    (case,) = [c for c in bare_cases(NO_CUT_OUT) if c.row == catalogue.WELDED_ROW]
    assert case.lacks == ("protection.independent_freeze_cutout",)
    assert not [c for c in bare_cases(WHOLE) if c.row == catalogue.WELDED_ROW]
    ice = next(p for p in NO_CUT_OUT.promises() if p.measure == "ice_kg")
    quiet = ran((), 20)
    run = ran(case.lacks, case.row, max_ice_kg=13.2)
    run = replace(run, scenario=replace(run.scenario, faults=case.faults))
    found = judge(ice, [quiet, run], NO_CUT_OUT)
    assert found.worst == 13.2
    assert not found.kept
    assert "cut-out" in found.why
    (ended,) = [c for c in catalogue.cases(WHOLE) if c.row == catalogue.WELDED_ROW]
    run = ran((), ended.row, max_ice_kg=13.2)
    run = replace(run, scenario=replace(run.scenario, faults=ended.faults, expects=ended.expects))
    assert judge(ice, [quiet, run], WHOLE).worst == 0.0


def ran(lacks: tuple[str, ...], row: int, **figures: float) -> Result:
    """A run of a fault with such figures; not simulated."""
    summary = {**SUMMARY, **figures}
    scenario = Scenario("a fault", "fault", datetime(2020, 7, 1), 1, row=row, lacks=lacks)
    told = (unanswered(row, lacks, summary),)
    return Result(scenario, summary, (), (), Shortfall(0, "never asked", ""), told)


def verdict_of(site: Site) -> Any:
    rows = [("a fault", unanswered(case.row, case.lacks, SUMMARY)) for case in bare_cases(site)]
    return SimpleNamespace(site=site, responses=lambda: rows)


def test_the_first_line_names_what_is_missing_worst_first() -> None:
    first = show.not_guarded(verdict_of(BARE))
    assert first == " - NOT GUARDED: level, tray, store high, flow, mains, fan tach"
    assert show.not_guarded(verdict_of(load_site("demo"))) == " - NOT GUARDED: fan tach"
    assert show.not_guarded(verdict_of(WHOLE)) == ""


def test_the_row_tells_what_happened_and_the_record_keeps_it() -> None:
    run = ran(("sensors.flow",), 20)
    row = run.responses[0]
    assert show.response_cells(row) == (
        "nothing without sensors.flow",
        "-",
        f"NOT GUARDED: {TOLD}",
    )
    assert not row.kept
    dry = next(p for p in BARE.promises() if p.measure == "dry_run_s")
    assert judge(dry, [ran((), 1, dry_seconds_max=0), run], BARE).worst == 2990.0


ROW = {
    **made_verdict.found()["responses"][0],
    "value": None,
    "lacks": ["sensors.flow"],
    "kept": False,
}
GAP = {"key": "sensors.flow", "severity": "damage", "text": "flow is not measured"}


def test_a_row_that_nothing_guards_breaks_nothing_by_itself() -> None:
    assert rule.kept(made_verdict.found(responses=[ROW], not_guarded=[GAP]))


@pytest.mark.parametrize(
    ("row", "gaps"),
    [(ROW, []), ({**ROW, "kept": True}, [GAP]), ({**ROW, "lacks": []}, [GAP])],
)
def test_no_row_hides_behind_a_sensor_that_is_there(row: dict[str, Any], gaps: list[Any]) -> None:
    assert not rule.kept(made_verdict.found(responses=[row], not_guarded=gaps))
