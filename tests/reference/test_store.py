"""Store against closed forms of ice growth, decay and stratification.

I1: Stefan; I2: Neumann's exact solution; I3: with a film; E10, E11, E12: envelope arithmetic;
W2, W9: density.
"""

import math

import numpy as np
import pytest
from springhouse_sim.plant import film, layers, param, state, store, tap, wall_table, water
from springhouse_sim.plant import given as given_slot


def grow_mm(
    evaporator_c: float, wall_w_m2_k: float, seconds: float, start_mm: float = 0.0
) -> float:
    """Return the ice [mm] that a wall at ``evaporator_c`` grows in water at 0 °C."""
    p = np.zeros(param.SIZE)
    p[param.EVAPORATOR_WALL_W_M2_K] = wall_w_m2_k
    p[param.ICE_FILM_W_M2_K : param.ICE_FILM_W_M2_K + param.FILM_WATER_POINTS] = 300.0
    ice_kg = start_mm * water.ICE_KG_M3 / 1e3
    for _ in range(round(seconds)):
        _, _, first, _ = layers.wall_flows(p, evaporator_c, 0.0, ice_kg, 1.0, 1.0, 1.0)
        _, _, second, _ = layers.wall_flows(p, evaporator_c, 0.0, ice_kg + first, 1.0, 1.0, 1.0)
        ice_kg += 0.5 * (first + second)
    return ice_kg / water.ICE_KG_M3 * 1e3


def bare_wall_mm(kelvin: float, hours: float) -> float:
    """Return the ice on a wall without resistance of its own.

    The rate is infinite at no ice, so the first minute is taken from the closed form
    sqrt(2 k dT t / (rho L)) and the rest integrated.
    """
    growth = 2.0 * 2.22 * kelvin / (916.7 * 333.43e3)
    return grow_mm(-kelvin, 1e9, hours * 3600.0 - 60.0, math.sqrt(growth * 60.0) * 1e3)


@pytest.mark.parametrize(
    ("kelvin", "hours", "stefan_mm", "neumann_mm"),
    [(5.0, 1.0, 16.17, 16.09), (10.0, 3.0, 39.6, 39.2)],
)
def test_i1_i2_stefan_growth(
    kelvin: float, hours: float, stefan_mm: float, neumann_mm: float
) -> None:
    """I1: 0.1 %; I2: the exact solution is 0.5 and 1.0 % lower (ice's own heat capacity)."""
    got = bare_wall_mm(kelvin, hours)
    assert got == pytest.approx(stefan_mm, rel=1e-3)
    assert got == pytest.approx(neumann_mm, rel=0.013)


def test_i3_growth_through_a_film() -> None:
    """I3: 10 mm at 5 K take 2.081 h through 100 W/(m2 K), 0.3825 h without."""
    assert grow_mm(-5.0, 100.0, 2.081 * 3600.0) == pytest.approx(10.0, rel=2e-3)
    assert bare_wall_mm(5.0, 0.3825) == pytest.approx(10.0, rel=2e-3)


def test_i4_rate_at_ten_millimetres() -> None:
    """I4: 13.07 mm/h and 1110 W/m2 at 10 mm and 5 K."""
    heat = store.ice_to_evaporator_w_m2(-5.0, 0.010, 1e9)
    assert heat == pytest.approx(1110.0, rel=1e-3)
    mm_h = heat / (water.ICE_KG_M3 * water.LATENT_FUSION_J_KG) * 3.6e6
    assert mm_h == pytest.approx(13.07, rel=1e-3)


def test_e11_ice_that_holds_two_days() -> None:
    """E11: 48 h at 0.8 W/K and 22 K are 3.04 MJ, 9.12 kg of ice."""
    heat = 0.8 * 22.0 * 48.0 * 3600.0
    assert heat / water.LATENT_FUSION_J_KG == pytest.approx(9.12, rel=2e-3)


def small_store(**change: object) -> store.Store:
    """Return a store of 90 L, changed as asked."""
    given: dict[str, object] = {
        "water_l": 90.0,
        "inner_length_m": 0.45,
        "inner_width_m": 0.40,
        "inner_depth_m": 0.78,
        "cabinet_ua_w_k": 0.65,
        "lid_ua_w_k": 0.15,
        "evaporator_from_m": 0.10,
        "evaporator_to_m": 0.60,
        "evaporator_wall_w_m2_k": 60.0,
        "draw_m": 0.03,
        "return_m": 0.45,
        "probe_low_m": 0.05,
        "probe_high_m": 0.45,
        "covered": False,
        "initial_c": 0.0,
    }
    return store.Store(**{**given, **change})  # type: ignore[arg-type]


