"""Working points of 450 small coils: by time steps, as many seconds each, and solved for rest.

`python tests/host/small_coils.py` prints how many of each give impossible numbers: air that leaves
the coil colder than the water that enters, or heat that between air, metal and water differs by
more than 2 %. Time steps of 5 s are what a coil with little metal does not stand; `size` solves
for rest.
"""

from collections import Counter
from collections.abc import Iterator
from itertools import product

import numpy as np
from springhouse_host.errors import SiteError
from springhouse_host.sheet import sizing, steady
from springhouse_host.sheet.working_point import Case
from springhouse_host.site import load_site
from springhouse_sim import compiled
from springhouse_sim.plant import given, integrate, state, tap
from springhouse_sim.world.days import hottest

FACES_M = (0.12, 0.14, 0.16, 0.18, 0.20, 0.22, 0.24, 0.26, 0.28)
ROWS = (1, 2, 3, 4, 6)
AIR_M3_H = (60.0, 90.0, 120.0, 170.0, 240.0)
STORES_C = (2.5, 12.0)
SETTLES_S = 600.0
STEPS_S = (5.0, 1.0)
HUMIDITY = 0.011
DOORS = (("springhouse_sim.plant.integrate", "advance"),)
OPEN_SHARE = 0.02  # of the heat


def cases() -> Iterator[tuple[Case, float, str]]:
    """Yield plant, store temperature and words of each case."""
    for face_m, rows, air_m3_h in product(FACES_M, ROWS, AIR_M3_H):
        site = load_site(
            "demo",
            {
                "coil.face_width_m": face_m,
                "coil.face_height_m": face_m,
                "coil.rows": rows,
                "coil.fan_m3_h": air_m3_h,
            },
        )
        weather = site.read_weather()
        case = sizing.case_for(site, "mid", site.plant(), weather, hottest(weather, 1))
        for store_c in STORES_C:
            yield case, store_c, f"{face_m} m, {rows} rows, 2 x {air_m3_h:.0f} m3/h, {store_c} °C"


def stepped(case: Case, store_c: float, step_s: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return state, rates and taps after SETTLES_S in equal steps, store and room held."""
    sim = compiled.load(True, (*DOORS, *steady.DOORS)).sim
    advance, rates = sim("plant.integrate").advance, sim("plant.rates").rates
    u = sizing.on_duty(case)
    held = case.state(store_c, HUMIDITY)
    held[state.PLACE_C] = u[given.OUTDOOR_C]
    x = held.copy()
    keep = [n for n in range(state.SIZE) if n not in steady.LOOP]
    work, t, dx = np.zeros(integrate.work_size()), np.zeros(tap.SIZE), np.zeros(state.SIZE)
    for _ in range(int(SETTLES_S / step_s)):
        advance(x, u, case.p, work, t, step_s, 1)
        x[keep] = held[keep]
    rates(x, u, case.p, dx, t)
    return x, dx, t


def impossible(x: np.ndarray, dx: np.ndarray, t: np.ndarray, p: np.ndarray) -> str | None:
    """Return what cannot be about a state that should rest, None where it can."""
    found = steady.balance(x, dx, t, p)
    sides = (found.air_w, found.metal_w, found.water_w)
    off_c, in_c = float(t[tap.AIR_OFF_C]), float(x[state.SUPPLY_C])
    if not off_c >= in_c - steady.BALANCE_K:
        return f"air off at {off_c:.2f} °C, water in at {in_c:.2f} °C"
    if not max(sides) - min(sides) <= steady.BALANCE_W + OPEN_SHARE * max(sides):
        return "air, metal, water: {:.0f}, {:.0f}, {:.0f} W".format(*sides)
    return None


def counts(wanted: Iterator[tuple[Case, float, str]]) -> tuple[Counter[str], list[str]]:
    """Return how many cases are impossible by each way, and the words of those that are."""
    found: Counter[str] = Counter(cases=0)
    said = []
    for case, store_c, words in wanted:
        found["cases"] += 1
        for step_s in STEPS_S:
            wrong = impossible(*stepped(case, store_c, step_s), case.p)
            if wrong is not None:
                found[f"{step_s:g} s steps"] += 1
                said.append(f"{step_s:g} s steps, {words}: {wrong}")
        try:
            wrong = impossible(*case.steady(sizing.on_duty(case), store_c, HUMIDITY), case.p)
        except SiteError as error:
            wrong = str(error)
        if wrong is not None:
            found["rest"] += 1
            said.append(f"rest, {words}: {wrong}")
    return found, said


def main() -> None:
    """Print what is impossible, then the counts."""
    found, said = counts(cases())
    print("\n".join(said))
    for way in (*(f"{step_s:g} s steps" for step_s in STEPS_S), "rest"):
        print(f"{way}: {found[way]} of {found['cases']} impossible")


if __name__ == "__main__":
    main()
