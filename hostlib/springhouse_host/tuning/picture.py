"""Draws the trade-off of cost against hours too warm."""

import io
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
from matplotlib.figure import Figure

from ..plots import BLUE, GREEN, GREY, ORANGE, PURPLE
from ..screen import write_bytes_whole
from .tune import Point, Tuned


def draw(result: Tuned, path: Path, title: str, currency: str) -> None:
    """Write a PNG.

    Raises:
        KnownError: when the file cannot be written.
    """
    figure = Figure(figsize=(8.0, 5.0), layout="constrained")
    axes = figure.subplots()
    curve = result.curve
    axes.plot(
        [p.hours_over for p in curve],
        [p.cost for p in curve],
        color=BLUE,
        marker="o",
        label="trade-off",
    )
    singles = [(result.own, ORANGE, "s"), (result.thermostat, GREY, "X")]
    if result.tuned is not None:
        singles.append((result.tuned, GREEN, "*"))
    for point, colour, marker in singles:
        axes.plot(
            point.hours_over,
            point.cost,
            color=colour,
            marker=marker,
            ms=11,
            ls="none",
            label=point.name,
        )
    bounded = sorted({(p.hours_over, p.bound) for p in _all(result) if p.bound is not None})
    if bounded:
        hours, least = zip(*bounded, strict=True)
        axes.plot(hours, least, color=PURPLE, ls="--", marker=".", label="lower bound")
    axes.axvline(result.allowed_h, color=GREY, ls=":", lw=1, label="hours the promise allows")
    axes.set_xlabel("wanted hours too warm in the season")
    axes.set_ylabel(f"electricity of the season {currency}".rstrip())
    axes.set_ylim(bottom=0.0)
    axes.grid(True, alpha=0.3)
    axes.legend(frameon=False)
    axes.set_title(title)
    picture = io.BytesIO()
    figure.savefig(picture, format="png", dpi=110)
    write_bytes_whole(path, picture.getvalue())


def _all(result: Tuned) -> list[Point]:
    tuned = [result.tuned] if result.tuned is not None else []
    return [*result.curve, result.own, result.thermostat, *tuned]
