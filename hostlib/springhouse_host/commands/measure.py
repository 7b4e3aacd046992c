"""`springhouse measure SITE TEST`."""

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from ..errors import KnownError
from ..screen import SiteArgument, check_writable, console

HELP = {
    "stand": "Freezer unplugged, lid shut, water stirred and read before and after a night.",
    "chill": "Water stirred and read, freezer on for hours without a stop, stirred and read again; "
    "--kwh from a plug-in meter adds the input.",
    "flow": "Pump into a bucket at the height of the return, stopwatch.",
    "coil": "Store above the room's dew point, so that the coil stays dry; pump and fans at full "
    "for ten minutes; the flow from `flow`. Water read at the coil's two ends, air before and "
    "behind it.",
    "room": "A heater of known power in the room for a night without sun, people or store, until "
    "the temperature no longer moves.",
}
CAUTIONS = {
    "stand": "Nothing is switched by hand at the freezer's wires: pull its plug.",
    "chill": "The plug-in meter must be rated for a motor's start. Hands out of the water while "
    "anything is plugged in.",
    "flow": "Low voltage only; mains plugs out of reach of the bucket.",
    "coil": "Low voltage only; fingers out of the fans.",
    "room": "Never leave a heater alone that is not made for it; nothing near it.",
}


class Test(StrEnum):
    """Which test."""

    STAND = "stand"
    CHILL = "chill"
    FLOW = "flow"
    ROOM = "room"
    COIL = "coil"


# Flag, unit, lowest and highest reading, what is asked.
LITRES = ("litres", "L", 0.1, 2000.0, "litres of water")
FROM = ("from", "°C", 0.0, 40.0, "water before, stirred")
TO = ("to", "°C", 0.0, 40.0, "water after, stirred")
HOURS = ("hours", "h", 0.5, 200.0, "how long")
PLACE = ("place", "°C", -10.0, 45.0, "air beside the freezer, mean")
ASKED = {
    Test.STAND: (LITRES, FROM, TO, HOURS, PLACE),
    Test.CHILL: (LITRES, FROM, TO, HOURS, PLACE),
    Test.FLOW: (
        LITRES,
        ("seconds", "s", 2.0, 3600.0, "seconds by stopwatch"),
        ("to", "°C", 0.0, 40.0, "water temperature"),
    ),
    Test.COIL: (
        ("flow", "L/min", 0.05, 60.0, "water flow"),
        ("water-in", "°C", 0.0, 40.0, "water that enters the coil"),
        ("water-out", "°C", 0.0, 45.0, "water that leaves it"),
        ("air-in", "°C", 0.0, 45.0, "air before the coil"),
        ("air-out", "°C", 0.0, 45.0, "air behind it"),
    ),
    Test.ROOM: (
        ("watts", "W", 20.0, 10000.0, "heat of everything in the room"),
        ("inside", "°C", 0.0, 45.0, "room, last hours' mean"),
        ("outside", "°C", -30.0, 45.0, "outdoors, same hours' mean"),
    ),
}


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("measure")(measure)


