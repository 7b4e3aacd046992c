"""What electricity costs at which time of the week."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from ..plant import state
from .stage import MINUTE_MS, Events, Stage
from .windows import Window, minutes_to_edge


@dataclass(frozen=True)
class Rate:
    """A price [currency per kWh] and when it holds; ``windows`` empty: whenever no other does."""

    name: str
    price_kwh: float
    windows: tuple[Window, ...] = ()


class Prices(Protocol):
    """What a meter needs to know about the price of electricity."""

    @property
    def standing_per_day(self) -> float:
        """What a day costs before anything is used."""
        ...

    @property
    def names(self) -> tuple[str, ...]:
        """Names under which energy is added up."""
        ...

    def rate(self, local: datetime) -> Rate:
        """Return the rate in force at a local time."""
        ...

    def minutes_to_change(self, local: datetime) -> int:
        """Return the minutes for which it surely holds, at least 1."""
        ...


@dataclass(frozen=True)
class Tariff:
    """Rates in order of precedence; the last one is the base rate, without windows.

    Raises:
        ValueError: when the base rate is missing, has windows, or is not the only one without,
            when two rates share a name, or on a negative standing charge.
    """

    rates: tuple[Rate, ...]
    standing_per_day: float = 0.0

    def __post_init__(self) -> None:
        if [i for i, rate in enumerate(self.rates) if not rate.windows] != [len(self.rates) - 1]:
            raise ValueError("Tariff.rates: the last rate, and no other, must have no windows")
        if len({rate.name for rate in self.rates}) != len(self.rates):
            raise ValueError("Tariff.rates: two rates have the same name")
        if self.standing_per_day < 0.0:
            raise ValueError(f"Tariff.standing_per_day: {self.standing_per_day:g} is below 0")

    @property
    def names(self) -> tuple[str, ...]:
        """Names under which energy is added up."""
        return tuple(rate.name for rate in self.rates)

    def rate(self, local: datetime) -> Rate:
        """Return the rate in force at a local time."""
        return self.rate_at(_week_min(local))

    def minutes_to_change(self, local: datetime) -> int:
        """Return the minutes until a window next opens or closes, 1 to 10080."""
        return self.minutes_to_edge(_week_min(local))

    def rate_at(self, week_min: int) -> Rate:
        """Return the rate in force at a local minute of the week."""
        for rate in self.rates:
            if any(window.contains(week_min) for window in rate.windows):
                return rate
        return self.rates[-1]

    def price_at(self, week_min: int) -> float:
        """Return the price in force at a local minute of the week [currency per kWh]."""
        return self.rate_at(week_min).price_kwh

    def minutes_to_edge(self, week_min: int) -> int:
        """Return the minutes until a window next opens or closes, 1 to 10080."""
        return minutes_to_edge((w for r in self.rates for w in r.windows), week_min)


def _week_min(local: datetime) -> int:
    return local.weekday() * 1440 + local.hour * 60 + local.minute


def flat(price_kwh: float, standing_per_day: float = 0.0) -> Tariff:
    """Return the tariff of one price at all times."""
    return Tariff((Rate("flat", price_kwh),), standing_per_day)


def two_rate(
    cheap_kwh: float, dear_kwh: float, cheap: tuple[Window, ...], standing_per_day: float = 0.0
) -> Tariff:
    """Return the tariff of a cheap price inside ``cheap`` and a dear one outside."""
    return Tariff((Rate("cheap", cheap_kwh, cheap), Rate("dear", dear_kwh)), standing_per_day)


@dataclass
class Meter:
    """Reads the mains meter whenever the price may change; adds up energy by rate and its cost."""

    tariff: Prices
    kwh: dict[str, float] = field(default_factory=dict)
    cost: float = 0.0  # in the currency of the tariff
    _last_j: float = 0.0
    _rate: Rate | None = None

    def act(self, stage: Stage) -> Events:
        """Follow the tariff through the week."""
        self.kwh = dict.fromkeys(self.tariff.names, 0.0)
        self.cost = 0.0
        self._last_j = stage.state[state.MAINS_J]
        self._rate = None
        while True:
            self.read(float(stage.state[state.MAINS_J]))
            local = stage.calendar.local(stage.now_ms)
            self._rate = self.tariff.rate(local)
            ahead_ms = self.tariff.minutes_to_change(local) * MINUTE_MS - local.second * 1000
            yield stage.until(stage.now_ms + ahead_ms)

    def read(self, mains_j: float) -> None:
        """Book what was drawn since the last reading."""
        if self._rate is not None:
            kwh = (mains_j - self._last_j) / 3.6e6
            self.kwh[self._rate.name] += kwh
            self.cost += kwh * self._rate.price_kwh
        self._last_j = mains_j

    def close(self, mains_j: float, days: float) -> None:
        """Read once more at the end of a run of so many days and add the standing charge."""
        self.read(mains_j)
        self.cost += days * self.tariff.standing_per_day
