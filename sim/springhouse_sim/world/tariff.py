"""What electricity costs at which time of the week."""

from dataclasses import dataclass, field

from ..plant import state as X
from .stage import MINUTE_MS, Events, Stage
from .windows import Window, minutes_to_edge


@dataclass(frozen=True)
class Rate:
    """A price [currency per kWh] and when it holds; ``windows`` empty: whenever no other does."""

    name: str
    price_kwh: float
    windows: tuple[Window, ...] = ()


@dataclass(frozen=True)
class Tariff:
    """Rates in order of precedence; the last one is the base rate, without windows.

    Raises:
        ValueError: when the base rate is missing, has windows, or is not the only one without,
            or when two rates share a name.
    """

    rates: tuple[Rate, ...]

    def __post_init__(self) -> None:
        if [i for i, rate in enumerate(self.rates) if not rate.windows] != [len(self.rates) - 1]:
            raise ValueError("Tariff.rates: the last rate, and no other, must have no windows")
        if len({rate.name for rate in self.rates}) != len(self.rates):
            raise ValueError("Tariff.rates: two rates have the same name")

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


def flat(price_kwh: float) -> Tariff:
    """Return the tariff of one price at all times."""
    return Tariff((Rate("flat", price_kwh),))


def two_rate(cheap_kwh: float, dear_kwh: float, cheap: tuple[Window, ...]) -> Tariff:
    """Return the tariff of a cheap price inside ``cheap`` and a dear one outside."""
    return Tariff((Rate("cheap", cheap_kwh, cheap), Rate("dear", dear_kwh)))


@dataclass
class Meter:
    """Reads the mains meter at every edge of the tariff and adds up energy by rate."""

    tariff: Tariff
    kwh: dict[str, float] = field(default_factory=dict)
    _last_j: float = 0.0
    _rate: Rate | None = None

    def act(self, stage: Stage) -> Events:
        """Follow the tariff through the week."""
        self.kwh = {rate.name: 0.0 for rate in self.tariff.rates}
        self._last_j = stage.state[X.MAINS_J]
        self._rate = None
        while True:
            self.read(float(stage.state[X.MAINS_J]))
            now_min = stage.calendar.week_min(stage.now_ms)
            self._rate = self.tariff.rate_at(now_min)
            into_minute_ms = stage.calendar.week_s(stage.now_ms) % 60 * 1000
            ahead_ms = self.tariff.minutes_to_edge(now_min) * MINUTE_MS - into_minute_ms
            yield stage.until(stage.now_ms + ahead_ms)

    def read(self, mains_j: float) -> None:
        """Book what was drawn since the last reading; call once more at the end of a run."""
        if self._rate is not None:
            self.kwh[self._rate.name] += (mains_j - self._last_j) / 3.6e6
        self._last_j = mains_j

    @property
    def cost(self) -> float:
        """Cost of all energy read so far, in the currency of the tariff."""
        return sum(self.kwh[rate.name] * rate.price_kwh for rate in self.tariff.rates)
