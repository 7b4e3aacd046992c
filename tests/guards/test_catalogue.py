"""The fault catalogue: every fault that can be injected gets its expected response in time."""

from __future__ import annotations

from dataclasses import replace
from math import exp
from pathlib import Path

import numpy as np
import pytest
from springhouse import latch, output
from springhouse_host import cli
from springhouse_host.errors import KnownError
from springhouse_host.proof import catalogue, placing, running, scenarios
from springhouse_host.proof.fault_words import ALSO, fault_from
from springhouse_host.proof.responses import Expect, respond
from springhouse_host.proof.running import Result
from springhouse_host.site import load_site
from springhouse_sim import ticks
from springhouse_sim.plant import tray
from springhouse_sim.world.faults import CATALOGUE, FOREVER_S, Fault
from springhouse_sim.world.outage import Outage

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "hostlib" / "springhouse_host" / "sites" / "demo.toml"
# What only a board, a person or the weather can bring about; each has its own tests.
NOT_IN_A_CASE = {
    "low_flow",  # a corner of the proof
    "tray_float_stuck",  # nothing can follow: hardware
    "level_float_stuck",
    "floor_dry",
    "mains_sense_stuck",
    "check_valve_open",  # shows as flow with the pump off, see flow_jammed
}


def site_with(folder: Path, sensor: str) -> str:
    """The demo with a sensor that it lacks."""
    text = DEMO.read_text(encoding="utf-8")
    fitted = text.replace(f'{sensor} = "absent"\n', "")
    assert sensor not in fitted
    assert fitted.count("[sensors]") == 1
    path = folder / f"{sensor}.toml"
    path.write_text(
        fitted.replace("[sensors]", f'[sensors]\n{sensor} = "fitted"'), encoding="utf-8"
    )
    return str(path)


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> list[Result]:
    folder = tmp_path_factory.mktemp("site")
    site = load_site(site_with(folder, "fan_tach"))
    found = [
        running.run_one(site.path, s)
        for s in placing.standard(site, variants=scenarios.MIDDLE)
        if s.row
    ]
    # Elsewhere a contact behind the relay would hide that the store alone shows a weld too.
    site = load_site(site_with(folder, "relay_feedback"))
    behind = [
        s
        for s in placing.standard(site, variants=scenarios.MIDDLE)
        if s.name.startswith("contact behind the relay")
    ]
    return found + [running.run_one(site.path, s) for s in behind]


@pytest.mark.requirement("INV-05", "INV-09", "INV-11", "INV-12", "INV-14", "INV-16")
def test_each_fault_gets_its_response(results: list[Result]) -> None:
    wrong = []
    for result in results:
        for response in result.responses:
            print(
                f"{response.row:3} {result.scenario.name:50} {response.expected:40} "
                f"{response.value} <= {response.limit:g} {response.unit}"
            )
            if not response.kept or not response.met:
                wrong.append((result.scenario.name, response))
    assert not wrong
    assert sum(len(r.responses) for r in results) > 40


def test_no_invariant_breaks_and_the_truth_holds(results: list[Result]) -> None:
    limit_kg = load_site("demo").file.store.ice_limit_kg
    for result in results:
        name, summary = result.scenario.name, result.summary
        assert not any(result.violations), name
        assert summary["dry_seconds_max"] <= 12, name
        assert summary["spill_l"] == 0.0, name
        assert summary["starts_per_hour_max"] <= 4, name
        # Nothing but the alarm, a person and the cut-out bounds the ice of a welded relay.
        own_kg = result.scenario.welded_ice_kg
        assert summary["max_ice_kg"] <= (limit_kg if own_kg is None else own_kg), name


def test_only_a_welded_relay_is_judged_by_its_own_bound_of_ice(results: list[Result]) -> None:
    for result in results:
        scenario = result.scenario
        welded = any(fault.kind == "relay_welded" for fault in scenario.faults)
        assert (scenario.welded_ice_kg is not None) == welded, scenario.name
        bounds = [e.ice_at_most_kg for e in scenario.expects if e.ice_at_most_kg is not None]
        assert not welded or bounds == [scenario.welded_ice_kg], scenario.name


