"""The first sentences of a command agree with its figures."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from report_case import small_verdict
from springhouse_host import plainly
from springhouse_host.notebook import Proof
from springhouse_host.planning import season
from springhouse_host.planning.making import Came
from springhouse_host.planning.telling import Way
from springhouse_host.sheet import sizing
from springhouse_host.sheet.answer import answer
from springhouse_host.site import load_site
from springhouse_host.worth import ahead

SUMMARY = {
    "room_hours_over": 0.0,
    "max_ice_kg": 0.0,
    "spill_l": 0.0,
    "energy_kwh": 1.57,
    "cost": 0.36,
}


@pytest.fixture(scope="module")
def sheet() -> sizing.Sizing:
    return sizing.size(load_site("demo"))


def changed(sheet: sizing.Sizing, **held_h: float) -> sizing.Sizing:
    sheets = {v: replace(s, held_h=held_h.get(v, s.held_h)) for v, s in sheet.sheets.items()}
    return replace(sheet, sheets=sheets)


@pytest.mark.parametrize(
    ("held_h", "word"),
    [
        ({"low": 4.1, "mid": 5.0}, "Yes:"),
        ({"low": 2.8, "mid": 4.7}, "Probably:"),
        ({"low": 1.0, "mid": 3.9}, "No:"),
        ({"low": 0.0, "mid": 0.0}, "No:"),
    ],
)
def test_one_charge_is_held_against_the_wanted_hours(
    sheet: sizing.Sizing, held_h: dict[str, float], word: str
) -> None:
    said = answer(changed(sheet, **held_h), us=False)
    assert said.startswith(word)
    for hours in held_h.values():
        assert (f"for {hours:.1f} h" if hours else "at no time") in said
    tightest = min(sheet.sheets["mid"].limits, key=lambda limit: limit.ratio)
    assert tightest.ratio < 1.0
    assert f"first: {tightest.name}" in said
    assert tightest.change in said


def test_with_enough_of_all_nothing_is_to_be_changed(sheet: sizing.Sizing) -> None:
    middle = sheet.sheets["mid"]
    ample = replace(middle, limits=tuple(replace(m, ratio=1.5) for m in middle.limits))
    said = answer(replace(sheet, sheets={**sheet.sheets, "mid": ample}), us=False)
    assert "Nothing falls short" in said
    assert "To change" not in said


def test_round_the_clock_is_judged_by_keeping_up(sheet: sizing.Sizing) -> None:
    always = replace(changed(sheet, low=1.0, mid=2.0), wanted_h=24.0, charging_h=24.0)
    middle = sheet.sheets["mid"].worst_day
    assert middle.keeps_up
    said = answer(always, us=True)
    assert f"water of {middle.water_c * 1.8 + 32.0:.3g} °F" in said
    assert "one charge" not in said
    lost = {
        v: replace(s, worst_day=replace(s.worst_day, room_w=s.worst_day.gain_w - 1.0))
        for v, s in always.sheets.items()
    }
    assert answer(replace(always, sheets=lost), us=False).startswith("No:")


def test_a_run_says_ice_and_spilled_water() -> None:
    assert plainly.of_run(SUMMARY, 28.0, False, "EUR") == (
        "In this run the room stayed below 28 °C in all wanted hours, for 1.6 kWh (0.36 EUR); "
        "no ice, and no water on the floor."
    )
    wet = {**SUMMARY, "room_hours_over": 1.25, "max_ice_kg": 0.245, "spill_l": 0.5}
    said = plainly.of_run(wet, 28.0, False, "")
    assert "over 28 °C for 1.2 of the wanted hours" in said
    assert said.endswith("0.245 kg of ice formed and 0.5 L of water were spilled.")


def test_a_proof_names_its_least_margin_or_what_broke() -> None:
    verdict = small_verdict()
    share = next(j for j in verdict.judged if j.promise.measure == "room_share_percent")
    assert verdict.kept
    said = plainly.of_proof(verdict, us=False)
    assert f"{share.worst:.3g} % in the worst of them, at least 90 % promised" in said
    assert repr(Proof(verdict)).splitlines()[1] == said
    html = Proof(verdict)._repr_html_()
    assert html.count("<tr") == 1 + len(verdict.judged) + 1
    assert "&lt;" not in html.partition("<table")[0]
    strict = replace(share.promise, limit=101.0)
    broken = [replace(j, promise=strict) if j is share else j for j in verdict.judged]
    stand_in: Any = SimpleNamespace(
        kept=False,
        judged=broken,
        results=verdict.results,
        bare=verdict.bare,
        sample=verdict.sample,
        depends=False,
    )
    said = plainly.of_proof(stand_in, us=False)
    assert said.startswith("Not as it stands: ")
    assert share.scenario in said


def test_a_comparison_names_the_longest(sheet: sizing.Sizing) -> None:
    best = changed(sheet, mid=9.0)
    assert "store.x=1, 9.0 h" in plainly.of_comparison({"as it is": sheet, "store.x=1": best})
    worse = changed(sheet, mid=1.0)
    assert "Nothing here" in plainly.of_comparison({"as it is": sheet, "store.x=1": worse})


def test_a_plan_is_told_by_what_two_days_cost() -> None:
    came = Came(0.5, 20, 2.3, 26.2, 3)
    fixed = Way("fixed schedule", came, 0.45, 0.53, 1.0, 2.0)
    same = replace(fixed, mean_cost=0.3, mean_over_h=0.9)
    assert plainly.of_plan(fixed, same, "", "EUR") == (
        "Yes: by this plan the next two days cost 0.30 EUR instead of 0.45 EUR, and the room is "
        "too warm for no longer than on the fixed schedule."
    )
    cooler = replace(fixed, mean_cost=0.5, mean_over_h=0.25)
    assert plainly.of_plan(fixed, cooler, "", "").endswith(
        "cost 0.50 instead of 0.45, and the room is too warm for 0.8 h less than on the fixed "
        "schedule."
    )
    assert plainly.of_plan(fixed, same, "it would cost more", "EUR") == (
        "No, the fixed schedule goes on: with a plan it would cost more."
    )


@pytest.mark.parametrize(("us", "off"), [(False, "1-3 K"), (True, "2-5 °F")])
def test_a_summer_planned_ahead_is_told_on_a_forecast_that_errs(us: bool, off: str) -> None:
    """Of several words for what a plan decides the first counts, the one that leaves the room."""
    of = {ahead.FIXED: 15.69, season.PERFECT: 9.0, season.NOISE: 11.88}
    rows = [
        ahead.PlannedRow(tariff, "" if way == ahead.FIXED else word, way, figures, None)
        for tariff in season.TARIFFS
        for word, more in (("charging", 0.0), ("charging and wanted hours", -1.0))
        for way, cost in of.items()
        for figures in [season.Figures(cost + more, 70.0, 0.04, None, 9)]
    ]
    assert plainly.of_ahead(ahead.PlannedSummer(tuple(rows), {}), "28 °C", "EUR", us) == (
        f"Planned each evening on a forecast {off} off, the summer costs 11.88 EUR instead of "
        "15.69, the room over 28 °C for 0.0 h instead of 0.0; where prices move by the hour 11.88 "
        "EUR instead of 15.69."
    )
