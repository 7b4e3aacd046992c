"""Pictures of a run, drawn with matplotlib."""

import io
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.dates as mdates
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray
from springhouse import output
from springhouse_sim.trace import Trace

from .screen import write_bytes_whole
from .units import on_screen, word

# Distinct for all common kinds of colour vision (Okabe and Ito 2008, from memory).
BLUE, ORANGE, GREEN, PURPLE, GREY = "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#7F7F7F"
OUTPUTS = (
    ("compressor", output.COMPRESSOR, BLUE),
    ("pump", output.PUMP, GREEN),
    ("fans", output.FAN, PURPLE),
)


def draw_run(trace: Trace, path: Path, limit_c: float, us: bool = False) -> None:
    """Write a picture of room, store, coil and outputs over local time.

    Raises:
        KnownError: when the file cannot be written.
    """
    figure = Figure(figsize=(9.0, 7.0), layout="constrained")
    axes = figure.subplots(4, 1, sharex=True, height_ratios=(3, 3, 2, 1.2))
    minutes = trace.minutes()
    when = minutes.index.to_numpy()
    _room(axes[0], trace, when, limit_c, us)
    _store(axes[1], trace, when, us)
    axes[2].fill_between(when, trace.column("coil_sensible_w"), color=ORANGE, lw=0, label="dry")
    both = trace.column("coil_sensible_w") + trace.column("coil_latent_w")
    axes[2].fill_between(when, trace.column("coil_sensible_w"), both, color=BLUE, lw=0, label="wet")
    axes[2].set_ylabel("coil [W]")
    legend_above(axes[2])
    _outputs(axes[3], trace, when)
    dates = mdates.ConciseDateFormatter(mdates.AutoDateLocator())  # type: ignore[no-untyped-call]
    axes[3].xaxis.set_major_formatter(dates)
    save(figure, path)


def save(figure: Figure, path: Path) -> None:
    """Write a figure as PNG.

    Raises:
        KnownError: when the file cannot be written.
    """
    picture = io.BytesIO()
    figure.savefig(picture, format="png", dpi=110)
    write_bytes_whole(path, picture.getvalue())


def legend_above(axes: Axes) -> None:
    """Put the legend in a line above the axes, where no curve can run under it."""
    axes.legend(
        loc="lower left", bbox_to_anchor=(0.0, 0.98), ncols=4, frameon=False, borderaxespad=0.0
    )


def _room(axes: Axes, trace: Trace, when: NDArray[np.datetime64], limit_c: float, us: bool) -> None:
    def shown(name: str) -> NDArray[np.float64]:
        return on_screen(trace.column(name), "°C", us)

    axes.plot(when, shown("outdoor_c"), color=GREY, lw=1, label="outdoors")
    axes.plot(when, shown("room_air_c"), color=ORANGE, label="room")
    axes.axhline(
        float(on_screen(limit_c, "°C", us)), color=ORANGE, ls=":", lw=1, label="promised bound"
    )
    low, high = axes.get_ylim()
    axes.fill_between(when, low, high, where=trace.wanted(), color=ORANGE, alpha=0.12, lw=0)
    axes.set_ylim(low, high)
    axes.set_ylabel(word("°C", us))
    legend_above(axes)


def _store(axes: Axes, trace: Trace, when: NDArray[np.datetime64], us: bool) -> None:
    layers = on_screen([trace.column(f"water_{i}_c") for i in range(6)], "°C", us)
    axes.fill_between(
        when, layers.min(axis=0), layers.max(axis=0), color=BLUE, alpha=0.25, lw=0, label="layers"
    )
    mean = on_screen(trace.column("store_mean_c"), "°C", us)
    axes.plot(when, mean, color=BLUE, label="store, mean")
    axes.set_ylabel(word("°C", us))
    ice = axes.twinx()
    ice.plot(when, on_screen(trace.column("ice_kg"), "kg", us), color=GREY, lw=1)
    ice.set_ylabel(f"ice [{word('kg', us)}]", color=GREY)
    ice.set_ylim(bottom=0.0)
    legend_above(axes)


def _outputs(axes: Axes, trace: Trace, when: NDArray[np.datetime64]) -> None:
    out = trace.column("out").astype(np.int64)
    for row, (_, bit, colour) in enumerate(OUTPUTS):
        on = out & bit != 0
        axes.fill_between(when, row, row + 0.8, where=on, color=colour, lw=0, step="post")
    axes.set_yticks([row + 0.4 for row in range(len(OUTPUTS))], [name for name, _, _ in OUTPUTS])
    axes.set_ylim(0, len(OUTPUTS))
