"""Four experiments on a small chest freezer beside what one observed set of figures says of them.

Run by ``python -m springhouse_host.experiments``. The observed figures are those of one set of some
90 L of water in a chest of some 140 L: no source, no description of coil, ice or place. They are
no common practice and nothing is tuned to them. The site is ``sites/small-chest.toml``: sizes of
our own, known by label and tape measure only, read weakest, middle and strongest. Hours of the
observed set are scaled by the water. No controller acts: compressor, pump and fan are switched
by hand, room and place are held.

Air off the coil is not compared: the default range of coils was chosen with the observed one in
sight.
"""

from collections.abc import Callable
from dataclasses import dataclass
from importlib import resources

import numpy as np
from numpy.typing import NDArray
from springhouse_sim import compiled
from springhouse_sim.plant import given, integrate, layers, moist_air, state, tap, water

from .site.known import VARIANTS, Variant
from .site.site import load_site

Array = NDArray[np.float64]

ROOM_C = 22.0
ROOM_HUMIDITY = 0.5
OUTDOOR_C = 28.0
PLACE_C = 22.0
STEP_S = 2.0
LOOK_S = 60.0
FULL_ICE_KG = 10.0
OBSERVED_WATER_KG = 90.0
DOORS = (("springhouse_sim.plant.integrate", "advance"),)


@dataclass(frozen=True)
class Row:
    """One figure: ours by reading of the labels, the observed range, what it comes to in watts."""

    name: str
    unit: str
    ours: dict[Variant, float]
    low: float
    high: float
    comes_to: str = ""

    @property
    def inside(self) -> str:
        """Which readings lie in the range: the middle one, another, or none."""
        lie = {variant: self.low <= value <= self.high for variant, value in self.ours.items()}
        if lie["mid"]:
            return "inside"
        between = min(self.ours.values()) <= self.high and max(self.ours.values()) >= self.low
        return "within our range of labels" if between else "outside"


class Bath:
    """The plant of the small chest, its room and its place held."""

    def __init__(
        self,
        variant: Variant,
        store_c: float,
        ice_kg: float = 0.0,
        room_humidity: float = ROOM_HUMIDITY,
    ) -> None:
        with resources.as_file(resources.files(__package__) / "sites") as folder:
            plant = load_site(folder / "small-chest.toml").plant(variant)
        self.p = plant.params()
        self.x = plant.initial()
        self.u = given.neutral_given()
        self.t = np.zeros(tap.SIZE)
        self._work = np.zeros(integrate.work_size())
        self._advance = compiled.load(True, DOORS).sim("plant.integrate").advance
        self.u[given.OUTDOOR_C] = OUTDOOR_C
        x = self.x
        x[state.WATER_C : state.WATER_C + state.LAYERS] = store_c
        x[state.ICE_KG + 1 : state.ICE_KG + state.LAYERS] = ice_kg / (state.LAYERS - 1)
        x[state.EVAPORATOR_C] = x[state.SUPPLY_C] = x[state.RETURN_C] = store_c
        saturated_pa = moist_air.saturation_pressure_pa(ROOM_C)
        self.humidity = moist_air.humidity_ratio(room_humidity * saturated_pa, 101325.0)
        for slot in (state.CONDENSER_C, state.WINDING_C, state.SHELL_C):
            x[slot] = PLACE_C
        self._hold()
        layers.measure(x, self.p, self.t)
        self.hours = 0.0

    def _hold(self) -> None:
        self.x[state.PLACE_C] = PLACE_C
        self.x[state.ROOM_AIR_C] = self.x[state.ROOM_MASS_C] = ROOM_C
        self.x[state.ROOM_HUMIDITY_RATIO] = self.humidity

    def switch(self, compressor: bool, delivery: bool) -> None:
        """Switch compressor, and pump with fan."""
        self.u[given.COMPRESSOR_RELAY] = float(compressor)
        self.u[given.PUMP_DUTY] = self.u[given.FAN_DUTY] = float(delivery)

    def minute(self) -> None:
        """Advance by a minute."""
        self._advance(self.x, self.u, self.p, self._work, self.t, STEP_S, round(LOOK_S / STEP_S))
        self._hold()
        self.hours += LOOK_S / 3600.0

    def until(self, done: Callable[[], bool], longest_h: float) -> float:
        """Advance until ``done``; return the hours it took, at most ``longest_h``."""
        begun = self.hours
        while not done() and self.hours - begun < longest_h:
            self.minute()
        return self.hours - begun

    @property
    def water_kg(self) -> float:
        """Water and ice together."""
        return float(self.x[state.STORE_KG])

    @property
    def ice_kg(self) -> float:
        """Ice of all layers [kg]."""
        return float(self.x[state.ICE_KG : state.ICE_KG + state.LAYERS].sum())

    @property
    def heat_wh(self) -> float:
        """Heat held by liquid and ice against water at 0 °C [Wh]."""
        layer_kg = self.x[state.STORE_KG] / state.LAYERS
        heat_j = -self.ice_kg * water.LATENT_FUSION_J_KG
        for i in range(state.LAYERS):
            liquid_kg = layer_kg - self.x[state.ICE_KG + i]
            heat_j += liquid_kg * water.enthalpy_j_kg(float(self.x[state.WATER_C + i]))
        return float(heat_j) / 3600.0


