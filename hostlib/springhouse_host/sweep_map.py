"""Draws a sweep: cost, and hours too warm, over the first one or two values that were varied."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from .plots import BLUE, save

FIGURES = (("cost", "cost of electricity"), ("room_hours_over", "wanted hours too warm [h]"))
SIZE_IN = (10.0, 4.5)


def draw(rows: Sequence[dict[str, Any]], keys: Sequence[str], path: Path, title: str) -> None:
    """Write a PNG; rows that were refused are left out.

    Further values than two, if any were varied, are not shown: their points lie on one another.

    Raises:
        KnownError: when the file cannot be written.
    """
    good = [row for row in rows if not row["refused"]]
    figure = Figure(figsize=SIZE_IN, layout="constrained")
    axes = figure.subplots(1, len(FIGURES))
    x = np.array([row[keys[0]] for row in good])
    for ax, (name, label) in zip(axes, FIGURES, strict=True):
        z = np.array([row[name] for row in good])
        ax.set_xlabel(keys[0])
        if len(keys) == 1:
            order = np.argsort(x)
            ax.plot(x[order], z[order], marker="o", color=BLUE)
            ax.set_ylabel(label)
        else:
            y = np.array([row[keys[1]] for row in good])
            shown = ax.scatter(x, y, c=z, s=60, cmap="cividis")
            ax.set_ylabel(keys[1])
            figure.colorbar(shown, ax=ax, label=label)
        ax.grid(True, alpha=0.3)
    figure.suptitle(title)
    save(figure, path)
