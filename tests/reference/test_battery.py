"""Battery against arithmetic and Peukert's law.

The hours a load really lasts come from running the plant's own right-hand side.
"""

import numpy as np
import pytest
from springhouse_sim.plant import battery, electricity, given, param, state, tap


def hours_on_battery(part: battery.Battery, board_w: float) -> float:
    """Return how long the battery carries a load of ``board_w`` once mains has gone."""
    p, x, dx, t = (
        np.zeros(param.SIZE),
        np.zeros(state.SIZE),
        np.zeros(state.SIZE),
        np.zeros(tap.SIZE),
    )
    part.put(p)
    part.start(x)
    p[param.BOARD_W] = board_w
    u = given.neutral_given()
    u[given.MAINS] = 0.0
    seconds = 0
    while electricity.supplied(x, u, p) > 0.5:
        electricity.power(x, u, p, dx, t)
        x[state.BATTERY_WH] += dx[state.BATTERY_WH] * 10.0
        electricity.switch_battery(x, u, p)
        seconds += 10
    return seconds / 3600.0


def test_b1_ten_watts_for_twelve_hours() -> None:
    """B1, arithmetic: 10 W for 12 h is 120 Wh."""
    part = battery.Battery(
        kind="power_bank", usable_wh=120.0, nominal_v=12.0, discharge_efficiency=1.0
    )
    # 10 W is above the 20 h rate of 6 W, so the mild rate dependence shortens it by 2.5 %.
    assert hours_on_battery(part, 10.0) == pytest.approx(12.0, rel=0.03)
    assert hours_on_battery(part, 6.0) == pytest.approx(20.0, rel=0.002)


def test_b3_in_the_running_plant() -> None:
    """B3 again: 240 Wh of lead-acid at the 20 h rate (20 Ah, 12 V) under 60 W (5 A)."""
    part = battery.Battery(
        kind="lead_acid", usable_wh=240.0, nominal_v=12.0, discharge_efficiency=1.0
    )
    # 5 A is five times the 1 A the rate was stated at: 4 h at 60 W shrinks by 5 ** 0.2.
    assert hours_on_battery(part, 60.0) == pytest.approx(2.899, rel=0.005)


def test_voltage_tells_a_lithium_pack_from_a_power_bank() -> None:
    """Common practice, no source: iron phosphate is flat then falls, a bank shows nothing."""
    flat = [battery.open_circuit_ratio(battery.LIFEPO4, f) for f in (0.3, 0.5, 0.9)]
    assert max(flat) - min(flat) < 0.04
    assert battery.open_circuit_ratio(battery.LIFEPO4, 0.02) < 0.9
    bank = [battery.open_circuit_ratio(battery.POWER_BANK, f) for f in (0.01, 0.5, 1.0)]
    assert bank == [1.0, 1.0, 1.0]
    assert battery.open_circuit_ratio(battery.POWER_BANK, 0.0) == 0.0


@pytest.mark.parametrize(("kind", "falls"), [("power_bank", False), ("lifepo4", True)])
def test_a_power_bank_gives_no_warning_under_load(kind: str, falls: bool) -> None:
    """Common practice, no source: its converter holds the voltage until it ends."""
    part = battery.Battery(kind=kind, usable_wh=50.0, nominal_v=5.0, initial_fraction=0.05)
    p, x, dx, t = (
        np.zeros(param.SIZE),
        np.zeros(state.SIZE),
        np.zeros(state.SIZE),
        np.zeros(tap.SIZE),
    )
    part.put(p)
    part.start(x)
    p[param.BOARD_W] = 10.0
    u = given.neutral_given()
    u[given.MAINS] = 0.0
    electricity.power(x, u, p, dx, t)
    assert (t[tap.BATTERY_V] < 4.9) == falls


def test_open_circuit_voltage_has_no_steps() -> None:
    fractions = np.linspace(0.0, 1.0, 2001)
    for kind in (battery.LIFEPO4, battery.LEAD_ACID):
        volts = np.array([battery.open_circuit_ratio(kind, float(f)) for f in fractions])
        assert np.all(np.diff(volts) >= 0.0)
        assert np.max(np.diff(volts)) < 0.002


def test_power_bank_switches_off_under_a_small_load() -> None:
    """A bank that wants 1 W drops a 0.5 W board after its wait, and mains brings it back."""
    part = battery.Battery(kind="power_bank", usable_wh=50.0, min_load_w=1.0, controller_w=0.5)
    p, x, dx, t = (
        np.zeros(param.SIZE),
        np.zeros(state.SIZE),
        np.zeros(state.SIZE),
        np.zeros(tap.SIZE),
    )
    part.put(p)
    part.start(x)
    u = given.neutral_given()
    u[given.MAINS] = 0.0
    for _ in range(29):
        electricity.power(x, u, p, dx, t)
        x[state.BATTERY_LOW_LOAD_S] += dx[state.BATTERY_LOW_LOAD_S]
        electricity.switch_battery(x, u, p)
    assert electricity.supplied(x, u, p) == 1.0
    for _ in range(2):
        dx[state.BATTERY_LOW_LOAD_S] = 0.0
        electricity.power(x, u, p, dx, t)
        x[state.BATTERY_LOW_LOAD_S] += dx[state.BATTERY_LOW_LOAD_S]
        electricity.switch_battery(x, u, p)
    assert electricity.supplied(x, u, p) == 0.0
    u[given.MAINS] = 1.0
    electricity.switch_battery(x, u, p)
    assert electricity.supplied(x, u, p) == 1.0


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"kind": "alkaline"}, "Battery.kind"),
        ({"kind": "lifepo4", "usable_wh": 0.0}, "Battery.usable_wh"),
        ({"kind": "lifepo4", "usable_wh": float("nan")}, "Battery.usable_wh"),
        ({"kind": "none", "charge_efficiency": 1.2}, "Battery.charge_efficiency"),
    ],
)
def test_refusals(change: dict[str, object], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        battery.Battery(**change)  # type: ignore[arg-type]
