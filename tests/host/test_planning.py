"""Plans: the optimiser against sums by hand, the board's own reader, the full plant."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from springhouse import advice
from springhouse.ahead import A_RUN, HIGHEST_MC, LOWEST_MC, QUARTERS, STEP_MC, Plan
from springhouse.command import parse
from springhouse.link import LINE_MOST
from springhouse_host import cli, screen
from springhouse_host.errors import KnownError
from springhouse_host.planning import (
    ahead,
    case,
    clock,
    knowing,
    misforecast,
    optimise,
    quarters,
    telling,
)
from springhouse_host.planning.blocks import Charge, blocks, target_mc
from springhouse_host.planning.case import State
from springhouse_host.planning.reduced import Reduced
from springhouse_host.planning.store import ReducedStore
from springhouse_host.site import load_site
from springhouse_sim.world.plan import Quarter

START = datetime(2026, 7, 14, 16, tzinfo=UTC)
MINUTE = int(START.timestamp()) // 60
STORE_KWH_K, COOLING_KW, INPUT_KW, REACH_KW_K, ROOM_KW = 0.2, 0.2, 0.1, 0.05, 0.5


def simple() -> Reduced:
    """No losses, a machine that is the same at any temperature, a room that forgets at once."""
    return Reduced(
        store_kwh_k=STORE_KWH_K, gain_kw_k=1e-12, reach_kw_k=REACH_KW_K, coil_share=0.0,
        cooling_kw=(COOLING_KW, 0.0), input_kw=(INPUT_KW, 0.0), place_rise_k=0.0, pump_kw=0.0,
        idle_kw=0.0, moisture_kg=50.0, fresh_kg_h=1.0,
        after=np.zeros((2, 2)), by_kw=np.array([4.0 / ROOM_KW, 0.0]), mean=np.zeros(2),
        mean_by_kw=0.0,
    )  # fmt: skip


def a_day(price: np.ndarray, may_run: np.ndarray | None = None) -> ahead.Ahead:
    """A day of a room at 30 °C without a store, wanted in the last hour."""
    count = len(price)
    return ahead.Ahead(
        price, np.arange(count) >= count - 4,
        np.ones(count, np.bool_) if may_run is None else may_run,
        np.full(count, 20.0), np.zeros(count), np.full(count + 1, 30.0), np.full(count + 1, 30.0),
    )  # fmt: skip


AIM = ahead.Aim(28.0, 26.0, 0.0, plan_tells=False)
STORE = ReducedStore(20.0, 3.0, 30.0, 1.0, 40.0)


@settings(max_examples=25)
@given(st.integers(0, 9999), st.floats(4.0, 26.0))
def test_arbitrage_by_hand(seed: int, now_c: float) -> None:
    """Asked are 0.5 kW at a room of 26 °C: a store that ends at 16 °C or colder, at least cost.

    C (T - 16) + 4 quarter hours of 0.5 kW are to be charged, 0.05 kWh a quarter hour; those of the
    last hour itself count. Prices differ too little for cold to be worth keeping for another day.
    """
    price = 0.2 + 1e-4 * np.random.default_rng(seed).permutation(96)
    store = ReducedStore(now_c, 3.0, 30.0, 1.0, 40.0)
    found = optimise.ideal(simple(), a_day(price), AIM, store)
    needed = max(0.0, STORE_KWH_K * (now_c - 16.0) + 4 * ROOM_KW * 0.25)
    each = COOLING_KW * 0.25
    whole, part = divmod(needed, each)
    cheapest = np.sort(price)
    by_hand = INPUT_KW * 0.25 * (cheapest[: int(whole)].sum() + cheapest[int(whole)] * part / each)
    assert found.lacks_k.max() == pytest.approx(0.0, abs=1e-6)
    assert found.cost == pytest.approx(by_hand, rel=1e-3)


def test_a_charge_ends_at_the_shallow_target_at_the_warmest() -> None:
    """The controller, once it charges, goes on to it; 16 °C would be cold enough."""
    store = ReducedStore(20.0, 3.0, 12.0, 1.0, 40.0)
    found = optimise.ideal(simple(), a_day(np.full(96, 0.3)), AIM, store, to_shallow=True)
    ends = [behind for _, behind in blocks(found.runs, np.ones(96, np.bool_))]
    assert [found.store_c[k] for k in ends] == pytest.approx([12.0] * len(ends), abs=0.2)


def test_a_charge_goes_on_to_the_shallow_target_whatever_the_plan_says() -> None:
    """As conditions.store_word has it: waiting bars a start, and the shallow target is in force."""
    store = ReducedStore(20.0, 3.0, 16.0, 1.0, 40.0)
    known = a_day(np.full(96, 0.3))
    nothing = ahead.PlanAsked(known.wanted & False, np.zeros(96), np.zeros(96), np.full(97, 26.0))
    runs, store_c = optimise.carried_out(simple(), known, store, nothing, (Charge(4, 6, 10000),))
    assert not runs[:4].any()
    assert runs.sum() == pytest.approx((20.0 - 16.0) * STORE_KWH_K / 0.05)
    assert store_c[-1] == pytest.approx(16.0, abs=1e-6)


def test_a_store_is_never_left_to_warm_up_beyond_what_charges_by_itself() -> None:
    """By settings.WARM_FILL_MC a warmer one waits for its owner; nobody wants the room here."""
    known = a_day(np.full(192, 0.3))
    calm = replace(known, air_c=known.air_c - 6.0, place_c=known.place_c + 8.0)
    leaky = replace(simple(), gain_kw_k=0.002)
    found = optimise.best(leaky, calm, AIM, ReducedStore(18.0, 3.0, 16.0, 1.0, 20.0))
    assert not found.asked.cooled.any()
    assert found.charges
    assert found.store_c.max() < 20.5


def test_hours_that_the_owner_keeps_silent_stay_silent() -> None:
    price = np.full(96, 0.3)
    price[40:60] = -0.1
    may_run = np.ones(96, np.bool_)
    may_run[45:60] = False
    found = optimise.ideal(simple(), a_day(price, may_run), AIM, STORE)
    assert not found.runs[45:60].any()
    assert found.runs[40:45] == pytest.approx(1.0)  # it is paid for


def test_the_later_of_hours_alike() -> None:
    found = optimise.ideal(simple(), a_day(np.full(96, 0.3)), AIM, STORE)
    on = np.flatnonzero(found.runs > 0.5)
    assert len(on) == pytest.approx((STORE_KWH_K * 4.0 + 0.5) / 0.05, abs=1)
    assert on[0] >= 96 - len(on) - 1


def test_what_cannot_be_had_is_told() -> None:
    found = optimise.ideal(simple(), a_day(np.full(96, 0.3), np.zeros(96, np.bool_)), AIM, STORE)
    assert found.lacks_k.max() > 4.0  # from 20 to the 16 °C that are needed, and what is taken


SHARES = st.lists(st.tuples(st.floats(0.0, 1.0), st.booleans()), min_size=3, max_size=48)


@given(SHARES)
def test_blocks_charge_what_was_asked_and_never_in_silence(drawn: list[tuple[float, bool]]) -> None:
    may_run = np.array([allowed for _, allowed in drawn])
    runs = np.where(may_run, [share for share, _ in drawn], 0.0)
    on = np.zeros(len(runs), np.bool_)
    for first, behind in blocks(runs, may_run):
        on[first:behind] = True
    assert not (on & ~may_run).any()
    asked = float(runs[runs > 1e-3].sum())
    assert on.sum() >= asked - 0.5 - 1e-9
    assert on.sum() <= 2.0 * asked + 1.0  # pauses that are charged through stand between two others


def test_a_target_is_one_the_board_takes() -> None:
    for deep_c, shallow_c in ((3.5, 16.0), (3.1, 15.9), (-0.9, 5.0)):
        store = ReducedStore(12.0, deep_c, shallow_c, 1.0, 20.0)
        for ends_c in np.linspace(-3.0, 25.0, 57):
            target = target_mc(store, float(ends_c) + 4.0, float(ends_c))
            assert (target - LOWEST_MC) % STEP_MC == 0
            assert round(deep_c * 1000) <= target <= round(shallow_c * 1000)


QUARTER = st.builds(
    lambda what, wanted, step: Quarter(
        what, wanted, LOWEST_MC + step * STEP_MC if what == 2 else 0
    ),
    st.sampled_from([advice.WAIT, advice.CHARGE]),
    st.integers(0, 1),
    st.integers(0, (HIGHEST_MC - LOWEST_MC) // STEP_MC),
)


class Slots:
    """Takes a plan and forgets it."""

    def load(self) -> None:
        return None

    def save(self, body: bytes) -> bool:
        return bool(body)


OWNER: Any = SimpleNamespace(clock=SimpleNamespace(utc_min=MINUTE))


@given(st.lists(QUARTER, max_size=QUARTERS))
def test_the_board_reads_the_lines_as_they_are_meant(plan: list[Quarter]) -> None:
    case = SimpleNamespace(start=START)
    board = Plan(Slots())  # type: ignore[arg-type]
    for line in telling.lines(case, SimpleNamespace(quarters=tuple(plan))):  # type: ignore[arg-type]
        assert len(line) < LINE_MOST
        command, fault = parse(line.encode())
        assert not fault
        assert board.take(command["from"], command["runs"], OWNER) == ""
    held = board.runs(MINUTE)
    assert held == quarters.runs(plan)
    assert len(held) % A_RUN == 0


def test_forecasts_err_as_stated() -> None:
    lead_h = np.arange(-24.0, 49.0)
    drawn = np.array([misforecast.errors_k(lead_h, seed) for seed in range(400)])
    assert not drawn[:, :24].any()
    sd = drawn.std(axis=0)
    assert sd[24] == pytest.approx(1.0, rel=0.15)
    assert sd[48] == pytest.approx(2.0, rel=0.15)
    assert sd[72] == pytest.approx(3.0, rel=0.15)
    assert np.corrcoef(drawn[:, 60], drawn[:, 48])[0, 1] == pytest.approx(np.exp(-1.0), abs=0.15)


COMMAND = [
    "plan", "demo", "--decides", "charging and wanted hours", "--store-c", "18", "--zone",
    "America/New_York",
]  # fmt: skip


@pytest.fixture(scope="module")
def planned(tmp_path_factory) -> dict:
    folder = tmp_path_factory.mktemp("plan")
    prices = folder / "prices.csv"
    first = START - timedelta(hours=2)
    stamps = [(first + timedelta(hours=k)).isoformat() for k in range(60)]
    cheap = [15 <= k % 24 <= 20 for k in range(60)]
    lines = [f"{t},{0.05 if low else 0.4}" for t, low in zip(stamps, cheap, strict=True)]
    prices.write_text("time,price_per_kwh\n" + "\n".join(lines) + "\n", encoding="utf-8")
    out = folder / "plan.json"
    more = ["--from", "2026-07-14T12:00", "--prices", str(prices), "--json", str(out)]
    assert cli.run([*COMMAND, *more]) == 0
    found: dict = json.loads(out.read_text(encoding="utf-8"))
    return found


def test_a_plan_charges_when_power_is_cheap(planned: dict) -> None:
    assert planned["begins"] == START.isoformat()
    charges = [s for s in planned["spells"] if s["charges"]]
    assert charges
    assert min(s["price"] for s in charges) < 0.15  # of 0.05 and 0.4
    assert planned["tried"][0]["weather"] == "as forecast"


def test_a_plan_is_handed_out_only_if_the_room_is_no_worse(planned: dict) -> None:
    assert not planned["refused"]
    for tried in planned["tried"]:
        assert tried["planned"]["over_min"] <= tried["fixed"]["over_min"] + 5
        assert tried["perfect"]["cost"] <= tried["fixed"]["cost"]
    mean = [np.mean([t[way]["cost"] for t in planned["tried"]]) for way in ("planned", "fixed")]
    assert mean[0] < mean[1]


def test_the_reduced_model_is_near_the_plant(planned: dict) -> None:
    assert planned["misfit"]["store_k"] < 3.0
    assert planned["misfit"]["room_k"] < 1.0


def test_a_plan_fits_a_narrow_screen(monkeypatch, capsys) -> None:
    monkeypatch.setattr(screen, "PIPED_WIDTH", 80)
    assert cli.run([*COMMAND, "--from", "2026-07-14T18:00", "--units", "us"]) == 0
    shown = capsys.readouterr().out
    told, _, board = shown.partition("for the board:")
    assert max(map(len, (line.rstrip() for line in told.splitlines()))) <= 80
    assert "°C" not in told
    assert told.startswith("Yes: by this plan the next two days cost ")
    assert all(not parse(line.encode())[1] for line in board.split())


BOOKED = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:tests
BEGIN:VEVENT
UID:a
DTSTAMP:20260101T000000Z
DTSTART;TZID=Europe/Madrid:20261025T133000
DTEND;TZID=Europe/Madrid:20261025T163000
END:VEVENT
END:VCALENDAR
"""


