"""Ground behind a cellar's walls, against the heat equation solved on a grid by other means.

EN ISO 13370 approximates exactly this problem. The grid: a long cellar of breadth b and depth z in
half a plane of soil, films and walls as resistances on its inner faces, outdoor air on the surface.
Steady for the mean, and as one complex number for the yearly wave.
"""

import math
from datetime import datetime

import numpy as np
import pytest
from scipy.sparse import lil_matrix
from scipy.sparse.linalg import spsolve
from springhouse_host.site import ground
from springhouse_sim.world.ground import YEAR_H, Wave, yearly

STEP_M = 0.25


def on_grid(breadth_m: float, depth_m: float, soil: str, omega: float) -> complex:
    """Heat into the cellar per metre of length and kelvin outdoors [W/(m K)], half doubled."""
    k, c = ground.SOILS[soil]
    wide, deep = int(14.0 / STEP_M), int(14.0 / STEP_M)
    in_x, in_y = round(breadth_m / 2.0 / STEP_M), round(depth_m / STEP_M)
    number = -np.ones((wide, deep), int)
    soil_cells = [(i, j) for i in range(wide) for j in range(deep) if not (i < in_x and j < in_y)]
    for n, (i, j) in enumerate(soil_cells):
        number[i, j] = n
    size = len(soil_cells)
    a = lil_matrix((size, size), dtype=complex)
    b = np.zeros(size, complex)
    wall = 1.0 / (STEP_M / 2.0 / k + ground.FILM_IN_M2_K_W + ground.WALL_M2_K_W) * STEP_M
    floor = 1.0 / (STEP_M / 2.0 / k + ground.FILM_IN_M2_K_W + ground.FLOOR_M2_K_W) * STEP_M
    air = 1.0 / (STEP_M / 2.0 / k + ground.FILM_OUT_M2_K_W) * STEP_M
    into = np.zeros(size)
    for n, (i, j) in enumerate(soil_cells):
        a[n, n] += 1j * omega * c * STEP_M**2
        if j == 0:
            a[n, n] += air
            b[n] += air
        for di, dj in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            x, y = i + di, j + dj
            if not (0 <= x < wide and 0 <= y < deep):
                continue
            if number[x, y] >= 0:
                a[n, n] += k
                a[n, number[x, y]] -= k
            else:
                to_room = wall if di else floor
                a[n, n] += to_room
                into[n] += to_room
    found = spsolve(a.tocsc(), b)
    return complex(2.0 * np.sum(into * found))


@pytest.mark.parametrize("soil", ["clay", "sand", "rock"])
@pytest.mark.parametrize(("breadth_m", "depth_m"), [(4.0, 2.0), (8.0, 1.5)])
def test_conductances_of_the_standard_against_the_grid(soil, breadth_m, depth_m) -> None:
    """Steady within 15 %, the yearly wave within 25 %, the delay within three weeks of a month.

    The standard's own doubt is of that size: one formula for every shape.
    """
    cellar = ground.Basement(breadth_m, 2.0 * depth_m, depth_m, soil)  # per metre of length
    steady = on_grid(breadth_m, depth_m, soil, 0.0).real
    wave = on_grid(breadth_m, depth_m, soil, math.tau / (YEAR_H * 3600.0))
    late_h = -math.atan2(wave.imag, wave.real) / math.tau * YEAR_H
    assert cellar.steady_w_k() == pytest.approx(steady, rel=0.15)
    assert cellar.periodic_w_k() == pytest.approx(abs(wave), rel=0.25)
    assert late_h == pytest.approx(ground.LATE_H, abs=21 * 24)


def test_penetration_depths_of_the_standard() -> None:
    """EN ISO 13370 annex H, from memory: clay 2.2, sand 3.2, rock 4.2 m."""
    for soil, depth_m in (("clay", 2.2), ("sand", 3.2), ("rock", 4.2)):
        assert ground.Basement(10.0, 20.0, 2.0, soil).penetration_m == pytest.approx(
            depth_m, abs=0.06
        )


def test_the_yearly_wave_of_the_weather() -> None:
    """Against numpy's least squares of mean, cosine and sine; coldest in deep winter."""
    from springhouse_host.site import load_site

    weather = load_site("demo").read_weather()
    wave = yearly(weather)
    first_h = (weather.first - datetime(weather.first.year, 1, 1)).total_seconds() / 3600.0
    angle = math.tau * (np.arange(YEAR_H) + first_h) / YEAR_H
    columns = np.stack([np.ones(YEAR_H), np.cos(angle), np.sin(angle)], axis=1)
    (mean, cos, sin), *_ = np.linalg.lstsq(columns, weather.temp_air_c, rcond=None)
    assert wave.mean_c == pytest.approx(mean, abs=1e-6)
    assert wave.swing_k == pytest.approx(math.hypot(cos, sin), rel=1e-6)
    coldest = datetime(2001, 1, 1).timestamp() + wave.coldest_h * 3600.0
    assert datetime.fromtimestamp(coldest).month in (1, 2)
    summer = wave.at_c(datetime(2001, 7, 20))
    assert summer == pytest.approx(mean + math.hypot(cos, sin), abs=0.3)


def test_soil_at_depth_is_the_closed_form_of_a_half_space() -> None:
    """Kasuda and Achenbach 1965: at depth z the wave is exp(-z/d) as large and z/d radians late.

    A cellar's walls lie between surface and floor, so what it feels lies between those two.
    """
    air = Wave(14.0, 11.0, 400.0)
    for soil in ground.SOILS:
        cellar = ground.Basement(12.0, 28.0, 2.0, soil)
        share = cellar.behind(air).swing_k / air.swing_k
        assert math.exp(-2.0 / cellar.penetration_m) < share + 0.1
        assert share < 1.0
        assert cellar.behind(air).mean_c == air.mean_c
