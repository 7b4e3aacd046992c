"""A verdict that is not kept says what to change."""

from dataclasses import replace
from typing import Any

import pytest
from springhouse import output
from springhouse_host.proof import advice, complete, placing, running, scenarios
from springhouse_host.proof.placing import Absent
from springhouse_host.proof.responses import Expect, Response
from springhouse_host.proof.show import headline, remarks, response_cells
from springhouse_host.site import load_site

DEMO = load_site("demo")
BLIND = {
    "sensors.flow": "absent",
    "sensors.coil_in": "absent",
    "sensors.tray": "absent",
    "tray.open_drain": True,
}


def said(measure: str, worst: float, changes: dict[str, Any] | None = None) -> str:
    site = load_site("demo", changes or {})
    promise = next(p for p in DEMO.promises() if p.measure == measure)
    return advice.of_promise(promise, worst, site)


@pytest.mark.parametrize(
    ("measure", "changes", "words"),
    [
        ("dry_run_s", BLIND, 'sensors.flow = "fitted"'),
        ("dry_run_s", BLIND, "spells of 600 s"),
        ("dry_run_s", BLIND, "promises.dry_run_at_most_s = 600"),
        ("dry_run_s", {"sensors.flow": "absent"}, "after 180 s"),
        ("dry_run_s", {}, "a stronger pump"),
        ("spill_litres", BLIND, "beside the open drain"),
        ("spill_litres", {}, "a larger tray"),
        (
            "off_gap_s",
            {"sensors.mains": "absent", "sensors.battery": "absent", "battery.kind": "none"},
            "nothing measures the mains",
        ),
        ("starts_per_hour", {}, "settings.band_k"),
    ],
)
def test_a_broken_promise_names_the_sensor_or_the_key(
    measure: str, changes: dict[str, Any], words: str
) -> None:
    assert words in said(measure, 600.0, changes)


def test_every_promise_but_the_rooms_has_its_advice() -> None:
    for promise in DEMO.promises():
        told = advice.of_promise(promise, 1.0, DEMO)
        assert bool(told) is (promise.measure != "room_share_percent"), promise.name


def test_a_late_response_and_one_not_shown_say_so() -> None:
    late = Expect(0, 10, off=output.PUMP)
    assert "more flow" in advice.of_response(late.off, late.latch, DEMO)
    hollow = Response(1, "off: pump", 10, None, met=False, change=advice.NOT_TRIED)
    assert response_cells(hollow)[2] == "NOT SHOWN"
    assert not hollow.kept
    never = Response(1, "", 0.0, None, never="never charges and delivers at once")
    assert response_cells(never) == ("never charges and delivers at once", "-", "NOT SHOWN")
    assert not never.kept


def test_a_row_not_shown_is_in_the_first_line() -> None:
    from report_case import small_verdict

    verdict = small_verdict()
    run = next(r for r in verdict.results if r.responses)
    hollow = replace(run.responses[0], met=False, value=None, change=advice.NOT_TRIED)
    others = [r for r in verdict.results if r is not run]
    broken = replace(
        verdict,
        results=(*others, replace(run, responses=(hollow,))),
        absent=(Absent(1, "clock lost", "never delivers"),),
    )
    assert "NOT KEPT" in headline(broken)
    assert "NOT SHOWN: 2 " in headline(broken)
    for name in (run.scenario.name, "clock lost"):
        assert any(line.startswith(f"to change: {name}") for line in remarks(broken, False))
    assert ("clock lost", "never delivers") in [(n, r.never) for n, r in broken.responses()]


def test_lines_of_code_are_counted_not_written() -> None:
    """Against the plainest count: lines that are not blank, comment or docstring."""
    from springhouse import interlock

    text = (complete.inspect.getsource(interlock)).split('"""')
    plain = "\n".join(text[::2]).splitlines()  # what lies outside the docstrings
    code = [line for line in plain if line.strip() and not line.strip().startswith("#")]
    assert abs(complete.code_lines(interlock) - len(code)) <= 2  # closing brackets alone
    assert sum(map(complete.code_lines, complete.CORE)) > 100


def test_a_weak_pump_is_given_the_time_its_flow_takes_to_die() -> None:
    """400 L and a small pump: the limit follows from the loop, and is kept with a scan to spare."""
    changes = {
        "store.water_litres": 400,
        "store.return_m": 0.5,
        "store.probe_high_m": 0.54,
        "freezer.cabinet_litres": 480,
        "freezer.inner_length_m": 1.3,
        "freezer.inner_width_m": 0.55,
        "freezer.inner_depth_m": 0.72,
        "loop.pump_free_l_min": 3.0,
        "loop.pump_head_m": 2.0,
    }
    site = load_site("demo", changes)
    names = ("hardly any flow, delivering", "tray fills")
    for run in placing.placed(site, variants=scenarios.MIDDLE)[0]:
        if run.name in names:
            (answer,) = running.run_one(site.path, run, changed=site.changed).responses
            assert answer.kept, run.name
            assert answer.value is not None
            assert answer.limit - answer.value <= 3
