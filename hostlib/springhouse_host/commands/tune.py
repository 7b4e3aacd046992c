"""`springhouse tune SITE`."""

import os
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..errors import EXIT_NOT_KEPT, KnownError
from ..screen import (
    JsonOption,
    SiteArgument,
    Units,
    UnitsOption,
    check_writable,
    console,
    progress,
    say,
    write_json,
)

if TYPE_CHECKING:
    from rich.table import Table

    from ..site.site import Site
    from ..tuning.tune import Point, Tuned

MOST_JOBS = 256


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("tune")(tune)


def tune(
    site: SiteArgument,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE.toml", dir_okay=False, help="The new version of the site file."
        ),
    ] = None,
    budget: Annotated[int, typer.Option("--budget", min=32, help="Points to try, about.")] = 160,
    days: Annotated[
        int, typer.Option("--days", min=2, max=92, help="Typical days that a point's cost is of.")
    ] = 14,
    season: Annotated[
        bool, typer.Option("--season", help="Take the cost of the whole summer instead.")
    ] = False,
    jobs: Annotated[
        int, typer.Option("--jobs", min=1, max=MOST_JOBS, help="Points run at a time.")
    ] = max(1, os.cpu_count() or 1),
    plot: Annotated[
        Path | None,
        typer.Option("--plot", metavar="FILE.png", dir_okay=False, help="Draw the trade-off."),
    ] = None,
    proof: Annotated[
        bool, typer.Option("--prove/--no-prove", help="Prove the new version at the end.")
    ] = True,
    json: JsonOption = None,
    units: UnitsOption = Units.SI,
) -> int:
    """Look for the settings and charging hours that cost least and keep every promise.

    Writes a new version of the site file, never over the old one, and proves it. Shows what fewer
    or more hours too warm would cost, and how far all of it is from a lower bound.

    Example:  springhouse tune demo --plot trade-off.png
    """
    from ..site import load_site
    from ..site.version import next_version, write_changed
    from ..tuning import tune as tuning

    loaded = load_site(site)
    path = next_version(loaded) if out is None else out
    check_writable(path, plot, json)
    if path.exists():
        raise KnownError(f"{path}: exists already: nothing was tuned")
    begun = time.monotonic()
    effort = tuning.Effort(budget, None if season else days, jobs)
    with progress("steps") as bar:
        steps = effort.steps(len(tuning.short_scenarios(loaded)))
        task = bar.add_task("steps", total=float(steps))
        result = tuning.tune(loaded, effort, lambda done: bar.update(task, completed=done))
    took_s = time.monotonic() - begun
    figures: dict[str, Any] = {"site": loaded.name, "took_s": took_s, **result.as_json()}
    write_json(json, figures)
    if plot is not None:
        from ..tuning.picture import draw

        draw(result, plot, f"{loaded.name}: {result.season}", loaded.currency)
    _show(loaded, result, took_s, units is Units.US)
    if not result.changes:
        _say_why(result)
        return 0 if result.tuned is not None else EXIT_NOT_KEPT
    heading = f"Tuned from {loaded.path}: settings and charging hours, nothing else."
    new = write_changed(loaded, path, result.changes, heading)
    _say_written(result, path)
    if not proof:
        console().print("not proven: run springhouse prove on it before anything is flashed")
        return 0
    kept = _prove(new)
    console().print(f"springhouse prove: {'kept' if kept else 'NOT KEPT, do not use it'}")
    write_json(json, figures | {"written": str(path), "proof_kept": kept})
    return 0 if kept else EXIT_NOT_KEPT


def _prove(new: "Site") -> bool:
    from ..proof.prove import prove

    with progress("proving") as bar:
        task = bar.add_task("proving", total=None)
        verdict = prove(new, lambda done, total: bar.update(task, completed=done, total=total))
    return verdict.kept


def _say_why(result: "Tuned") -> None:
    if result.tuned is None:
        console().print(
            "no point tried keeps every promise in every scenario: nothing was written; see "
            "springhouse prove, or try a greater --budget"
        )
    else:
        console().print("nothing tried is cheaper than the site's own settings: nothing written")


def _say_written(result: "Tuned", path: Path) -> None:
    screen = console()
    for key, value in result.changes.items():
        screen.print(f"  {key} = {value}", markup=False)
    screen.print(f"new version: {path}", markup=False)


def _show(site: "Site", result: "Tuned", took_s: float, us: bool) -> None:
    from .. import plainly

    screen = console()
    money = site.currency
    say(screen, plainly.of_tuning(result, money))
    screen.print(_points(result, site, f"{site.name}: {result.season}", us))
    found = "no lower bound for a freezer in the cooled room"
    if result.bound is not None:
        found = (
            f"lower bound with the {result.allowed_h:.1f} h too warm that the promise allows: "
            f"{result.bound:.2f} {money}".rstrip()
        )
        if result.tuned is not None and result.bound > 0.0:
            gap = 100.0 * (result.tuned.cost / result.bound - 1.0)
            found += f"; the tuned site costs {gap:.0f} % more"
    screen.print(found, markup=False)
    if result.cold is not None and result.bound_cold is not None:
        cold, least = result.cold, result.bound_cold
        screen.print(
            f"cold of the tuned season, in brackets of its bound: {cold.to_room:.1f} kWh "
            f"({least.to_room:.1f}) to the warmth of the room, {cold.moisture:.1f} "
            f"({least.moisture:.1f}) to its moisture, {cold.lost:.1f} ({least.lost:.1f}) lost on "
            "the way",
            markup=False,
        )
    for plain in result.thermostats:
        if plain.frozen_after_days is not None:
            screen.print(
                f"{plain.name}: the store is frozen solid after {plain.frozen_after_days:.1f} days "
                "of the season, its probe at the bottom does not see the ice: nothing to compare",
                markup=False,
            )
    if result.own_kept is False:
        screen.print("the site's own settings break a promise: what keeps them may cost more")
    screen.print(
        f"{result.tried} points tried in {took_s:.0f} s, {result.kept} kept the promises in the "
        f"{len(result.subset)} scenarios nearest to breaking them",
        markup=False,
    )


def _points(result: "Tuned", site: "Site", title: str, us: bool) -> "Table":
    from rich import box
    from rich.table import Table

    from ..units import US_WORDS, in_us, show

    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
    table.add_column("settings")
    limit_c = site.file.promises.room_below_c
    mass = US_WORDS["kg"] if us else "kg"
    over = f"h over {show(limit_c, '°C', us=us)}"
    names = (over, "kWh", f"cost {site.currency}".rstrip(), f"most ice {mass}")
    for name in (*names, "bound", "above it"):
        table.add_column(name, justify="right")

    def add(point: "Point", name: str) -> None:
        gap = point.gap_percent
        table.add_row(
            name,
            f"{point.hours_over:.1f}",
            f"{point.kwh:.1f}",
            f"{point.cost:.2f}",
            f"{in_us(point.max_ice_kg, 'kg') if us else point.max_ice_kg:.2f}",
            "-" if point.bound is None else f"{point.bound:.2f}",
            "-" if gap is None else f"{gap:.0f} %",
        )

    for point in (result.tuned, result.own, *(p.point for p in result.thermostats)):
        if point is not None:
            add(point, point.name)
    table.add_section()
    for point in result.curve:
        add(point, f"trade-off: {_in_short(point, us)}")
    return table


def _in_short(point: "Point", us: bool) -> str:
    from ..units import show

    room, deep = (
        show(point.values[f"settings.{key}_target_c"], "°C", us=us) for key in ("room", "deep")
    )
    return f"room {room}, store {deep}"
