"""Energy, cost and heat of a run as rows of tables."""

from dataclasses import dataclass

from springhouse_sim.trace import Trace
from springhouse_sim.world.tariff import Prices

from .spans import Priced

CONSUMERS = {
    "mains": "all, at the socket",
    "freezer": "freezer",
    "pump": "pump",
    "fans": "fans",
    "board": "board",
}
ROOM = {
    "envelope": "walls, ceiling, glass",
    "infiltration_sensible": "fresh air",
    "infiltration_latent": "moisture of fresh air",
    "sun": "sun",
    "people_sensible": "people",
    "people_latent": "moisture of people",
    "equipment": "equipment",
    "fans": "the coil's fans",
    "freezer_place": "place of the freezer",
    "coil_sensible": "coil, cooling the air",
    "coil_latent": "coil, drying the air",
    "tubes": "tubes in the room",
}
STORE = {
    "cabinet": "cabinet walls",
    "lid": "lid",
    "coil": "coil",
    "pump": "pump",
    "tubes_in_room": "tubes in the room",
    "tubes_in_place": "tubes where the freezer stands",
    "evaporator": "freezer's evaporator",
}
NOTHING_KWH = 0.0005  # what rounds to 0.000


@dataclass(frozen=True)
class Bill:
    """Electricity at one rate; ``price_kwh`` is None where it changes from hour to hour."""

    rate: str
    kwh: float
    price_kwh: float | None
    cost: float


@dataclass(frozen=True)
class Flow:
    """Heat by one cause, ``kwh`` inward, and its share of the greatest of its table."""

    words: str
    kwh: float
    share: float


def bills(trace: Trace, tariff: Prices, prices: list[Priced]) -> list[Bill]:
    """Return energy and cost by rate; with the standing charge they add up to the run's cost."""
    by_rate: dict[str, set[float]] = {}
    for p in prices:
        by_rate.setdefault(p.rate, set()).add(p.price_kwh)
    energy_cost = trace.cost - standing(trace, tariff)
    found = []
    for rate, kwh in trace.kwh_by_rate.items():
        asked = by_rate.get(rate, set())
        price = next(iter(asked)) if len(asked) == 1 else None
        cost = energy_cost if len(trace.kwh_by_rate) == 1 else kwh * (price or 0.0)
        found.append(Bill(rate, kwh, price, cost))
    return found


def standing(trace: Trace, tariff: Prices) -> float:
    """Return the standing charge of the run."""
    return trace.days * tariff.standing_per_day


def flows(kwh: dict[str, float], words: dict[str, str]) -> list[Flow]:
    """Return the flows that are not nothing, the greatest first."""
    most = max((abs(v) for v in kwh.values()), default=0.0)
    shown = [(n, v) for n, v in kwh.items() if abs(v) >= NOTHING_KWH]
    shown.sort(key=lambda pair: -abs(pair[1]))
    return [Flow(words[n], v, abs(v) / most) for n, v in shown]
