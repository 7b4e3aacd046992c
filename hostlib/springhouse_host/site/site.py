"""One installation, as a site file describes it."""

import json
from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from springhouse_sim.world.stage import Calendar
from springhouse_sim.world.tariff import Prices, flat, two_rate

from ..errors import SiteError
from . import (
    hashes,
    heights,
    owner_range,
    part_keys,
    rules,
    rules_parts,
    rules_use,
    settings_record,
    words,
)
from .contradictions import contradictions
from .derive import basement, derive
from .derive_room import SHADE
from .known import VARIANTS, Known, Variant
from .probes import probe_error_k
from .promises import Promise, promises
from .read import Fault, SiteFile, load_toml, read_tables, refusals
from .tables import PROBES
from .weather_file import WeatherFile, price_file, weather_file

if TYPE_CHECKING:
    from springhouse_sim.plant.plant import Plant
    from springhouse_sim.world.ground import Wave
    from springhouse_sim.world.people import People
    from springhouse_sim.world.pvgis import Asked
    from springhouse_sim.world.sun import Glazing
    from springhouse_sim.world.weather import Place, Weather

BUILT_IN = (
    *("demo", "demo-hard", "bedroom-night", "round-the-clock", "power-cut", "rented-room"),
    *("humid-coast", "cold-cellar", "den-120v"),
)
COMPASS = ("n", "ne", "e", "se", "s", "sw", "w", "nw")
WEATHER_YEAR = 2001  # no leap year; decides on which weekdays its days fall


def _stamp(path: Path) -> tuple[int, int, int]:
    """Return what is another after a file was written or replaced; zeros where it is missing."""
    try:
        found = path.stat()
    except OSError:  # whoever reads it says why
        return (0, 0, 0)
    return (found.st_ino, found.st_size, found.st_mtime_ns)


@lru_cache(maxsize=4)
def _file_read(
    path: Path, place: "Place | None", asked: "Asked", stamps: tuple[tuple[int, int, int], ...]
) -> "Weather":
    """Return the weather of files that have these stamps: a changed site needs no other reading.

    Raises:
        ValueError: one line naming the file and what is wrong with it.
    """
    from springhouse_sim.world import kept_weather

    return kept_weather.read(path, WEATHER_YEAR, place, asked)


