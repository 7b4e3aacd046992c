"""What to measure next: how much of the doubt each guided measurement takes away.

The room's warmth is fitted as a sum over the inputs, each by the place of its value among its draws
(standardised regression coefficients, least squares). The square of a coefficient over the sum of
all of them and of what the fit leaves is the input's first-order share of the variance where the
inputs act one by one, and the fit's own share says how far that is so. This needs no run beyond the
sample; the Sobol indices of a library would need a design of its own, some twenty times as many.

The expected share after a measurement is the share before it, whatever is measured: what changes is
how surely the answer is yes or no. So it is said how likely the verdict is settled afterwards, for
values to be measured that are themselves drawn from the table.
"""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

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
    share_if_good_percent: float  # share in the better half of its outcomes, on average

    @property
    def words(self) -> str:
        """What to do and what it takes."""
        words, minutes, hours = NARROWED[self.by]
        return f"{words} ({minutes} min of work, {hours} h)"


def fit(sample: Sample) -> tuple[np.ndarray, float]:
    """Return (coefficient of each input [K], spread of what the fit leaves [K])."""
    places = np.argsort(np.argsort(sample.inputs(), axis=0), axis=0)
    count, inputs = places.shape
    x = (places - (count - 1) / 2.0) / (count / 12.0**0.5)
    warmth = np.array([row.warmth_c for row in sample.rows])
    y = warmth - warmth.mean()
    slopes = np.linalg.lstsq(x, y, rcond=None)[0]
    left = y - x @ slopes
    return slopes, float(np.sqrt((left**2).sum() / max(1, count - inputs)))


def measurements(sample: Sample, limit_c: float) -> list[Measurement]:
    """Return the guided measurements, the one that takes most of the doubt first."""
    from scipy.stats import norm

    slopes, left_k = fit(sample)
    mean_c = float(np.mean([row.warmth_c for row in sample.rows]))
    whole = float((slopes**2).sum()) + left_k**2
    keys = defaultdict(list)
    for number, doubted in enumerate(sample.doubts):
        if doubted.by:
            keys[doubted.by].append(number)
    found = []
    for by, numbers in keys.items():
        taken = (1.0 - LEFT) * float((slopes[numbers] ** 2).sum())
        rest_k = max(1e-6, whole - taken) ** 0.5
        quantiles = (np.arange(OUTCOMES) + 0.5) / OUTCOMES
        outcomes_c = mean_c + taken**0.5 * norm.ppf(quantiles)
        share = 100.0 * norm.cdf((limit_c - outcomes_c) / rest_k)
        settled = (share >= sample.wanted_percent) | (share < 50.0)
        found.append(
            Measurement(
                by,
                tuple(sample.doubts[n].key for n in numbers),
                100.0 * taken / whole if whole > 0.0 else 0.0,
                100.0 * float(settled.mean()),
                float(share[: OUTCOMES // 2].mean()),
            )
        )
    return sorted(found, key=lambda m: -m.taken_percent)
