"""Every number of an installation that nobody knows for sure, once.

An entry says between what ends a number may lie, who says so, and what would narrow it. The proof's
sample of plausible installations and its advice what to measure next read this table; nothing else
knows a spread that is not one of the readings of a label (`known.py`).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from . import capacity, derive_room
from .capacity import on_the_label
from .tables import PROBES

if TYPE_CHECKING:
    from .site import Site

CAPILLARY = "freezer.capillary_factor"
EFFICIENCY = "freezer.efficiency"
INPUT_FACTOR = "freezer.input_factor"
FILM = "store.film_factor"
ABSORBED = "room.sun_absorbed_share"
NEXT_DOOR = "room.house_c"
BEYOND = "room.inside_ua_w_k"

# What a person can do about it: the command, its words, minutes of work, hours until it is known.
NARROWED = {
    "stand": ("a night with the freezer unplugged", 20, 12),
    "chill": ("water chilled without a stop", 30, 8),
    "flow": ("the pump into a bucket", 15, 1),
    "coil": ("water and air in and out of the coil", 40, 2),
    "room": ("a night with a heater in the room", 30, 10),
    "thermometer": ("a thermometer next door on a hot day", 10, 24),
    "fit": ("two days and nights of the board's log", 15, 48),
}
BY = {
    "freezer.cabinet_ua_w_k": "stand",
    "freezer.capacity_w": "chill",
    "freezer.evaporator_wall_w_m2_k": "chill",
    "loop.pump_head_m": "flow",
    "loop.pump_free_l_min": "flow",
    "coil.ua_w_k": "coil",
    "coil.air_m3_h": "coil",
    "room.envelope_ua_w_k": "room",
    "room.infiltration_per_h": "room",
    BEYOND: "room",
    NEXT_DOOR: "thermometer",
    "room.heat_capacity_kj_k": "fit",
}
CAPILLARY_ENDS = (1.1, 1.6, 1.9)
CAPILLARY_LEFT = (1.35, 1.6, 1.75)
WORDS = {
    CAPILLARY: "what the freezer's capillary tube passes",
    EFFICIENCY: "the compressor's efficiency",
    FILM: "the film of water at the cold walls",
    ABSORBED: "sun on outside walls",
    NEXT_DOOR: "how warm it is next door",
    BEYOND: "walls to next door",
    "freezer.capacity_w": "the freezer's capacity",
    "freezer.cabinet_ua_w_k": "the freezer's cabinet",
    "freezer.condenser_ua_w_k": "the freezer's condenser",
    "freezer.evaporator_wall_w_m2_k": "the freezer's cold walls",
    "place.ua_w_k": "the freezer's place",
    "place.ground_ua_w_k": "the ground about the freezer's place",
    "room.envelope_ua_w_k": "the room's outside walls",
    "room.heat_capacity_kj_k": "the room's mass",
    "room.infiltration_per_h": "the room's tightness",
    "room.sun_share_percent": "sun through the window",
    "coil.air_m3_h": "air through the coil",
    "coil.ua_w_k": "the coil's conductance",
    "loop.pump_head_m": "the pump's head",
    "loop.pump_free_l_min": "the pump's free flow",
    "battery.usable_wh": "the battery",
}


@dataclass(frozen=True)
class Doubt:
    """A number between two ends: half of its draws below ``mid``, half above, evenly each.

    Raises:
        ValueError: in one line, when the ends are the wrong way round or not of its kind.
    """

    key: str
    low: float
    mid: float
    high: float
    unit: str
    source: str
    by: str = ""  # of NARROWED; empty where nothing guided tells it

    def __post_init__(self) -> None:
        if not self.low <= self.mid <= self.high:
            said = f"{self.low:g}, {self.mid:g}, {self.high:g} {self.unit}"
            raise ValueError(f"{self.key}: {said.strip()}: low <= middle <= high is needed")
        if self.unit not in ("°C", "mK") and self.low < 0.0:
            raise ValueError(f"{self.key}: {self.low:g} {self.unit}: not below 0")
        if self.unit == "%" and self.high > 100.0:
            raise ValueError(f"{self.key}: {self.high:g} %: from 0 to 100 %")

    def at(self, quantile: float) -> float:
        """Return the value below which so much of its draws lie, 0 to 1."""
        if quantile < 0.5:
            return self.low + 2.0 * quantile * (self.mid - self.low)
        return self.mid + (2.0 * quantile - 1.0) * (self.high - self.mid)

    @property
    def words(self) -> str:
        """What it is called."""
        probe = self.key.removeprefix("sensors.")
        return WORDS.get(self.key, f"the error of probe {probe}")


def doubts(site: "Site") -> tuple[Doubt, ...]:
    """Return every entry for an installation, always in the same order.

    Raises:
        ValueError: as `Doubt`.
    """
    return (*_labels(site), *_freezer(site), *_room(site), *_probes(site))


def _labels(site: "Site") -> Iterator[Doubt]:
    """Yield what labels and tape measure leave open, as wide as their readings."""
    for key, known in site.known.items():
        if known.high <= known.low or key == NEXT_DOOR:
            continue
        if key == INPUT_FACTOR and known.grade == "label":
            continue  # the label's input follows from capacity and efficiency
        low, mid, high, source = known.low, known.mid, known.high, known.source
        if key == "freezer.capacity_w" and on_the_label(site.file.freezer):
            # The readings may take the input at its word, a plausible machine draws half of it.
            cabinet_w_k = site.known["freezer.cabinet_ua_w_k"].mid
            low, mid, high = capacity.by_label_w(site.file.freezer, cabinet_w_k)
            source += "; half to all of the nameplate's input is drawn, from memory"
        if known.unit == "%":
            high = min(high, 100.0)
        yield Doubt(key, low, min(mid, high), high, known.unit, source, BY.get(key, ""))


def _freezer(site: "Site") -> Iterator[Doubt]:
    freezer = site.file.freezer
    if freezer.capacity_coefficients is None:
        ends = CAPILLARY_ENDS
        source = "homogeneous choked flow of R600a after 3 to 20 K of subcooling; own calculation"
        if site.known["freezer.capacity_w"].grade != "label":
            ends = CAPILLARY_LEFT
            source += "; half of it after a chill was measured, a guess"
        yield Doubt(CAPILLARY, *ends, "", source, "chill")
    if on_the_label(freezer) and freezer.input_factor is None:
        source = "isentropic to electric, small hermetic machines; general experience"
        yield Doubt(EFFICIENCY, *capacity.EFFICIENCY, "", source, "chill")
    # From laminar even where water may be turbulent to the other form even where it may be laminar,
    # over walls of 0.3 to 0.6 m and water of 1 to 15 °C: tests/reference/test_film.py.
    source = "laminar similarity solution or Churchill and Chu's form for every Rayleigh number"
    yield Doubt(FILM, 0.6, 1.0, 1.4, "", source)


def _room(site: "Site") -> Iterator[Doubt]:
    room = site.file.room
    if room.outside_wall_m2 > room.window_area_m2 or room.outside_roof:
        yield Doubt(ABSORBED, 0.3, 0.6, 0.9, "", "light to dark surfaces; from memory")
    limit_c = site.file.promises.room_below_c
    if room.house_c is not None:
        k = site.known[NEXT_DOOR]
        yield Doubt(NEXT_DOOR, k.low, k.mid, k.high, "°C", k.source, BY[NEXT_DOOR])
        return
    mid_w_k = derive_room.PARTITION_W_M2_K * derive_room.towards_house_m2(site.file)
    if mid_w_k > 0.0:
        source = "all that is not outside, at 1.7 W/(m2 K) and less; common practice, no source"
        yield Doubt(BEYOND, 0.3 * mid_w_k, 0.6 * mid_w_k, 1.2 * mid_w_k, "W/K", source, "room")
        ends = (limit_c - 2.0, limit_c - 0.5, limit_c + 1.0)
        yield Doubt(NEXT_DOOR, *ends, "°C", "about the room's limit; a guess", "thermometer")


def _probes(site: "Site") -> Iterator[Doubt]:
    for probe in PROBES[:3]:
        error_mk = 1000.0 * site.probe_errors_k[probe]
        source = "inside its error budget, evenly; the maker's limit or an ice-point check"
        yield Doubt(f"sensors.{probe}", -error_mk, 0.0, error_mk, "mK", source)
