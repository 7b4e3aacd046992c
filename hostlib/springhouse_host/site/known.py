"""A number and how well it is known."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from .fields import Given, Grade

Variant = Literal["low", "mid", "high"]
VARIANTS: tuple[Variant, ...] = ("low", "mid", "high")


@dataclass(frozen=True)
class Known:
    """A value with its range, its grade and where it comes from.

    ``better`` says which end of the range helps the installation: +1 more, -1 less, 0 neither.
    """

    low: float
    mid: float
    high: float
    unit: str
    grade: Grade
    source: str
    better: int = 0

    def pick(self, variant: Variant) -> float:
        """Return the value for the weakest, the middle or the strongest installation."""
        if variant == "mid" or self.better == 0:
            return self.mid
        strong = variant == "high"
        return self.high if strong == (self.better > 0) else self.low


def ratios(low: float, mid: float, high: float) -> tuple[float, float]:
    """Return the factors that lead from the middle to the low and the high end."""
    return low / mid, high / mid


def stated(given: Given, unit: str, better: int, spread: tuple[float, float]) -> Known:
    """Return a value the owner stated.

    Read from a label it runs over ``spread`` (factors for low and high); measured or fitted it
    stands as it is unless the file gives low and high.
    """
    low_factor, high_factor = spread if given.grade == "label" else (1.0, 1.0)
    return Known(
        low=given.low if given.low is not None else given.value * low_factor,
        mid=given.value,
        high=given.high if given.high is not None else given.value * high_factor,
        unit=unit,
        grade=given.grade,
        source="stated in the site file",
        better=better,
    )


def derived(
    mid: float,
    unit: str,
    source: str,
    *,
    better: int = 0,
    spread: tuple[float, float] = (1.0, 1.0),
) -> Known:
    """Return a value worked out from labels and tape measure."""
    return Known(mid * spread[0], mid, mid * spread[1], unit, "label", source, better)


def put(
    known: dict[str, Known], key: str, given: Given | None, fallback: Callable[[], Known]
) -> None:
    """File a value under its key: the owner's if stated, else the derived one."""
    value = fallback()
    if given is not None:
        spread = ratios(value.low, value.mid, value.high) if value.mid else (1.0, 1.0)
        value = stated(given, value.unit, value.better, spread)
    known[key] = value