def test_every_fault_of_the_catalogue_is_in_a_case(results: list[Result]) -> None:
    used = {fault.kind for r in results for fault in r.scenario.faults}
    for scenario in placing.standard(load_site("demo"), variants=scenarios.MIDDLE):
        used |= {fault.kind for fault in scenario.faults}
    assert set(CATALOGUE) - used == NOT_IN_A_CASE


def test_cases_need_their_sensors() -> None:
    with_all = {case.name for case in catalogue.cases(load_site("demo"))}
    assert not any("tach_dead" in name for name in with_all), "the demo has no tachometer"
    assert any("flow sensor dead" in name for name in with_all)


def test_a_tray_with_an_open_drain_is_filled_all_the_same() -> None:
    """A first-order drain: the float opens when the water has run for the time allowed."""
    site = load_site("humid-coast")
    assert site.file.tray.open_drain
    poured = [case for case in catalogue.cases(site) if case.row in (30, 33)]
    assert len(poured) == 2
    for case in poured:
        (fault,) = case.faults
        (expect,) = case.expects
        assert fault.value is not None
        assert 0 <= expect.within_s - fault.duration_s <= 2
        litres = fault.value * tray.DRAIN_S * (1.0 - exp(-fault.duration_s / tray.DRAIN_S))
        assert litres == pytest.approx(site.file.tray.float_opens_litres)


# The judge of responses, on events made by hand.


class MadeUp:
    """A trace with these (s, outputs, latches)."""

    def __init__(self, *rows: tuple[int, int, int]) -> None:
        self.end_ms = 1000 * (rows[-1][0] + 300)
        self.events = np.zeros((len(rows), ticks.EVENT_SIZE), np.int64)
        for row, (at_s, out, bits) in enumerate(rows):
            self.events[row, ticks.AT_MS] = at_s * 1000
            self.events[row, ticks.OUT] = out
            self.events[row, ticks.LATCH] = bits


C, P = output.COMPRESSOR, output.PUMP
# Within 50 s in which the compressor runs and the pump does not.
ALONE = Expect(100, 50, off=C, while_on=C, while_off=P)
OFF_A_MINUTE = Expect(100, 10, off=C, stay_s=60)


@pytest.mark.parametrize(
    ("rows", "expect", "value", "kept", "met"),
    [
        ([(0, C, 0), (105, 0, 0)], Expect(100, 10, off=C), 5.0, True, True),
        ([(0, C, 0), (111, 0, 0)], Expect(100, 10, off=C), 11.0, False, True),
        ([(0, 0, 0), (50, C, 0), (105, 0, 0)], Expect(100, 10, off=C), 5.0, True, True),
        ([(0, C, 0)], Expect(100, 10, off=C), None, False, True),
        ([(0, 0, 0)], Expect(100, 10, off=C), None, False, False),
        ([(0, C, 0), (130, C | P, 0), (150, C, 0), (160, 0, 0)], ALONE, 40.0, True, True),
        ([(0, C, 0), (130, C | P, 0), (150, C, 0), (175, 0, 0)], ALONE, 55.0, False, True),
        ([(0, C, 0), (130, C | P, 0)], ALONE, None, False, False),
        (
            [(0, C, 0), (105, 0, 0), (150, C, 0)],
            OFF_A_MINUTE,
            5.0,
            False,
            True,
        ),
        ([(0, C, 0), (105, 0, 0), (160, C, 0)], OFF_A_MINUTE, 5.0, True, True),
        ([(0, 0, 0), (130, C, 0)], Expect(100, 9, off=C, stay_s=60, idle=True), 0.0, False, True),
        ([(0, C, 0), (102, C, latch.DRY)], Expect(100, 3, latch=latch.DRY), 2.0, True, True),
        ([(0, C, 0), (104, C, latch.DRY)], Expect(100, 3, latch=latch.DRY), 4.0, False, True),
        ([(0, C, 0), (102, C, latch.TRAY)], Expect(100, 3, latch=latch.DRY), None, False, True),
        ([(0, C, 0)], Expect(100, 60, go_on=C), 60, True, True),
        ([(0, C, 0), (130, 0, 0)], Expect(100, 60, go_on=C), None, False, True),
    ],
)
def test_judging_a_response(
    rows: list[tuple[int, int, int]], expect: Expect, value: float | None, kept: bool, met: bool
) -> None:
    response = respond(1, expect, MadeUp(*rows))  # type: ignore[arg-type]
    assert (response.value, response.kept, response.met) == (value, kept, met)