@dataclass(frozen=True)
class Site:
    """A validated site file and everything that follows from it."""

    path: str  # as the user named it
    file: SiteFile
    weather: WeatherFile
    prices: Path | None = None  # hourly prices of electricity
    changed: str = "{}"  # values by "table.key" that differ from the file, as JSON

    @property
    def name(self) -> str:
        """What the owner calls it."""
        return self.file.site.name

    @property
    def currency(self) -> str:
        """The owner's label for money; no sum depends on it."""
        return self.file.site.currency

    @cached_property
    def known(self) -> Mapping[str, Known]:
        """Every loosely known number, with range, grade and source."""
        try:
            return derive(self.file)
        except ValueError as error:
            raise part_keys.refusal(self.file, error, "mid", self.path) from None

    def contradictions(self, us: bool = False) -> list[str]:
        """Return one line for each pair of numbers of the file that cannot both be right."""
        return contradictions(self.file, self.known, us)

    @property
    def evidence(self) -> str:
        """ESTIMATE while any number rests on a label, else MEASURED."""
        grades = {known.grade for known in self.known.values()}
        return "ESTIMATE" if "label" in grades else "MEASURED"

    def plant(self, variant: Variant = "mid") -> "Plant":
        """Return the plant for one reading of the labels; ``low`` is the weakest installation.

        Raises:
            SiteError: when a part refuses what the labels lead to.
        """
        from . import plant_parts

        if variant not in self._plants:
            try:
                self._plants[variant] = plant_parts.build(self.file, self.known, variant)
            except ValueError as error:
                raise part_keys.refusal(self.file, error, variant, self.path) from None
        return self._plants[variant]

    @cached_property
    def _plants(self) -> "dict[Variant, Plant]":
        return {}

    def variants(self) -> "tuple[Plant, Plant, Plant]":
        """Return the plants for the low, middle and high reading of the labels."""
        low, mid, high = (self.plant(variant) for variant in VARIANTS)
        return low, mid, high

    @cached_property
    def weakest_l_min(self) -> float:
        """Loop flow with cold water for the weakest reading of the pump's label [L/min]."""
        from .loop_part import loop

        try:
            return float(loop(self.file, self.known, "low").operating_l_min(2.0, 1.0))
        except ValueError as error:
            raise part_keys.refusal(self.file, error, "low", self.path) from None

    def settings(self) -> "array[int]":
        """Return a fresh settings record for the control core, setting.SIZE slots.

        Raises:
            SiteError: when the core would refuse it.
        """
        return array("i", self._settings)

    @cached_property
    def _settings(self) -> "array[int]":
        known, weakest_l_min = self.known, self.weakest_l_min
        try:
            return settings_record.build(self.file, known, weakest_l_min)
        except SiteError as error:
            raise SiteError([f"{self.path}: {line}" for line in error.lines]) from None

    def ranges(self) -> list[owner_range.Range]:
        """Return (slot, lowest, highest) of what the owner may change without another proof.

        Raises:
            SiteError: when the table contradicts the settings.
        """
        try:
            return owner_range.ranges(self.file.owner_range, self.settings())
        except SiteError as error:
            raise SiteError([f"{self.path}: {line}" for line in error.lines]) from None

    def extremes(self) -> list[owner_range.Extreme]:
        """Return the extreme points of the owner's range.

        Raises:
            SiteError: as `ranges`, and when the core would refuse one of them.
        """
        try:
            return owner_range.extremes(self.file.owner_range, self.settings())
        except SiteError as error:
            raise SiteError([f"{self.path}: {line}" for line in error.lines]) from None

    @property
    def fitted(self) -> int:
        """Bits of ``springhouse.fitted``."""
        return settings_record.fitted_bits(self.file)

    @property
    def probe_errors_k(self) -> dict[str, float]:
        """Error budget of each probe [K]."""
        checked = self.file.sensors.ice_point_checked
        return {probe: probe_error_k(probe, checked) for probe in PROBES}

    def gaps(self) -> list[words.Gap]:
        """Return what nothing watches, with its key and how bad that is."""
        return words.gaps(self.file)

    def unguarded(self) -> list[str]:
        """Return what nothing watches, in plain words."""
        return words.unguarded(self.file)

    def assumes(self) -> list[str]:
        """Return what the owner declares and no simulation can show."""
        return words.assumes(self.file)

    def promises(self) -> tuple[Promise, ...]:
        """Return the bounds the owner wants kept."""
        return promises(self.file)

    @cached_property
    def _tariff(self) -> Prices:
        from springhouse_sim.world.prices import read_prices

        tariff = self.file.tariff
        standing, price = tariff.standing_per_day, tariff.price_per_kwh
        if self.prices is not None:
            try:
                return read_prices(self.prices, standing)
            except (ValueError, OSError) as error:
                raise SiteError(f"{self.path}: tariff.prices_csv: {error}") from None
        assert price is not None
        if tariff.cheap_price_per_kwh is None:
            return flat(price, standing)
        return two_rate(tariff.cheap_price_per_kwh, price, tariff.cheap_hours, standing)

    def tariff(self) -> Prices:
        """Return what electricity costs when.

        Raises:
            SiteError: when a file of prices cannot be read.
        """
        return self._tariff

    def people(self) -> "People":
        """Return who and what warms the room when."""
        from springhouse_sim.world.people import Equipment, Occupancy, People
        from springhouse_sim.world.windows import Window

        room = self.file.room
        always = (Window(0, 0),)
        equipment = [Equipment(room.equipment_w, room.equipment_hours)]
        if room.idle_w > 0.0:
            equipment.append(Equipment(room.idle_w, always))
        there = Occupancy(room.people, room.people_activity, room.people_hours)
        return People((there,) if room.people else (), tuple(equipment))

    @cached_property
    def _weather(self) -> "Weather":
        from springhouse_sim.world import design_day, kept_weather
        from springhouse_sim.world.weather import Place

        position = self.weather.position
        place = Place(*position) if position else None
        try:
            if self.weather.path is not None:
                stamps = tuple(_stamp(path) for path in self.weather.paths)
                return _file_read(self.weather.path, place, self.weather.asked, stamps)
            assert place is not None
            assert self.weather.design is not None
            highest_c, range_k, dew_c, month, day = self.weather.design
            design = design_day.DesignDay(month, day, highest_c, range_k, dew_c)
            return kept_weather.of_design(design, place, WEATHER_YEAR)
        except ValueError as error:
            raise SiteError(f"{self.path}: weather: {error}") from None

    def read_weather(self) -> "Weather":
        """Return the hourly weather, read once; a typical year gets the year WEATHER_YEAR.

        Raises:
            SiteError: naming file, line and column of what is wrong with it.
        """
        return self._weather

    def calendar(self, start: datetime) -> Calendar:
        """Return the calendar of a scenario that begins at a standard time of the weather."""
        return Calendar(start, round(self.file.weather.clock_ahead_min))

    @cached_property
    def ground(self) -> "Wave | None":
        """Return the temperature behind the walls of a cellar, None where there is no ground.

        Raises:
            SiteError: where neither file nor weather says how warm it is.
        """
        from springhouse_sim.world.ground import Wave, yearly

        cellar = basement(self.file)
        if cellar is None:
            return None
        if self.file.place.ground_c is not None:
            return Wave(self.file.place.ground_c, 0.0, 0.0)
        try:
            return cellar.behind(yearly(self.read_weather()))
        except ValueError:
            raise SiteError(
                f"{self.path}: place.ground_c: missing: from -10 to 30 °C, needed beside "
                "place.ground where the weather is no whole year"
            ) from None

    @property
    def has_shade(self) -> bool:
        """Whether there is a window with a shade that can be left open."""
        room = self.file.room
        return (
            room.window_side != "none"
            and room.window_area_m2 > 0.0
            and SHADE[room.window_shade] < 1.0
        )

    def glazing(self, variant: Variant = "mid", shade_open: bool = False) -> "tuple[Glazing, ...]":
        """Return the windows of the room, their shade used or left open."""
        from springhouse_sim.world.sun import Glazing

        room = self.file.room
        if room.window_side == "none":
            return ()
        azimuth = 45.0 * COMPASS.index(room.window_side)
        share = self.known["room.sun_share_percent"].pick(variant) / 100.0
        share = min(1.0, share / SHADE[room.window_shade] if shade_open else share)
        return (Glazing(room.window_area_m2, share, azimuth),)

    @property
    def site_sha256(self) -> str:
        """Hash of the parsed site and the files of its weather and prices."""
        outside = [*self.weather.paths, *([self.prices] if self.prices else ())]
        return hashes.with_files_sha256(hashes.canonical(self.file), outside)

    @property
    def weather_sha256(self) -> str:
        """Hash of the [weather] table and of its files."""
        return self._table_sha256("weather", self.weather.paths)

    @property
    def tariff_sha256(self) -> str:
        """Hash of the [tariff] table and of the file of prices."""
        return self._table_sha256("tariff", [self.prices] if self.prices else [])

    def _table_sha256(self, name: str, outside: Sequence[Path]) -> str:
        text = hashes.canonical_table(self.file, name)
        return hashes.with_files_sha256(text, outside)

    @property
    def settings_sha256(self) -> str:
        """Hash of the settings record and of the owner's range, as the board makes it."""
        return hashes.settings_sha256(self.settings(), self.ranges())

    @property
    def firmware_sha256(self) -> str:
        """Hash of the board's files."""
        return hashes.firmware_sha256()