def test_a_booked_sunday_on_which_the_clock_is_put_back(tmp_path) -> None:
    """The fixed schedule cools on weekdays alone; the board's clock changes in the plant too."""
    room, weather, out = (tmp_path / name for name in ("room.ics", "weather.csv", "plan.json"))
    room.write_text(BOOKED.replace("\n", "\r\n"), encoding="utf-8")
    begin = datetime(2026, 10, 24, 15, tzinfo=UTC)
    stamps = [(begin + timedelta(hours=k)).isoformat() for k in range(51)]
    weather.write_text("time,temp_air_c\n" + "".join(f"{t},32\n" for t in stamps), encoding="utf-8")
    line = ["plan", "demo", "--decides", "charging and wanted hours", "--store-c", "19"]
    line += ["--from", "2026-10-24T18:00", "--zone", "Europe/Madrid", "--bookings", str(room)]
    assert cli.run([*line, "--forecast", str(weather), "--json", str(out)]) == 0
    found = json.loads(out.read_text(encoding="utf-8"))
    cooled = [s for s in found["spells"] if not s["charges"]]
    assert [s["begins"] for s in cooled] == ["2026-10-25T12:30:00+00:00"]
    assert cooled[0]["ends"] <= "2026-10-25T15:30:00+00:00"
    fixed, planned = (found["tried"][0][way]["over_min"] for way in ("fixed", "planned"))
    assert fixed > 120
    assert planned < 10


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--send"], "schedule.plan_decides"),
        (["--store-c", "60"], "--store-c: 60 is outside -1 to 40"),
        (["--decides", "all"], "--decides all: charging or charging and wanted hours"),
        (["--zone", "Mars/Base"], "--zone: 'Mars/Base' is not a zone"),
        (["--prices", "none.csv"], "none.csv: cannot be read"),
        (["--record", "none.txt"], "none.txt: cannot be read"),
        (["--json", "no/where.json"], "cannot be written"),
    ],
)
def test_bad_options_are_one_line(
    more: list[str], said: str, capsys, tmp_path, monkeypatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.run(["plan", "demo", *more]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


RECORD = {
    "up": 100, "utc": MINUTE, "st": [0, 0], "out": 0, "mc": [9000, 9500, 26500, 0, 0],
    "bad": [0, 0, 0, 1, 1], "ml": 0, "mv": 13000, "in": 31, "w": [0, 0, 0], "lat": 0, "md": [0, 0],
}  # fmt: skip


def test_the_store_by_the_boards_record(tmp_path) -> None:
    path = tmp_path / "records.txt"
    path.write_text(f"{json.dumps(RECORD)}\nnoise\n", encoding="utf-8")
    site = load_site("demo")
    found = knowing.from_record(path, site, START + timedelta(hours=1), False)
    assert found == State(pytest.approx(9.25), pytest.approx(26.5), found.said)
    lies = load_site("demo", {"settings.store_low_offset_k": 0.5, "settings.room_offset_k": -0.3})
    calibrated = knowing.from_record(path, lies, START, False)
    assert calibrated.store_c == pytest.approx(9.5)
    assert calibrated.room_c == pytest.approx(26.2)
    with pytest.raises(KnownError, match="at most 3 h apart"):
        knowing.from_record(path, site, START + timedelta(days=1), False)


@pytest.mark.parametrize("us", [False, True])
def test_where_the_store_s_temperature_comes_from_is_told(us: bool) -> None:
    for state, said in ((State(), "fixed schedule leaves it"), (State(9.0, 26.0, "by x"), "by x")):
        found = case.gather(load_site("demo"), START, clock.zone_of("UTC"), *[None] * 3, state, us)
        assert said in " ".join(found.notes)
        assert ("°C" if us else "°F") not in " ".join(found.notes)
        assert (case.mean_store_c(found.initial) == 9.0) == (state.store_c == 9.0)
