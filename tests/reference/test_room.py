"""Room against closed forms of its two nodes and against people's published heat.

L1, L4: ASHRAE Fundamentals (SI) 2009 and 2013, ch. 18 table 1; L8: arithmetic on it; L9: energy.
"""

import numpy as np
import pytest
from springhouse_sim.plant import given as given_slot
from springhouse_sim.plant import moist_air, param, room, spaces, state, tap


def small_room(**change: object) -> room.Room:
    """Return a room of 30 m3, changed as asked."""
    given: dict[str, object] = {
        "floor_m2": 12.0,
        "height_m": 2.5,
        "envelope_ua_w_k": 30.0,
        "heat_capacity_j_k": 3e6,
        "air_mass_coupling_w_k": 150.0,
        "infiltration_ach": 0.0,
        "moisture_buffer_factor": 1.0,
        "initial_c": 20.0,
        "initial_humidity_ratio": 0.008,
    }
    return room.Room(**{**given, **change})  # type: ignore[arg-type]


class Chamber:
    """A room alone, without coil, tray or place."""

    def __init__(self, part: room.Room) -> None:
        self.p = np.zeros(param.SIZE)
        part.put(self.p)
        self.x = np.zeros(state.SIZE)
        part.start(self.x)
        self.u = given_slot.neutral_given()
        self.dx = np.zeros(state.SIZE)
        self.t = np.zeros(tap.SIZE)

    def run(self, hours: float, dt_s: float = 10.0) -> None:
        """Advance by Euler steps."""
        for _ in range(round(hours * 3600.0 / dt_s)):
            self.dx[:] = 0.0
            spaces.room_air(self.x, self.u, self.p, self.dx, self.t)
            self.x += dt_s * self.dx


def test_steady_temperature_is_gain_over_conductance() -> None:
    """Arithmetic: all gain into air, all envelope on the air node: 300 W over 30 W/K is 10 K."""
    chamber = Chamber(small_room(envelope_to_mass_fraction=0.0, gains_to_air_fraction=1.0))
    chamber.u[given_slot.OUTDOOR_C] = 20.0
    chamber.u[given_slot.EQUIPMENT_W] = 300.0
    chamber.run(400.0)
    assert chamber.x[state.ROOM_AIR_C] == pytest.approx(30.0, abs=0.01)
    assert chamber.x[state.ROOM_MASS_C] == pytest.approx(30.0, abs=0.01)


def test_steady_temperature_with_the_gain_in_the_mass() -> None:
    """Series resistances: 300 W of sun in the mass leave over 150 and 30 W/K: +10 and +12 K."""
    chamber = Chamber(small_room(envelope_to_mass_fraction=0.0, sun_to_air_fraction=0.0))
    chamber.u[given_slot.OUTDOOR_C] = 20.0
    chamber.u[given_slot.SUN_W] = 300.0
    chamber.run(400.0)
    assert chamber.x[state.ROOM_AIR_C] == pytest.approx(30.0, abs=0.01)
    assert chamber.x[state.ROOM_MASS_C] == pytest.approx(32.0, abs=0.01)


def test_two_time_constants() -> None:
    """The free decay is a sum of two exponentials, eigenvalues of the 2x2 system by hand."""
    part = small_room(envelope_to_mass_fraction=0.0, air_capacity_factor=5.0)
    chamber = Chamber(part)
    p = chamber.p
    chamber.u[given_slot.OUTDOOR_C] = 0.0
    ca, cm, g, h = p[param.ROOM_AIR_J_K], 3e6, 150.0, 30.0
    matrix = np.array([[-(g + h) / ca, g / ca], [g / cm, -g / cm]])
    values, vectors = np.linalg.eig(matrix)
    weights = np.linalg.solve(vectors, np.array([20.0, 20.0]))
    chamber.run(10.0, dt_s=1.0)
    expected = vectors @ (weights * np.exp(values * 36000.0))
    assert chamber.x[state.ROOM_AIR_C] == pytest.approx(expected[0], abs=0.01)
    assert chamber.x[state.ROOM_MASS_C] == pytest.approx(expected[1], abs=0.01)


def test_infiltration_renews_the_moisture_in_the_time_constant_of_the_air() -> None:
    """Closed form: W - Wo falls by exp(-n t / factor); 0.5 /h and factor 4 give 1/e in 8 h."""
    part = small_room(infiltration_ach=0.5, moisture_buffer_factor=4.0, envelope_ua_w_k=0.0)
    chamber = Chamber(part)
    chamber.u[given_slot.OUTDOOR_C] = 20.0
    chamber.u[given_slot.OUTDOOR_HUMIDITY_RATIO] = 0.008
    chamber.x[state.ROOM_HUMIDITY_RATIO] = 0.012
    chamber.run(8.0)
    left = (chamber.x[state.ROOM_HUMIDITY_RATIO] - 0.008) / 0.004
    assert left == pytest.approx(np.exp(-1.0), rel=0.01)


def test_l1_l8_moisture_of_one_seated_person() -> None:
    """L1: 45 W latent; L8: 65.4 g/h of moisture, 1 %."""
    chamber = Chamber(small_room())
    chamber.u[given_slot.PEOPLE_MOISTURE_KG_S] = 45.0 / moist_air.LATENT_J_KG
    chamber.run(1.0)
    gained_kg = chamber.p[param.MOISTURE_KG] * (chamber.x[state.ROOM_HUMIDITY_RATIO] - 0.008)
    assert gained_kg * 1e3 == pytest.approx(65.4, rel=0.01)
    assert chamber.x[state.PEOPLE_LATENT_J] == pytest.approx(45.0 * 3600.0, rel=1e-9)


def test_l9_all_power_in_the_room_becomes_its_heat() -> None:
    """L9: 100 W of equipment and 70 W of a person (L1) for an hour in a sealed room."""
    chamber = Chamber(small_room(envelope_ua_w_k=0.0))
    chamber.u[given_slot.EQUIPMENT_W] = 100.0
    chamber.u[given_slot.PEOPLE_SENSIBLE_W] = 70.0
    chamber.run(1.0)
    x, p = chamber.x, chamber.p
    heat = p[param.ROOM_AIR_J_K] * (x[state.ROOM_AIR_C] - 20.0)
    heat += p[param.ROOM_MASS_J_K] * (x[state.ROOM_MASS_C] - 20.0)
    assert heat == pytest.approx(170.0 * 3600.0, rel=1e-9)


def test_air_mass_is_volume_over_specific_volume() -> None:
    """P4 (25 °C, 50 %: 0.8580 m3/kg): 30 m3 hold 34.97 kg of dry air."""
    chamber = Chamber(small_room(initial_c=25.0, initial_humidity_ratio=9.881e-3))
    assert chamber.p[param.ROOM_AIR_KG] == pytest.approx(30.0 / 0.8580, rel=1e-3)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"floor_m2": 2.0, "air_mass_coupling_w_k": 5000.0}, "Room.air_capacity_factor"),
        ({"floor_m2": 0.0}, "Room.floor_m2"),
        ({"initial_humidity_ratio": 1.4}, "Room.initial_humidity_ratio"),
        ({"moisture_buffer_factor": 0.0}, "Room.moisture_buffer_factor"),
        ({"envelope_ua_w_k": float("nan")}, "Room.envelope_ua_w_k"),
    ],
)
def test_refusals(change: dict[str, object], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        small_room(**change)
