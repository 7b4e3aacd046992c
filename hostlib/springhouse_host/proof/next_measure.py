"""What to measure next: how much of the doubt each guided measurement takes away.

The room's warmth is fitted as a sum over the inputs, all replaced by the normal quantiles of their
ranks (standardised regression coefficients, least squares): a promise is kept below one of them as
it is below a temperature. The square of a coefficient over the sum of all of them and of what the
fit leaves is the input's first-order share of the variance where the inputs act one by one; how
far that is so is told. This needs no run beyond the sample; the Sobol indices of a library would
need a design of their own, some twenty times as many.

The expected share after a measurement is the share before it, whatever is measured: what changes is
how surely the answer is yes or no. So it is said how likely the verdict is settled afterwards, for
values to be measured that are themselves drawn from the table.
"""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..site.doubt import NARROWED
from .plausible import Sample

LEFT = 0.25  # of an input's variance, after it was measured; common practice, no source
OUTCOMES = 401  # quantiles of what a measurement may find
NAMED = 3


@dataclass(frozen=True)
class Measurement:
    """A guided measurement and what it does to the doubt about the room."""

    by: str
    keys: tuple[str, ...]
    taken_percent: float  # of the variance of the room's warmth
    settled_percent: float  # of outcomes: enough or less than half of the rest then keep all

    @property
    def words(self) -> str:
        """What to do and what it takes."""
        words, minutes, hours = NARROWED[self.by]
        return f"{words} ({minutes} min of work, {hours} h)"


def scores(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return values replaced by the normal quantiles of their ranks, along the first axis."""
    from scipy.special import ndtri
    from scipy.stats import rankdata

    found: NDArray[np.float64] = ndtri((rankdata(values, axis=0) - 0.5) / len(values))
    return found


def fit(sample: Sample) -> tuple[NDArray[np.float64], float]:
    """Return (slope for each input, spread of what the fit leaves), of a whole near 1."""
    x = scores(sample.inputs())
    y = scores(np.array([row.warmth_c for row in sample.rows]))
    slopes: NDArray[np.float64] = np.asarray(np.linalg.lstsq(x, y, rcond=None)[0], np.float64)
    left = y - x @ slopes
    count, inputs = x.shape
    return slopes, float(np.sqrt((left**2).sum() / max(1, count - inputs)))


def fitted_percent(sample: Sample) -> float:
    """Return how much of the room's warmth is a sum over the inputs [%]."""
    slopes, left = fit(sample)
    acted = float((slopes**2).sum())
    return 100.0 * acted / (acted + left**2)


def measurements(sample: Sample, limit_c: float) -> list[Measurement]:
    """Return the guided measurements, the one that takes most of the doubt first."""
    from scipy.special import ndtr, ndtri

    slopes, left = fit(sample)
    below = np.mean([row.warmth_c <= limit_c for row in sample.rows])
    half = 0.5 / len(sample.rows)
    limit = float(ndtri(np.clip(below, half, 1.0 - half)))
    whole = float((slopes**2).sum()) + left**2
    keys = defaultdict(list)
    for number, doubted in enumerate(sample.doubts):
        if doubted.by:
            keys[doubted.by].append(number)
    found = []
    outcomes = ndtri((np.arange(OUTCOMES) + 0.5) / OUTCOMES)
    for by, numbers in keys.items():
        taken = (1.0 - LEFT) * float((slopes[numbers] ** 2).sum())
        rest = max(1e-12, whole - taken) ** 0.5
        share = 100.0 * ndtr((limit - taken**0.5 * outcomes) / rest)
        settled = (share >= sample.wanted_percent) | (share < 50.0)
        found.append(
            Measurement(
                by,
                tuple(sample.doubts[n].key for n in numbers),
                100.0 * taken / whole if whole > 0.0 else 0.0,
                100.0 * float(settled.mean()),
            )
        )
    return sorted(found, key=lambda m: -m.taken_percent)