class Bath:
    """A store alone in a place held at one temperature, compressor off."""

    def __init__(self, part: store.Store, place_c: float) -> None:
        self.p = np.zeros(param.SIZE)
        part.put(self.p)
        self.x = np.zeros(state.SIZE)
        part.start(self.x)
        self.x[state.PLACE_C] = place_c
        self.x[state.EVAPORATOR_C] = self.x[state.WATER_C]
        self.u = given_slot.neutral_given()
        self.dx = np.zeros(state.SIZE)
        self.t = np.zeros(tap.SIZE)

    def run(self, hours: float, dt_s: float = 20.0, evaporator_c: float | None = None) -> None:
        """Advance by Euler steps, the evaporator held at a temperature if one is given."""
        for _ in range(int(hours * 3600.0 / dt_s)):
            if evaporator_c is not None:
                self.x[state.EVAPORATOR_C] = evaporator_c
            self.dx[:] = 0.0
            layers.measure(self.x, self.p, self.t)
            layers.store_rates(self.x, self.u, self.p, self.dx, self.t, 0.0)
            self.x += dt_s * self.dx
        layers.measure(self.x, self.p, self.t)

    @property
    def mean_c(self) -> float:
        """Mean temperature of the liquid."""
        return float(self.t[tap.STORE_MEAN_C])


def test_e10_lumped_decay() -> None:
    """E10, closed form for 90 kg, UA 0.8 W/K, from 0 °C in 22 °C: 1 °C after 6.11 h, 3.676 °C
    at 24 h, 4.5 °C after 30.04 h.

    Ours is layered and owns the wall's heat capacity (0.26 % of the water's); the bottom stays
    cooler than the mean, so it gains slightly more: 2 %.
    """
    bath = Bath(small_store(evaporator_j_k=1000.0), 22.0)
    for hours, expected, since in ((6.11, 1.0, 6.11), (24.0, 3.676, 17.89), (30.04, 4.5, 6.04)):
        bath.run(since)
        assert bath.mean_c == pytest.approx(expected, rel=0.02), hours


def test_w2_layers_turn_over_both_ways() -> None:
    """W2: above 3.98 °C cold water belongs below, under it on top; the other order mixes."""
    rho = water.density_kg_m3
    assert store.mixing_w_k(rho(8.0), rho(6.0), 0.18, 0.08) > 0.0
    assert store.mixing_w_k(rho(6.0), rho(8.0), 0.18, 0.08) == 0.0
    assert store.mixing_w_k(rho(1.0), rho(3.0), 0.18, 0.08) > 0.0
    assert store.mixing_w_k(rho(3.0), rho(1.0), 0.18, 0.08) == 0.0


@pytest.mark.parametrize(("lower_c", "upper_c"), [(8.0, 5.0), (1.0, 3.5)])
def test_w2_unstable_layers_mix_within_minutes(lower_c: float, upper_c: float) -> None:
    bath = Bath(small_store(liner_w_m_k=0.0), 4.0)
    bath.x[state.WATER_C : state.WATER_C + 3] = lower_c
    bath.x[state.WATER_C + 3 : state.WATER_C + 6] = upper_c
    bath.x[state.EVAPORATOR_C] = 0.5 * (lower_c + upper_c)
    bath.run(0.5, dt_s=2.0)
    spread = np.ptp(bath.x[state.WATER_C : state.WATER_C + 6])
    assert spread < 0.3
    bath.run(0.0)
    assert bath.mean_c == pytest.approx(0.5 * (lower_c + upper_c), abs=0.05)


@pytest.mark.parametrize(("lower_c", "upper_c"), [(5.0, 8.0), (3.5, 1.0)])
def test_w2_stable_layers_stay(lower_c: float, upper_c: float) -> None:
    bath = Bath(small_store(liner_w_m_k=0.0), 4.0)
    bath.x[state.WATER_C : state.WATER_C + 3] = lower_c
    bath.x[state.WATER_C + 3 : state.WATER_C + 6] = upper_c
    bath.x[state.EVAPORATOR_C] = 0.5 * (lower_c + upper_c)
    bath.run(0.5, dt_s=2.0)
    assert bath.x[state.WATER_C] == pytest.approx(lower_c, abs=0.3)
    assert bath.x[state.WATER_C + 5] == pytest.approx(upper_c, abs=0.3)


