"""Picture of a fit: measured, before and after, with the part held out."""

from pathlib import Path

import matplotlib.dates as mdates
from matplotlib.figure import Figure

from ..plots import BLUE, GREY, ORANGE, legend_above, save
from ..units import on_screen, word
from .fit import Fitted

SHOWN = (
    ("store_high_c", "store", "°C"),
    ("room_c", "room", "°C"),
    ("coil_air_c", "air off the coil", "°C"),
    ("freezer_w", "freezer", "W"),
)


def draw_fit(fitted: Fitted, path: Path, us: bool = False) -> None:
    """Write the picture (PNG).

    Raises:
        KnownError: when the file cannot be written.
    """
    table = fitted.minutes
    shown = [row for row in SHOWN if table[f"measured_{row[0]}"].notna().any()]
    figure = Figure(figsize=(9.0, 1.0 + 2.0 * len(shown)), layout="constrained")
    axes = figure.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
    when = table.index.to_numpy()
    for ax, (channel, words, unit) in zip(axes, shown, strict=True):
        measured = table[f"measured_{channel}"]
        where = measured.notna().to_numpy()
        ax.plot(when, on_screen(measured, unit, us), color=GREY, lw=3, alpha=0.5, label="measured")
        for part, colour, style in (("before", ORANGE, ":"), ("after", BLUE, "-")):
            curve = table[f"{part}_{channel}"].where(where)
            ax.plot(when, on_screen(curve, unit, us), color=colour, ls=style, lw=1.2, label=part)
        ax.axvline(fitted.held_out_from.to_numpy(), color=GREY, lw=1)
        ax.set_ylabel(f"{words} [{word(unit, us)}]")
    legend_above(axes[0])
    axes[0].annotate(
        "held out", (fitted.held_out_from.to_numpy(), 0.02), xycoords=("data", "axes fraction"),
        textcoords="offset points", xytext=(4, 0), color=GREY,
    )  # fmt: skip
    dates = mdates.ConciseDateFormatter(mdates.AutoDateLocator())  # type: ignore[no-untyped-call]
    axes[-1].xaxis.set_major_formatter(dates)
    save(figure, path)