def test_a_deaf_controller_is_noticed() -> None:
    """The same case with the sensor held well: the fault is there and nothing answers it."""
    site = load_site("demo")
    case = next(
        s
        for s in placing.standard(site, variants=scenarios.MIDDLE)
        if s.name.startswith("water on the floor, delivering")
    )
    deaf = replace(case, faults=(fault_from("floor_dry@0:00", 1),))
    assert all(r.kept for r in running.run_one(site.path, case).responses)
    assert not any(r.kept for r in running.run_one(site.path, deaf).responses)


# The command line.


def test_a_fault_in_words() -> None:
    fault = fault_from("probe_drift.store_low=500@2:30-4:00", 1)
    assert isinstance(fault, Fault)
    assert (fault.kind, fault.probe, fault.value) == ("probe_drift", "store_low", 500.0)
    assert (fault.onset_s, fault.duration_s) == (9000, 5400)
    lasting = fault_from("prime_lost@30:05", 2)
    assert isinstance(lasting, Fault)
    assert lasting.duration_s == FOREVER_S
    assert fault_from("mains_away@2:30-4:00", 1) == Outage(9000, 5400)
    assert fault_from("mains_away@23:00", 2) == Outage(82800, 90000)


def test_the_list_of_faults_holds_all(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["run", "--faults"]) == 0
    listed = capsys.readouterr().out
    assert all(f" {name}" in listed for name in (*CATALOGUE, "mains_away"))
    assert set(ALSO.values()) <= {*CATALOGUE, "mains_away"}


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("prime_lost", "expected NAME"),
        ("prime_lost@now", "expected NAME"),
        ("prime_lots@2:00", "did you mean 'prime_lost'"),
        ("outage@2:00", "did you mean 'mains_away'"),
        ("powercut@2:00", "did you mean 'mains_away'"),
        ("xyzzy@2:00", "no fault 'xyzzy'; `run --faults` lists them"),
        ("mains_away=3@2:00", "takes no probe and no value"),
        ("prime_lost@24:00", "begins after the run of 1 days"),
        ("prime_lost@2:00-1:00", "ends before it begins"),
        ("probe_open@2:00", "is not one of store_low"),
        ("probe_open.wall@2:00", "'wall' is not one of store_low"),
        ("prime_lost.room@2:00", "acts on no probe"),
        ("prime_lost=3@2:00", "takes no value"),
        ("lid_open=-.-@2:00", "could not convert"),
    ],
)
def test_a_fault_in_wrong_words_is_one_line(text: str, why: str) -> None:
    with pytest.raises(KnownError, match=why.replace("[", r"\[")) as raised:
        fault_from(text, 1)
    assert "\n" not in str(raised.value)


def test_run_with_a_fault(capsys: pytest.CaptureFixture[str]) -> None:
    command = ["run", "demo", "--days", "1", "--fault"]
    assert cli.run([*command, "prime_lost@12:31"]) == 0
    assert "longest dry run" in capsys.readouterr().out
    assert cli.run([*command, "prime_lots@12:31"]) == 2
    assert len(capsys.readouterr().err.strip().splitlines()) == 1