def circulated(part: store.Store, return_c: float, flow_kg_s: float) -> Bath:
    """Return the rates of a store at 4 °C into which the loop returns water."""
    bath = Bath(part, 4.0)
    bath.x[state.RETURN_C] = return_c
    layers.measure(bath.x, bath.p, bath.t)
    layers.store_rates(bath.x, bath.u, bath.p, bath.dx, bath.t, flow_kg_s)
    return bath


def test_return_enters_at_its_height_and_the_draw_takes_from_its_own() -> None:
    """Plug flow between the two heights: only the layer of the return is warmed at first.

    First law: 0.03 kg/s from 12 to 4 °C warm a sixth of 90 kg by 0.03 x 8 / 15 K a second.
    """
    part = small_store(initial_c=4.0, draw_m=0.03, return_m=0.30)
    bath = circulated(part, 12.0, 0.03)
    rates_k_s = bath.dx[state.WATER_C : state.WATER_C + state.LAYERS]
    assert rates_k_s[3] == pytest.approx(0.03 * 8.0 / 15.0, rel=0.01)
    assert np.abs(np.delete(rates_k_s, 3)).max() < 1e-9
    low = circulated(small_store(initial_c=4.0, return_m=0.03), 12.0, 0.03)
    assert low.dx[state.WATER_C] == pytest.approx(0.03 * 8.0 / 15.0, rel=0.01)


def test_the_return_jet_entrains_by_reach_over_bore() -> None:
    """Ricou and Spalding 1961, m / m0 = 0.32 x / d; from memory.

    Half the 0.40 m width over 6 mm: 10.7 times the pumped 0.01 kg/s, half of it from either side.
    A stable step of 2 K above the return: the heat through that face is what is entrained.
    """
    still, jet = (
        small_store(initial_c=4.0, return_m=0.30, liner_w_m_k=0.0, return_bore_mm=6.0)
        for _ in range(2)
    )
    taken = []
    for part, flow_kg_s in ((still, 0.0), (jet, 0.01)):
        bath = Bath(part, 4.0)
        bath.x[state.WATER_C + 4 : state.WATER_C + state.LAYERS] = 6.0
        bath.x[state.RETURN_C] = 4.0
        layers.measure(bath.x, bath.p, bath.t)
        layers.exchange(bath.x, bath.p, bath.dx, bath.t, flow_kg_s)
        taken.append(-bath.dx[state.WATER_C + 4])
    entrained = (taken[1] - taken[0]) / (4219.0 * 2.0)
    assert entrained == pytest.approx(0.5 * 0.32 * 0.20 / 0.006 * 0.01, rel=0.01)


def test_w9_ice_raises_the_level() -> None:
    """W9: +0.816 L for 9.0 kg of ice."""
    bare = Bath(small_store(), 0.0)
    iced = Bath(small_store(initial_ice_kg=9.0), 0.0)
    bare.run(0.0)
    iced.run(0.0)
    assert iced.t[tap.ICE_KG] == pytest.approx(9.0)
    assert iced.t[tap.STORE_L] - bare.t[tap.STORE_L] == pytest.approx(0.816, rel=0.004)


def test_e12_two_days_near_zero_need_the_ice() -> None:
    """E12: with 9.12 kg of ice and 17.6 W the water stays under 1 °C for two days; without, 6 h.

    Some warmth is stored above 0 °C on the way, so a little ice is left when the liquid passes
    the mark: the water mean is below 1 °C as long as ice covers the wall.
    """
    iced = Bath(small_store(initial_ice_kg=9.12), 22.0)
    iced.run(44.0)
    assert iced.mean_c < 1.0
    iced.run(20.0)
    assert iced.t[tap.ICE_KG] < 0.1
    assert iced.mean_c > 1.0
    bare = Bath(small_store(), 22.0)
    bare.run(8.0)
    assert bare.mean_c > 1.0


