"""Tray against arithmetic: what goes in stays, runs over, drains or evaporates."""

import numpy as np
import pytest
from springhouse_sim.plant import given, moist_air, param, spaces, state, tap, tray


def fill(
    part: tray.Tray, condensate_kg_s: float, hours: float, dt_s: float = 1.0
) -> tuple[np.ndarray, float]:
    """Return the state and the hour in which the float opened (infinite if never)."""
    p, x, dx, t = (
        np.zeros(param.SIZE),
        np.zeros(state.SIZE),
        np.zeros(state.SIZE),
        np.zeros(tap.SIZE),
    )
    part.put(p)
    part.start(x)
    u = given.neutral_given()
    t[tap.CONDENSATE_KG_S] = condensate_kg_s
    opened = float("inf")
    for n in range(int(hours * 3600.0 / dt_s)):
        dx[:] = 0.0
        spaces.tray_water(x, u, p, dx, t)
        if t[tap.FLOAT_OPEN] > 0.5 and opened == float("inf"):
            opened = n * dt_s / 3600.0
        x += dt_s * dx
    return x, opened


def test_w12_float_opens_after_the_latent_heat_of_its_litres() -> None:
    """W12: 1 L of condensate carries 0.688 kWh, so 3 L at 86 W latent take 24.0 h; 1 %."""
    part = tray.Tray(capacity_l=4.0, float_opens_l=3.0)
    _, opened = fill(part, 86.0 / moist_air.LATENT_J_KG, 30.0, dt_s=10.0)
    assert opened == pytest.approx(3.0 * 688.0 / 86.0, rel=0.01)


def test_overflow_spills_what_does_not_fit() -> None:
    """Arithmetic: 6 L into 4 L; the level stands over the rim by what the overflow needs."""
    part = tray.Tray(capacity_l=4.0, float_opens_l=3.0)
    x, _ = fill(part, 6.0 / 7200.0, 2.0)
    assert x[state.TRAY_L] + x[state.SPILL_L] == pytest.approx(6.0, rel=1e-9)
    assert x[state.SPILL_L] == pytest.approx(2.0, abs=0.02)


def test_open_drain_keeps_the_float_closed() -> None:
    part = tray.Tray(capacity_l=1.0, float_opens_l=0.5, open_drain=True)
    x, opened = fill(part, 1.0 / 3600.0, 3.0)
    assert opened == float("inf")
    assert x[state.DRAINED_KG] == pytest.approx(3.0, rel=0.01)
    assert x[state.SPILL_L] == 0.0


def test_evaporation_empties_a_small_puddle_and_stops() -> None:
    """20 g/h dry 0.1 L in about five hours; the content does not go below zero."""
    part = tray.Tray(capacity_l=1.0, float_opens_l=0.5, evaporation_g_h=20.0, initial_l=0.1)
    x, _ = fill(part, 0.0, 4.0)
    assert x[state.TRAY_EVAPORATED_KG] == pytest.approx(0.080, rel=0.15)
    x, _ = fill(part, 0.0, 48.0, dt_s=10.0)
    assert 0.0 <= x[state.TRAY_L] < 1e-3


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"capacity_l": 0.0}, "Tray.capacity_l"),
        ({"float_opens_l": 5.0}, "Tray.float_opens_l"),
        ({"evaporation_g_h": -1.0}, "Tray.evaporation_g_h"),
    ],
)
def test_refusals(change: dict[str, float], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        tray.Tray(**{"capacity_l": 4.0, "float_opens_l": 3.0, **change})  # type: ignore[arg-type]
