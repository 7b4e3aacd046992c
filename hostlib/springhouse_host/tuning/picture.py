"""Draws the trade-off of cost against hours too warm."""

from pathlib import Path

from matplotlib.figure import Figure

from ..plots import BLUE, GREEN, GREY, ORANGE, PURPLE, save
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
    singles = [(result.own, ORANGE, "s")]
    singles += [(p.point, GREY, "X") for p in result.thermostats if p.point is not None]
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
    save(figure, path)


def _all(result: Tuned) -> list[Point]:
    plain = [p.point for p in result.thermostats]
    return [*result.curve, result.own, *(p for p in (*plain, result.tuned) if p is not None)]
