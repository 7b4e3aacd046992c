"""Packing, spans and sums of a report, each on its own."""

import re
from datetime import datetime
from importlib import resources

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from springhouse_host.proof import running, scenarios
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.report import heat, sentences, spans
from springhouse_host.report.make import record_all
from springhouse_host.report.packing import LARGEST, pack, unpack
from springhouse_host.report.recorded import THIN_MIN, in_unit, minute_columns
from springhouse_host.report.series import COLOURS, COLUMNS
from springhouse_host.site import load_site
from springhouse_sim.trace import Trace


@given(
    hnp.arrays(
        np.float64,
        st.tuples(st.just(2), st.integers(1, 50)),
        elements=st.floats(-1e6, 1e6) | st.just(np.nan),
    )
)
def test_columns_come_back_within_half_a_step(table: np.ndarray) -> None:
    packed = pack({"a": table[0], "b": table[1]}, {"a": 0.02, "b": 1.0})
    back = unpack(packed)
    for name, values in zip("ab", table, strict=True):
        assert np.array_equal(np.isnan(values), np.isnan(back[name]))
        error = np.abs(values - back[name])[~np.isnan(values)]
        assert (error <= 0.5001 * packed.steps[name]).all()
        assert np.nanmax(np.abs(values), initial=0.0) <= packed.steps[name] * LARGEST * 1.001


def test_columns_of_two_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="one length"):
        pack({"a": np.zeros(2), "b": np.zeros(3)}, {"a": 1.0, "b": 1.0})


def test_spans_hold_until_the_next_time() -> None:
    on = np.array([True, False, True, True])
    found = spans.where(np.array([0.0, 10.0, 20.0, 30.0]), on, 100.0)
    assert found == [(0.0, 10.0), (20.0, 100.0)]
    assert spans.seconds(found) == 90.0


@pytest.fixture(scope="module")
def trace() -> Trace:
    """Two hot days of the demo from Monday 9 July 2001, 00:00 standard, 01:00 local time."""
    site = load_site("demo")
    return running.bench(site, scenarios.single(site, datetime(2001, 7, 9), 2)).run(2)


def test_cheap_hours_are_those_of_the_site_file(trace: Trace) -> None:
    """The demo's night rate runs from 23:00 to 07:00, by its site file."""
    site = load_site("demo")
    cheap = spans.cheap(spans.priced(site.tariff(), trace))
    hour = 3600.0
    assert cheap == [(0.0, 6 * hour), (22 * hour, 30 * hour), (46 * hour, 48 * hour)]


def test_bills_add_up_to_the_meter(trace: Trace) -> None:
    """0.21 and 0.34 EUR/kWh are the demo's prices, by its site file."""
    tariff = load_site("demo").tariff()
    bills = heat.bills(trace, tariff, spans.priced(tariff, trace))
    assert [(b.rate, b.price_kwh) for b in bills] == [("cheap", 0.21), ("dear", 0.34)]
    assert sum(b.kwh for b in bills) == pytest.approx(trace.energy_kwh()["mains"])
    together = sum(b.cost for b in bills) + heat.standing(trace, tariff)
    assert together == pytest.approx(trace.cost)


def test_every_cause_of_heat_has_words(trace: Trace) -> None:
    assert set(heat.ROOM) == set(trace.room_heat_kwh())
    assert set(heat.STORE) == set(trace.store_heat_kwh())
    assert set(heat.CONSUMERS) == set(trace.energy_kwh())


def test_strips_agree_with_the_minutes(trace: Trace) -> None:
    """Exact spans and minute samples are two records of the same outputs."""
    site = load_site("demo")
    scenario = scenarios.single(site, datetime(2001, 7, 9), 2)
    found = spans.strips(scenario, trace, spans.priced(site.tariff(), trace))
    sampled_h = float(np.sum(trace.column("out").astype(int) & 1)) / 60.0
    assert spans.seconds(found["compressor"]) / 3600 == pytest.approx(sampled_h, abs=0.2)
    assert len(found["compressor"]) == trace.summary(28.0)["starts"]
    assert found["away"] == found["fault"] == []


def test_a_sentence_says_the_numbers(trace: Trace) -> None:
    site = load_site("demo")
    scenario = scenarios.single(site, datetime(2001, 7, 9), 2)
    strips = spans.strips(scenario, trace, spans.priced(site.tariff(), trace))
    columns = minute_columns(trace, None)
    told = sentences.Told(trace, columns, strips, 28.0, 0.3, "EUR", us=False)
    said = sentences.sentences(told)
    assert set(said) == {"room", "store", "ice", "coil", "heat", "power", "strips"}
    assert f"{columns['room_air_c'].max():.3g} °C" in said["room"]
    assert f"{trace.energy_kwh()['mains']:.2f} kWh" in said["power"]
    assert f"{trace.summary(28.0)['starts']} runs" in said["strips"]


def test_us_units_reach_the_columns() -> None:
    """0 °C is 32 °F and 100 °C is 212 °F, by definition; power stays in W."""
    values = np.array([0.0, 100.0])
    room, mains = COLUMNS["room_air_c"], COLUMNS["mains_w"]
    assert in_unit(values, room, us=True) == pytest.approx([32.0, 212.0])
    assert in_unit(values, room, us=False) is values
    assert in_unit(values, mains, us=True) is values


def test_long_runs_are_thinned_unless_wanted_in_full() -> None:
    """In the order asked for, although the longest is run first."""
    start = datetime(2001, 7, 9)
    asked = [Scenario(f"{n} days", "corner", start, n) for n in (1, 8, 9)]
    steps: list[tuple[int, int]] = []
    found = record_all(
        load_site("demo"), asked, (False, False, True), False, lambda *at: steps.append(at)
    )
    assert [run.name for run in found] == ["1 days", "8 days", "9 days"]
    assert [run.step_min for run in found] == [1, THIN_MIN, 1]
    assert steps == [(1, 4), (2, 4), (3, 4)]  # the sizing sheet is the fourth


def luminance(colour: str) -> float:
    """Relative luminance of a colour (W3C, Web Content Accessibility Guidelines 2.1)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


@pytest.mark.parametrize("place", [0, 1])
def test_lines_stand_out_from_the_page(place: int) -> None:
    """Success criterion 1.4.11 of WCAG 2.1: graphical objects at 3:1 or more."""
    paper = luminance(("#ffffff", "#16181a")[place])
    for name, pair in COLOURS.items():
        line = luminance(pair[place])
        contrast = (max(paper, line) + 0.05) / (min(paper, line) + 0.05)
        assert contrast >= 3.0, (name, contrast)


def test_pages_and_charts_have_the_same_colours() -> None:
    text = resources.files("springhouse_host.report").joinpath("page", "palette.css").read_text()
    light, dark = text.split("@media")
    named = dict(re.findall(r"--(\w+): (#\w{6});", light))
    other = dict(re.findall(r"--(\w+): (#\w{6});", dark))
    shared = {"ink": "text"} | {name: name for name in named if name in COLOURS}
    assert len(shared) == 5
    for chart, page in shared.items():
        assert COLOURS[chart] == (named[page], other[page])