def pull_down_h(variant: Variant) -> float:
    """Return the hours from 7 °C until as much heat is out as brings all of it to 0 °C."""
    bath = Bath(variant, 7.0)
    bath.switch(True, False)
    return bath.until(lambda: bath.heat_wh <= 0.0, 48.0)


def hold_h(variant: Variant, ice_kg: float) -> tuple[float, float]:
    """Return the hours with the liquid's mean under 1 °C, and how much longer under 4.5 °C."""
    bath = Bath(variant, 0.0, ice_kg)
    bath.switch(False, False)
    cold_h = bath.until(lambda: bool(bath.t[tap.STORE_MEAN_C] >= 1.0), 200.0)
    return cold_h, bath.until(lambda: bool(bath.t[tap.STORE_MEAN_C] >= 4.5), 200.0)


def discharge_h(variant: Variant, ice_kg: float, humidity: float = ROOM_HUMIDITY) -> float:
    """Return the hours of pump and fan, compressor off, from 0 to 7 °C."""
    bath = Bath(variant, 0.0, ice_kg, humidity)
    bath.switch(False, True)
    return bath.until(lambda: bool(bath.t[tap.STORE_MEAN_C] >= 7.0), 48.0)


def equilibrium_c(variant: Variant) -> float:
    """Return the water temperature [°C] with everything running until it is steady."""
    bath = Bath(variant, 8.0)
    bath.switch(True, True)
    before_c = 99.0
    while abs(bath.t[tap.STORE_MEAN_C] - before_c) > 0.005 and bath.hours < 200.0:
        before_c = float(bath.t[tap.STORE_MEAN_C])
        for _ in range(60):
            bath.minute()
    return float(bath.t[tap.STORE_MEAN_C])


def water_wh(kg: float, from_c: float, to_c: float) -> float:
    """Return the heat between two temperatures of water [Wh]."""
    return kg * (water.enthalpy_j_kg(to_c) - water.enthalpy_j_kg(from_c)) / 3600.0


def melt_wh(kg: float) -> float:
    """Return the heat that melts ice [Wh]."""
    return kg * water.LATENT_FUSION_J_KG / 3600.0


def _watts(heat_wh: float, ours_h: dict[Variant, float], low_h: float, high_h: float) -> str:
    ours = " / ".join(f"{heat_wh / ours_h[variant]:.0f}" for variant in VARIANTS)
    return (
        f"{heat_wh:.0f} Wh: ours {ours} W, as observed {heat_wh / high_h:.0f} to "
        f"{heat_wh / low_h:.0f} W"
    )


def experiments() -> list[Row]:
    """Return all figures; takes about a minute."""

    def each(run: Callable[[Variant], float]) -> dict[Variant, float]:
        return {variant: run(variant) for variant in VARIANTS}

    kg = Bath("mid", 4.0).water_kg
    scale = kg / OBSERVED_WATER_KG

    def row(
        name: str, ours: dict[Variant, float], low_h: float, high_h: float, heat_wh: float
    ) -> Row:
        low, high = scale * low_h, scale * high_h
        return Row(name, "h", ours, low, high, _watts(heat_wh, ours, low, high))

    iced = {variant: hold_h(variant, FULL_ICE_KG) for variant in VARIANTS}
    bare = {variant: hold_h(variant, 0.0) for variant in VARIANTS}
    first_wh, then_wh, all_wh = (water_wh(kg, *ends) for ends in ((0, 1), (1, 4.5), (0, 7)))
    ice_wh = melt_wh(FULL_ICE_KG)
    ice = f"{FULL_ICE_KG:g} kg of ice"
    return [
        Row("continuous: water", "°C", each(equilibrium_c), 7.5, 8.5),
        row("pull-down from 7 to 0 °C", each(pull_down_h), 6.0, 10.0, all_wh),
        row(f"hold under 1 °C, {ice}", {v: h[0] for v, h in iced.items()}, 36.0, 60.0,
            ice_wh + first_wh),
        row("hold under 1 °C, no ice", {v: h[0] for v, h in bare.items()}, 36.0, 60.0, first_wh),
        row("then under 4.5 °C", {v: h[1] for v, h in iced.items()}, 48.0, 120.0, then_wh),
        row(f"discharge from {ice}", each(lambda v: discharge_h(v, FULL_ICE_KG)), 10.0, 12.0,
            ice_wh + all_wh),
        row("discharge without ice", each(lambda v: discharge_h(v, 0.0)), 10.0, 12.0, all_wh),
    ]  # fmt: skip


def main() -> None:
    """Print ours beside the observed ranges."""
    print(
        f"room {ROOM_C:g} °C, 50 %; place {PLACE_C:g} °C; labels read weakest / middle / strongest;"
        " beside one observed set, no source, its hours scaled by the water"
    )
    for row in experiments():
        ours = " / ".join(f"{row.ours[v]:.3g}" for v in VARIANTS)
        print(f"{row.name:32s} {ours:>20s} {row.unit:3s} "
              f"one observed set {row.low:.3g} to {row.high:.3g}: {row.inside}")  # fmt: skip
        if row.comes_to:
            print(f"    {row.comes_to}")


if __name__ == "__main__":
    main()
