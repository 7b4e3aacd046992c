"""How often the truth lies within what a verdict says; run by hand.

    python tests/host/calibration.py [SITE] [--truths 200] [--verdicts 8] [--plot FILE.png]

A truth is an installation drawn at random, by another generator than the sample's, from the same
table of doubts: it says whether 64 draws are enough of them, and nothing about the table. Each of
some samples of 64, as `prove` takes them, says of the hottest week: below this temperature the room
is in the promised share of its wanted hours, in 5, 10 ... 95 % of plausible installations. Counted
is in how many truths it was. Printed: coverage of the 90 % interval of each sample, of the least
share of hours that 95 % should reach, and of the share kept.
"""

from __future__ import annotations

import argparse
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from springhouse_host.proof import plausible
from springhouse_host.proof.plausible import DrawnRow
from springhouse_host.proof.prove import DRAWS, processes
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.site import doubt, drawn, load_site
from springhouse_host.site.site import Site
from springhouse_host.workers import Workers

LEVELS = np.arange(5.0, 96.0, 5.0)
SEED = 7


def truths(site: Site, like: Scenario, count: int) -> list[Scenario]:
    """Return installations drawn independently, in the week of a sample's."""
    random = np.random.default_rng(SEED)
    table = doubt.doubts(site)
    found = []
    for number in range(count):
        draw = tuple(
            (d.key, d.at(float(u))) for d, u in zip(table, random.random(len(table)), strict=True)
        )
        found.append(replace(like, draw=draw, seed=SEED + number))
    return found


def rows_of(site: Site, runs: list[Scenario], pool: Executor) -> list[DrawnRow]:
    """Return a row a run."""
    a_job = 4
    jobs = [
        pool.submit(plausible.run_some, site.path, runs[i : i + a_job], site.changed)
        for i in range(0, len(runs), a_job)
    ]
    return [row for job in jobs for row in job.result()]


def below(found_c: NDArray[np.float64], sample_c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return in how many truths [%] it was not warmer than each quantile of a sample."""
    at_c = np.percentile(sample_c, LEVELS)
    return 100.0 * (found_c[:, np.newaxis] <= at_c).mean(axis=0)


def main() -> None:
    """Run, print, draw."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("site", nargs="?", default="demo")
    parser.add_argument("--truths", type=int, default=200)
    parser.add_argument("--verdicts", type=int, default=8)
    parser.add_argument("--plot", type=Path)
    asked = parser.parse_args()
    site = load_site(asked.site)
    week = plausible.drawn_scenarios(site, DRAWS)
    with Workers(processes()) as pool:
        true = rows_of(site, truths(site, week[0], asked.truths), pool)
        samples = [rows_of(site, week, pool)]
        for number in range(1, asked.verdicts):
            points = drawn.draws(site, DRAWS, plausible.SEED + number)
            runs = [replace(s, draw=draw) for s, draw in zip(week, points, strict=True)]
            samples.append(rows_of(site, runs, pool))
    promises = site.promises()
    share = next(i for i, p in enumerate(promises) if p.measure == "room_share_percent")
    true_c = np.array([row.warmth_c for row in true])
    true_percent = np.array([row.values[share] for row in true], np.float64)
    kept = np.array([plausible.inside(promises, row.values) for row in true])
    curves = []
    print(f"{site.name}: {asked.truths} truths; kept in {100 * kept.mean():.1f} % of them")
    print("sample  in its 90 % interval  hours as in its 95 %  share it says")
    for number, rows in enumerate(samples, 1):
        sample_c = np.array([row.warmth_c for row in rows])
        low_c, high_c = np.percentile(sample_c, (5.0, 95.0))
        inside = 100.0 * float(((true_c >= low_c) & (true_c <= high_c)).mean())
        fifth = np.percentile(np.array([row.values[share] for row in rows], np.float64), 5.0)
        reached = 100.0 * float((true_percent >= fifth).mean())
        said = 100.0 * np.mean([plausible.inside(promises, row.values) for row in rows])
        print(f"{number:6}  {inside:18.1f} %  {reached:18.1f} %  {said:11.1f} %")
        curves.append(below(true_c, sample_c))
    if asked.plot is not None:
        draw_curves(asked.plot, site.name, curves)


def draw_curves(path: Path, name: str, curves: list[NDArray[np.float64]]) -> None:
    """Draw what was found over what was said."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(5.2, 5.0), layout="constrained")
    axes = figure.subplots()
    axes.plot([0, 100], [0, 100], color="0.6", linestyle="--", label="as it should be")
    for number, curve in enumerate(curves):
        axes.plot(LEVELS, curve, color="#1f5f8b", alpha=0.6, label=None if number else "a sample")
    axes.set_xlabel("a sample says: not warmer than this in ... % of installations")
    axes.set_ylabel("it was so in ... % of the truths")
    axes.set_title(f"{name}, hottest week")
    axes.legend(frameon=False)
    axes.set_aspect("equal")
    figure.savefig(path, dpi=110)


if __name__ == "__main__":
    main()