def load_site(site: str | Path, changes: Mapping[str, Any] | None = None) -> Site:
    """Read a site file, or one of the built-in sites by its word.

    Args:
        site: path, or built-in word.
        changes: values by "table.key" that take the place of those in the file; None leaves a key
            out. Return and high probe move along with ``store.water_litres``.

    Raises:
        SiteError: carrying a line for every fault of the file.
    """
    return _load(file_of(site), str(site), changes or {})


def file_of(site: str | Path) -> Path:
    """Return the file of a site, also of a built-in one."""
    if site in BUILT_IN:
        return Path(__file__).parent.parent / "sites" / f"{site}.toml"
    return Path(site)


def _load(path: Path, shown_as: str, changes: Mapping[str, Any]) -> Site:
    raw = load_toml(path)
    try:
        changed = json.dumps(dict(changes), sort_keys=True)
    except TypeError as error:
        raise SiteError(f"{shown_as}: changes: {error}: values as in a site file") from None
    store = raw.get("store")
    if isinstance(store, dict):
        store.update(heights.moved(store, changes))
    for where, value in changes.items():
        table, _, key = where.partition(".")
        part = raw.setdefault(table, {})
        if not isinstance(part, dict):  # what is no table is refused below
            continue
        if value is None:
            part.pop(key, None)
        else:
            part[key] = value
    faults: list[Fault] = []
    tables, values = read_tables(raw, faults)
    faults += rules.check((*rules_parts.RULES, *rules_use.RULES), values)
    weather = weather_file(values.get("weather", {}), path.parent, faults)
    prices = price_file(values.get("tariff", {}), path.parent, faults)
    if faults:
        raise SiteError(refusals(faults, shown_as))
    assert weather is not None
    found = Site(shown_as, SiteFile(**tables), weather, prices, changed)  # type: ignore[arg-type]
    found.settings()  # the core's own check, so that an accepted file is accepted by the board
    found.extremes()
    found.variants()  # and by every part, for each reading of its labels
    return found
