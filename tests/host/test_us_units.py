"""US customary units reach every plot: what matplotlib draws is asked for its texts."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from si_left import si_left
from site_text import BASE, site_of
from springhouse_host import notebook, plots, sweep_map, sweeping, units
from springhouse_host.fitting import picture as fit_picture
from springhouse_host.report import sweep_page
from springhouse_host.sheet import picture as sheet_picture
from springhouse_host.sheet import sizing
from springhouse_host.site import load_site

PATH = Path("nowhere.png")


@pytest.fixture
def drawn(monkeypatch) -> list[Figure]:
    """The figures that were to be saved."""
    figures: list[Figure] = []
    for module in (plots, sheet_picture, sweep_map, fit_picture):
        monkeypatch.setattr(module, "save", lambda figure, path: figures.append(figure))
    return figures


def texts(figure: Figure) -> str:
    figure.draw_without_rendering()  # ticks have no text before
    found: Any = figure.findobj(Text)
    return " | ".join(text.get_text() for text in found if text.get_text())


def lines_of(figure: Figure) -> dict[str, np.ndarray]:
    return {
        str(line.get_label()): np.asarray(line.get_ydata(), dtype=np.float64)
        for axes in figure.axes
        for line in axes.get_lines()
    }


def test_a_run_s_picture(drawn: list[Figure]) -> None:
    done = notebook.run("demo", start="2001-07-09", days=1)
    for us in (False, True):
        plots.draw_run(done.trace, PATH, done.limit_c, us)
    si, us_drawn = map(lines_of, drawn)
    assert "°C" in texts(drawn[0])
    assert "°F" in texts(drawn[1])
    assert si_left(texts(drawn[1])) == []
    for name in ("outdoors", "room", "store, mean", "promised bound"):
        assert us_drawn[name] == pytest.approx(32.0 + 1.8 * si[name])


def test_the_sizing_sheet_s_picture(drawn: list[Figure], tmp_path: Path) -> None:
    found = sizing.size(site_of(tmp_path, BASE), variants=("mid",))
    for us in (False, True):
        sheet_picture.draw_sheet(found, PATH, us)
    told = texts(drawn[1])
    assert si_left(texts(drawn[0])) != []
    assert si_left(told) == []
    for word in ("US gal/min", "head [ft]", "store [°F]", "water [US gal]", "41 °F"):
        assert word in told
    assert lines_of(drawn[1])["pump"] == pytest.approx(lines_of(drawn[0])["pump"] / 0.3048)


def test_a_fit_s_picture(drawn: list[Figure]) -> None:
    when = pd.date_range("2001-07-09", periods=3, freq="min")
    columns = {f"{part}_{channel}": [1.0, 2.0, 3.0] for channel, _, _ in fit_picture.SHOWN
               for part in ("measured", "before", "after")}  # fmt: skip

    class Fitted:
        minutes = pd.DataFrame(columns, index=when)
        held_out_from = when[2]

    made: Any = Fitted()
    fit_picture.draw_fit(made, PATH, True)
    assert si_left(texts(drawn[0])) == []
    after = [np.asarray(axes.get_lines()[2].get_ydata()) for axes in drawn[0].axes]
    assert [float(y[0]) for y in after] == pytest.approx([33.8, 33.8, 33.8, 1.0])


def test_a_sweep_s_map_and_page(drawn: list[Figure]) -> None:
    keys = ["settings.deep_target_c", "store.water_litres", "coil.fans"]
    row = {"room_hours_over": 1.0, "cost": 0.5, "max_ice_kg": 0.3, "refused": ""}
    rows = [row | dict(zip(keys, values, strict=True)) for values in ((2, 100, 1), (4, 200, 2))]
    shown, names = sweeping.in_units(rows, keys, True)
    assert names == ["settings.deep_target °F", "store.water US gal", "coil.fans"]
    assert [r[names[0]] for r in shown] == pytest.approx([35.6, 39.2])
    assert [r[names[1]] for r in shown] == pytest.approx([26.417, 52.834], abs=1e-3)
    assert shown[0]["max_ice_kg"] == pytest.approx(0.6614, abs=1e-4)
    assert rows[0]["store.water_litres"] == 100  # what was run stays
    sweep_map.draw(shown, names, PATH, "one day")
    assert "settings.deep_target °F" in texts(drawn[0])
    page = sweep_page.render(load_site("demo"), shown, names, "demo: one day", "most ice lb")
    own = page.partition("<script")[0]
    assert "most ice lb" in own
    assert si_left(own) == []
    assert sweeping.in_units(rows, keys, False) == (rows, keys)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("store_high reads 5 K warm", "store_high reads 9 °F warm"),
        ("the 4 °C floor, 0.3 kg of ice", "the 39.2 °F floor, 0.661 lb of ice"),
        ("1 kg a litre on its feet", "1 kg a litre on its feet"),
        ("204 m3/h, 20 kWh, 131 W, 5 Kelvin", "120 ft3/min, 20 kWh, 131 W, 5 Kelvin"),
        ("-2.5 °C and 77 °F", "27.5 °F and 77 °F"),
    ],
)
def test_a_finished_sentence_is_retold(said: str, told: str) -> None:
    assert units.retold(said, True) == told
    assert units.retold(said, False) == said