def measure(
    site: SiteArgument,
    test: Annotated[Test, typer.Argument(help="stand, chill, flow, coil or room.")],
    litres: Annotated[str | None, typer.Option(help='Water, such as 150 or "40 US gal".')] = None,
    from_: Annotated[str | None, typer.Option("--from", help="Water before [°C].")] = None,
    to: Annotated[str | None, typer.Option(help="Water after; flow: water [°C].")] = None,
    hours: Annotated[str | None, typer.Option(help="stand, chill: how many hours.")] = None,
    place: Annotated[str | None, typer.Option(help="Air beside the freezer [°C].")] = None,
    kwh: Annotated[str | None, typer.Option(help="chill: plug-in meter; may be left out.")] = None,
    seconds: Annotated[str | None, typer.Option(help="flow: seconds on the stopwatch.")] = None,
    watts: Annotated[str | None, typer.Option(help="room: the heater [W].")] = None,
    inside: Annotated[str | None, typer.Option(help="room: the room [°C].")] = None,
    outside: Annotated[str | None, typer.Option(help="room: outdoors [°C].")] = None,
    flow: Annotated[str | None, typer.Option(help="coil: water flow [L/min].")] = None,
    water_in: Annotated[str | None, typer.Option(help="coil: water into it [°C].")] = None,
    water_out: Annotated[str | None, typer.Option(help="coil: water out of it [°C].")] = None,
    air_in: Annotated[str | None, typer.Option(help="coil: air before it [°C].")] = None,
    air_out: Annotated[str | None, typer.Option(help="coil: air behind it [°C].")] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE.toml", help="New site file; default: next number."),
    ] = None,
) -> None:
    """Turn a hand test into a value with its error, in a new version of the site file.

    stand: the freezer's cabinet, from a night switched off. chill: its capacity, from water chilled
    without a stop. flow: the pump, by bucket and stopwatch. coil: conductance and air, from water
    and air in and out. room: its envelope, from a night on a heater. What no
    flag gives is asked. Values may carry units: "75 °F".

    Example:  springhouse measure demo stand --litres 150 --from 5 --to 8.4 --hours 14 --place 24
    """
    from .. import measuring
    from ..site import load_site
    from ..site.version import check_new, next_version, write_version

    loaded = load_site(site)
    path = next_version(loaded) if out is None else out
    check_new(path)
    check_writable(path)
    flags = {
        "litres": litres,
        "from": from_,
        "to": to,
        "hours": hours,
        "place": place,
        "seconds": seconds,
        "watts": watts,
        "inside": inside,
        "outside": outside,
        "flow": flow,
        "water-in": water_in,
        "water-out": water_out,
        "air-in": air_in,
        "air-out": air_out,
    }
    screen = console()
    for line in (HELP[test], CAUTIONS[test]):
        screen.print(line, markup=False)
    r = _readings(test, flags)
    if test is Test.STAND:
        found = measuring.stand(loaded, r["litres"], r["from"], r["to"], r["hours"], r["place"])
    elif test is Test.CHILL:
        metered = None if kwh is None else _number("kwh", kwh, "kWh", 0.01, 1000.0)
        found = measuring.chill(
            loaded, r["litres"], r["from"], r["to"], r["hours"], r["place"], metered
        )
    elif test is Test.FLOW:
        found = measuring.flow(loaded, r["litres"], r["seconds"], r["to"])
    elif test is Test.COIL:
        from ..measuring_coil import coil

        found = coil(loaded, r["flow"], r["water-in"], r["water-out"], r["air-in"], r["air-out"])
    else:
        found = measuring.room(loaded, r["watts"], r["inside"], r["outside"])
    values = {result.key: result.new_value() for result in found}
    write_version(loaded, path, values, f"measured: {found[0].how}")
    for result in found:
        before = loaded.known[result.key].mid if result.key in loaded.known else 1.0
        spread = measuring.COVERAGE * result.error
        screen.print(
            f"{result.key}: {result.value:.3g} ± {spread:.2g} {result.unit}".rstrip()
            + f" (about 95 %), before {before:.3g}",
            markup=False,
        )
    screen.print(f"wrote {path}: prove it again (springhouse prove {path})", markup=False)


def _readings(test: Test, flags: dict[str, str | None]) -> dict[str, float]:
    """Return the readings of a test; what is missing is asked, or all of it refused at once."""
    missing = [name for name, *_ in ASKED[test] if flags[name] is None]
    if missing and not sys.stdin.isatty():
        raise KnownError(f"measure {test.value}: missing {', '.join(f'--{m}' for m in missing)}")
    found = {}
    for name, unit, low, high, what in ASKED[test]:
        text = flags[name]
        if text is None:
            text = typer.prompt(f"{what} [{unit}]")
        found[name] = _number(name, text, unit, low, high)
    return found


def _number(name: str, text: str, unit: str, low: float, high: float) -> float:
    from ..units import UnitRefusedError, parse

    try:
        value = float(text)
    except ValueError:
        try:
            value = parse(text, unit)
        except UnitRefusedError as error:
            raise KnownError(f"--{name}: {text!r}: {error}; {low:g} to {high:g} {unit}") from None
    if not low <= value <= high:
        raise KnownError(f"--{name}: {text}: from {low:g} to {high:g} {unit}")
    return value