def test_bottom_stays_at_four_degrees_while_ice_grows_above() -> None:
    """W1, W2: with the wall held at -6 °C the water below the evaporator keeps its 4 °C."""
    bath = Bath(small_store(initial_c=7.0, probe_low_m=0.04), 22.0)
    bath.run(6.0, evaporator_c=-6.0)
    assert bath.t[tap.ICE_KG] > 0.3
    assert bath.x[state.WATER_C] == pytest.approx(4.0, abs=0.7)
    assert bath.x[state.WATER_C + 4] < 1.0
    assert bath.x[state.STORE_LOW_PROBE_C] > 3.3
    assert bath.x[state.STORE_HIGH_PROBE_C] < 1.0


@pytest.mark.parametrize(
    "height_m", [0.0, 0.03, 0.05, 0.083, 0.0834, 0.3, 0.4199, 0.42, 0.46, 0.5, 0.6]
)
def test_a_probe_reads_between_the_middles_of_layers(height_m: float) -> None:
    """Against numpy's own linear interpolation; no jump at a border between two layers."""
    x = np.zeros(state.SIZE)
    x[state.WATER_C : state.WATER_C + state.LAYERS] = [4.0, 3.0, 2.5, 2.0, 5.0, 9.0]
    middles = (np.arange(state.LAYERS) + 0.5) * 0.5 / state.LAYERS
    known_c = np.interp(height_m, middles, x[state.WATER_C : state.WATER_C + state.LAYERS])
    assert layers.water_at_c(x, store.middle_at(height_m, 0.5)) == pytest.approx(known_c)


def test_high_probe_inside_the_ice_reads_below_zero() -> None:
    """A straight line from wall to ice surface: half way in, half the wall's temperature."""
    assert layers.near_wall_c(0.010, 0.020, -6.0, 0.0, 2.0) == pytest.approx(-3.0)
    assert layers.near_wall_c(0.020, 0.020, -6.0, 0.0, 2.0) == pytest.approx(0.0)
    assert 0.0 < layers.near_wall_c(0.020, 0.010, -6.0, 0.0, 2.0) < 2.0


@pytest.mark.parametrize(
    ("wall_w_m2_k", "height_m", "factor"),
    [(60.0, 0.5, 1.0), (120.0, 0.3, 1.3), (300.0, 0.7, 0.6), (20.0, 0.2, 2.0)],
)
def test_dry_wall_table_balances(wall_w_m2_k: float, height_m: float, factor: float) -> None:
    """Film flux = wall flux at every point, and the root that plain bisection finds."""
    table = wall_table.dry_wall_w_m2(wall_w_m2_k, height_m, factor)
    water_c, evaporator_c = np.meshgrid(
        wall_table.waters_c(), wall_table.evaporators_c(), indexing="ij"
    )
    surface_c = evaporator_c + table / wall_w_m2_k
    brought = factor * film.film_w_m2_k(water_c, surface_c, height_m) * (water_c - surface_c)
    assert np.abs(brought - table).max() < 1e-3 * np.abs(table).max()
    assert np.percentile(np.abs(brought - table), 99) < 0.05
    at_wall, at_water = evaporator_c, water_c
    for _ in range(40):
        middle = 0.5 * (at_wall + at_water)
        film_w_m2_k = factor * film.film_w_m2_k(water_c, middle, height_m)
        passed = wall_w_m2_k * np.abs(middle - evaporator_c)
        toward = film_w_m2_k * np.abs(water_c - middle) > passed
        at_wall, at_water = np.where(toward, middle, at_wall), np.where(toward, at_water, middle)
    expected = wall_w_m2_k * (at_wall - evaporator_c)
    assert table == pytest.approx(expected, rel=1e-3, abs=1e-3)
    off = np.abs(table - expected) / np.maximum(1.0, np.abs(expected))
    assert np.percentile(off, 99) < 1e-5


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"cabinet_ua_w_k": -0.6}, "Store.cabinet_ua_w_k"),
        ({"water_l": 200.0}, "Store.water_l"),
        ({"evaporator_from_m": 0.7}, "Store.evaporator_from_m"),
        ({"probe_high_m": 3.0}, "Store.probe_high_m"),
        ({"evaporator_wall_w_m2_k": 2000.0}, "Store.evaporator_j_k"),
        ({"initial_c": float("inf")}, "Store.initial_c"),
    ],
)
def test_refusals(change: dict[str, object], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        small_store(**change)
