"""Scenarios, judging and reasons, each on its own."""

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from site_text import edited, site_of
from springhouse_host.proof import catalogue, placing, random_inputs, running, scenarios, verdict
from springhouse_host.proof.case import TRAY_EMPTIED_S
from springhouse_host.proof.limits import Shortfall
from springhouse_host.proof.running import Result
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.site import load_site
from springhouse_host.site.promises import Promise
from springhouse_sim import sense
from springhouse_sim.plant import given
from springhouse_sim.watch import observe
from springhouse_sim.world.faults import Fault

NONE = (0,) * observe.COUNTS
START = datetime(2001, 7, 9)


def result(name: str, ice_kg: float, group: str = "nominal", share: float = 1.0) -> Result:
    summary = {
        "max_ice_kg": ice_kg,
        "wanted_share_within": share,
        "off_gap_min_s": None,
        "days": 1.0,
        "cost": 2.0,
    }
    scenario = Scenario(name, group, START, 1)  # type: ignore[arg-type]
    return Result(scenario, summary, NONE, NONE, Shortfall(5, "coil", "the coil is small"))


ICE = Promise("ice_kg", "ice", "kg", 0.3)
SHARE = Promise("room_share_percent", "share", "%", 90.0, at_least=True, room_below_c=28.0)


def test_worst_scenario_sets_the_margin() -> None:
    judged = verdict.judge(ICE, [result("a", 0.1), result("b", 0.25), result("c", 0.2)])
    assert (judged.scenario, judged.worst, judged.kept) == ("b", 0.25, True)
    assert judged.margin == pytest.approx(0.05)


def test_broken_promise_says_why() -> None:
    judged = verdict.judge(SHARE, [result("a", 0.0), result("b", 0.0, share=0.5)])
    assert (judged.scenario, judged.kept) == ("b", False)
    assert judged.margin == pytest.approx(-40.0)
    assert judged.why.startswith("the coil is small")


def test_comfort_is_not_judged_while_something_is_broken() -> None:
    judged = verdict.judge(SHARE, [result("a", 0.0), result("b", 0.0, "fault", 0.0)])
    assert judged.worst == 100.0


def test_a_promise_nothing_speaks_about_is_refused() -> None:
    gap = Promise("off_gap_s", "gap", "s", 600.0, at_least=True)
    with pytest.raises(ValueError, match="empty"):
        verdict.judge(gap, [result("a", 0.0)])


def test_hot_days_hold_wanted_hours(tmp_path) -> None:
    """The demo wants weekdays only, and its hottest week begins on a Sunday."""
    site = load_site("demo")
    corner = next(
        s for s in placing.standard(site, variants=scenarios.MIDDLE) if s.group == "corner"
    )
    assert corner.start.weekday() < 4
    weekend = site_of(tmp_path, edited(("schedule.wanted", '["sat,sun 13:30-17:30"]')))
    fault = next(
        s for s in placing.standard(weekend, variants=scenarios.MIDDLE) if s.group == "fault"
    )
    assert fault.start.weekday() >= 5


def test_measured_site_has_one_reading_of_its_labels() -> None:
    names = [
        s.name
        for s in placing.standard(load_site("demo"), variants=scenarios.MIDDLE)
        if s.group == "nominal"
    ]
    assert len(names) == 9  # typical, hottest and summer days, three readings
    assert sum("low reading" in name for name in names) == 3


def test_no_fault_of_a_sensor_that_is_absent(tmp_path) -> None:
    text = edited(("sensors.store_high", '"absent"'), ("settings.deep_target_c", "6"))
    faults = [
        s.name
        for s in placing.standard(site_of(tmp_path, text), variants=scenarios.MIDDLE)
        if s.group == "fault"
    ]
    assert not any("store_high" in name for name in faults)
    assert any("store_low" in name for name in faults)


def test_a_tray_that_must_stay_full_is_not_poured_out_meanwhile() -> None:
    filled = [case for case in catalogue.cases(load_site("demo")) if "tray fills" in case.name]
    assert filled
    for case in filled:
        assert case.at.clear_of_s is not None
        assert case.at.clear_of_s[0] + max(e.stay_s for e in case.expects) <= TRAY_EMPTIED_S


def test_random_inputs_are_the_same_compiled_and_interpreted() -> None:
    plain = random_inputs.drive(2, 1500, compile_ticks=False)
    assert random_inputs.drive(2, 1500) == plain
    assert plain.scans == 6000
    assert sum(plain.seen) == 2 * plain.scans


def test_shortfall_names_the_spent_store() -> None:
    """A compressor that hardly cools leaves the store warm, and the room with it."""
    weak = ((given.CAPACITY_FACTOR, 0.05),)
    scenario = Scenario("weak", "nominal", START, 3, given=weak, store_start_c=20.0)
    found = running.run_one("demo", scenario)
    assert found.shortfall.minutes > 30
    assert found.shortfall.cause == "store"


def test_shortfall_names_the_coil() -> None:
    site = load_site("demo")
    scenario = Scenario("cold", "nominal", datetime(2001, 7, 10, 10), 1, store_start_c=3.0)
    weak = replace(site.plant().coil, ua_w_k=4.0, rated_air_m3_h=20.0, free_air_m3_h=40.0)
    bench = running.bench(
        site,
        scenario,
        kind=lambda plant, *rest, **more: running.Bench(replace(plant, coil=weak), *rest, **more),
    )
    found = running.summarise(site, scenario, bench.run(0.4))
    assert found.shortfall.minutes > 30
    assert found.shortfall.cause == "coil"


def test_welded_relay_is_stopped_by_the_cut_out_alone() -> None:
    """Software cannot open a welded relay: declared, the independent cut-out bounds the ice."""
    site = load_site("demo")
    weld = Scenario(
        "weld", "fault", START, 2, store_start_c=4.0, faults=(Fault("relay_welded", 3600),)
    )
    with_cut_out = running.run_one("demo", weld).summary
    bench = running.bench(site, weld)
    bench.sense[sense.CUT_OUT_OPENS_MC] = sense.NO_CUT_OUT
    without = bench.run(2).summary(28.0)
    assert without["max_ice_kg"] > 5.0
    assert np.isfinite(with_cut_out["max_ice_kg"])
    assert with_cut_out["max_ice_kg"] < 0.5 * without["max_ice_kg"]
