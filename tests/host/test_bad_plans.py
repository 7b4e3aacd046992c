"""Plans that mean harm, in the plant: comfort may go, nothing else does."""

from dataclasses import replace
from pathlib import Path

import pytest
from site_text import edited, site_of
from springhouse import advice, setting
from springhouse_host.proof import invariants, running, scenarios
from springhouse_host.proof.measures import MEASURES, SAFETY
from springhouse_host.site import VARIANTS, Site, load_site
from springhouse_host.site.tables import PLAN_DECIDES

CHARGING, ROOM = ('"charging"', '"charging and wanted hours"')


def allowing(tmp_path: Path, what: str) -> Site:
    return site_of(tmp_path, edited(("schedule.plan_decides", what)))


def week_of(site: Site) -> scenarios.Scenario:
    start = scenarios.single(site, None, 1).start
    return scenarios.Scenario("", "beyond", start, 3)


def test_a_site_that_allows_no_plan_is_tried_with_none() -> None:
    site = load_site("demo")
    assert site.settings()[setting.ADVISED] == advice.NOTHING
    assert not list(scenarios.bad_plans(site))


@pytest.mark.parametrize(
    ("what", "number"), [(CHARGING, advice.CHARGING), (ROOM, advice.CHARGING_AND_ROOM)]
)
def test_the_owners_word_is_the_boards_setting(tmp_path: Path, what: str, number: int) -> None:
    assert allowing(tmp_path, what).settings()[setting.ADVISED] == number
    assert PLAN_DECIDES[number] == what.strip('"')


def test_whatever_a_plan_says_the_promises_of_safety_hold(tmp_path: Path) -> None:
    site = allowing(tmp_path, ROOM)
    week = week_of(site)
    shares: dict[str, float] = {}
    for plan in [s for s in scenarios.beyond(site, week) if s.plan]:
        for variant in VARIANTS:
            name = f"{plan.name}, {variant}"
            found = running.run_one(site.path, replace(plan, variant=variant))
            for number in invariants.TEXTS:
                assert not found.violations[number], (name, invariants.identity(number))
            assert found.cases[31] > 1000, name
            for promise in site.promises():
                if promise.measure in SAFETY:
                    value = MEASURES[promise.measure](found)
                    assert value is None or promise.margin(value) >= 0.0, (name, promise.name)
            shares[name] = float(found.summary["wanted_share_within"])
    assert len(shares) == 4 * len(VARIANTS)
    assert min(shares.values()) < 0.9 < max(shares.values()), "no plan did harm, or all did"
