"""Faults come when an installation can answer them, whatever its hours are."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np
import pytest
from springhouse import output, week
from springhouse_host.proof import placing, running, scenarios, situations
from springhouse_host.proof.case import FaultCase
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.proof.situations import Situation
from springhouse_host.site import load_site
from springhouse_sim import ticks
from springhouse_sim.world.faults import Fault
from springhouse_sim.world.stage import Calendar

DEMO = load_site("demo")
C, P, F = output.COMPRESSOR, output.PUMP, output.FAN
DELIVERY = P | F
HOURS = (
    {"schedule.wanted": ["21:00-07:00"]},
    {"schedule.wanted": ["00:00-24:00"]},
    {"schedule.wanted": []},
    {"schedule.wanted": ["22:00-02:00"]},
    {"schedule.wanted": ["01:45-05:00"]},
    {"schedule.wanted": ["sat 13:30-17:30"]},
    {"schedule.wanted": ["12:00-12:30"]},
    {"schedule.charging": ["10:00-16:00"], "schedule.full_by": None},
    {"schedule.charging": ["sat,sun 00:00-24:00"], "schedule.full_by": None},
)


class MadeUp:
    """A run from midnight of a Monday with these (s, outputs)."""

    calendar = Calendar(datetime(2001, 7, 9))
    settings = DEMO.settings()

    def __init__(self, *rows: tuple[int, int], end_s: int = 86_400, store_c: float = 10.0) -> None:
        self.end_ms = end_s * 1000
        self.events = np.zeros((len(rows), ticks.EVENT_SIZE), np.int64)
        self.samples = np.full((end_s // 60, 1), store_c)
        for row, (at_s, out) in enumerate(rows):
            self.events[row, [ticks.AT_MS, ticks.OUT, ticks.ALIVE]] = at_s * 1000, out, 1

    def column(self, name: str) -> Any:
        assert name == "store_mean_c"
        return self.samples[:, 0]


def moment(situation: Situation, *rows: tuple[int, int], **more: float) -> int | None:
    return situation.moment_s(MadeUp(*rows, **more))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("situation", "rows", "at_s"),
    [
        (situations.charging(), [(0, C)], 3600),  # not before the waits of power-up are over
        (situations.charging(), [(0, 0), (7000, C)], 7060),
        (situations.charging(600), [(0, 0), (7000, C), (7600, 0), (9000, C), (9900, 0)], 9060),
        (situations.charging(1200), [(0, 0), (7000, C), (7600, 0)], None),
        (situations.both(), [(0, C), (7000, C | DELIVERY)], 7060),
        (situations.both(), [(0, C), (7000, DELIVERY)], None),
        (situations.delivering(), [(0, C | P)], None),  # the fan stands still
        (situations.charging(), [(0, C), (7000, C | DELIVERY), (8000, C)], 3600),
        (replace(situations.charging(), clear_of_s=(3000, 4000)), [(0, C)], 4200),
        (situations.before_delivery(60, 600), [(0, 0), (9000, P)], 8460),
        (situations.before_delivery(60, 600), [(0, 0)], None),
    ],
)
def test_the_first_moment_of_a_run_that_fits(
    situation: Situation, rows: list[tuple[int, int]], at_s: int | None
) -> None:
    found = moment(situation, *rows)
    if situation.then_on and at_s is not None:
        assert found is not None
        assert 9000 - 600 < found <= 9000 - 60
    else:
        assert found == at_s


def test_wanted_hours_must_go_on() -> None:
    """The demo wants its room cool until 17:30."""
    plan = situations.plan_minutes(bytes(DEMO.settings()))
    assert plan[17 * 60 + 29] & week.PLAN_WANTED
    assert not plan[17 * 60 + 30] & week.PLAN_WANTED
    late = [(0, 0), (17 * 3600, DELIVERY)]
    assert moment(situations.delivering(wanted_s=1200), *late) == 17 * 3600 + 60
    assert moment(situations.delivering(wanted_s=2400), *late) is None


def test_the_store_must_be_as_cold_as_said() -> None:
    deep = situations.charging_deep(5.0)
    assert moment(deep, (0, C), store_c=4.9) == 3600
    assert moment(deep, (0, C), store_c=5.1) is None


@pytest.mark.parametrize("hours", HOURS, ids=str)
def test_every_fault_is_tried(hours: dict[str, Any]) -> None:
    site = load_site("demo", hours)
    runs, absent = placing.placed(site, variants=scenarios.MIDDLE)
    assert not absent
    assert len({s.name for s in runs}) == len(runs)
    charging = {s.name for s in runs if "store probes" in s.name}
    assert len(charging) >= 8
    short = [s for s in runs if s.days <= 3 and s.expects]
    hollow = [
        (s.name, r)
        for s in short[:: 1 if hours == HOURS[0] else 3]
        for r in running.run_one(site.path, s, changed=site.changed).responses
        if not r.kept
    ]
    assert not hollow


def test_what_the_hours_never_bring_about_the_owner_does() -> None:
    """The demo charges at night and delivers by day; asked to cool, it does both."""
    runs = placing.placed(DEMO, variants=scenarios.MIDDLE)[0]
    both = [s for s in runs if "charging and delivering" in s.name]
    assert both
    for s in both:
        assert s.owner
        assert s.name.endswith("now' asked for)")
        result = running.run_one(DEMO.path, s)
        assert all(r.kept for r in result.responses), s.name
        assert not any(result.violations)
    assert not any(s.owner for s in runs if s not in both)


def test_a_room_that_is_never_warm_has_no_delivery_to_break() -> None:
    cool = {"settings.room_target_c": 35, "settings.room_limit_c": 40, "promises.room_below_c": 38}
    empty = {"room.people": 0, "room.equipment_w": 0}
    runs, absent = placing.placed(load_site("demo", {**cool, **empty}), variants=scenarios.MIDDLE)
    never = {a.name: a.never for a in absent}
    assert never["clock lost, delivering"] == "never delivers"
    assert not any("delivering" in s.name for s in runs)
    assert any("no answer" in s.name for s in runs)


def test_a_rare_situation_is_found_in_the_summer_and_tried_near_it() -> None:
    """A room warm enough on few days only: the run begins the day before such a day."""
    hot = {"settings.room_target_c": 30, "settings.room_limit_c": 40, "promises.room_below_c": 38}
    site = load_site("demo", hot)
    case = FaultCase(1, "x", situations.delivering(), (), (Fault("prime_lost", 0),))
    summer = scenarios.whole_summer(site)
    healthy = placing.Healthy(site)
    run = next(iter(placing.place([case], [summer], healthy)))
    if isinstance(run, placing.Absent):
        pytest.fail(f"no day of {summer.days} is warm enough: {run.never}")
    out = healthy.trace(replace(run, days=run.days)).events
    at = int(np.searchsorted(out[:, ticks.AT_MS], run.faults[0].onset_s * 1000, side="right")) - 1
    assert out[at, ticks.OUT] & DELIVERY == DELIVERY
    assert run.days < summer.days


def test_a_fault_of_other_settings_is_looked_for_under_them() -> None:
    """Tuning asks about settings under which another hour may be the right one."""
    from springhouse import setting

    warm = ((setting.ROOM_TARGET_MC, 29_000), (setting.ROOM_LIMIT_MC, 33_000))
    own = {s.name: s for s in placing.placed(DEMO, variants=scenarios.MIDDLE)[0]}
    other = {s.name: s for s in placing.placed(DEMO, warm, variants=scenarios.MIDDLE)[0]}
    name = "air in the loop, delivering"
    assert other[name].changes == warm
    assert other[name].faults[0].onset_s > own[name].faults[0].onset_s
    plain: list[Scenario] = placing.standard(DEMO, warm, variants=scenarios.MIDDLE)
    assert all(s.changes == () for s in plain if s.group == "fault")
