"""The plant's parameters on a log as a problem of least squares, each channel with its weight.

A residual of a model and of slow probes follows the one before it, so a thousand minutes are not a
thousand facts: the weight of each channel is divided by its autocorrelation time, as for any
correlated series (Sokal 1997; Geyer's initial sequence, 1992; both from memory), and none counts
for more than one reading in two hours. What is missed beyond what probes and switching times
explain comes of something that the model lacks. Such a thing comes back every day, so that much of
a miss counts as one reading a day.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from .model import CHANNELS, LAGS, Guess, Model
from .parameters import LAG_RANGE, Parameter

Array = NDArray[np.float64]

FIRST_SIGMA = (0.1, 0.1, 0.1, 0.3, 0.3, 5.0)  # K and W, until the residuals tell
# What the model itself misses, minutes in doubt at each switch among it, added in quadrature, and
# how long such a miss lasts; common practice, no source.
MODEL_SIGMA = (0.05, 0.05, 0.05, 0.1, 0.1, 1.0)
MODEL_MEMORY_S = 7200.0
# What a good probe and meter add: resolution of a sixteenth of a kelvin and noise, a hundredth of
# the freezer's power. Beyond both together something is amiss.
NOISE_SIGMA = (0.05, 0.05, 0.05, 0.1, 0.1, 2.0)
FLOOR = np.hypot(MODEL_SIGMA, NOISE_SIGMA)
DAY_S = 86400.0
MASS_K = 1.5  # prior of walls against air at the start of a stretch, standard deviation
WATER_K = 0.2  # of the water's mean against its probes', at the start of a stretch
UNLOGGED_W = 40.0  # of heat in the room of which the log says nothing
STEPS = {"log": 0.005, "mass": 0.2, "water": 0.05, "unlogged": 10.0, "offset": 0.05}
OFFSETS = 5  # probes; the meter has none
MOST_STEPS = 15
FAR = 12.0  # bounds of what has a prior, in its deviations: the prior holds it, no wall is to
MUCH = 1.2  # times as loose
CONTRADICTED = 2.0  # deviations from which on a log outweighs a prior: it is loosened


@dataclass(frozen=True)
class Missed:
    """What is missed in one channel, root mean square, and how much of it nothing explains."""

    rms: float
    floor: float

    @property
    def excess(self) -> float:
        """What probes and switching times do not explain."""
        return float(np.sqrt(max(0.0, self.rms**2 - self.floor**2)))


class Problem:
    """Parameters as one vector, residuals and Jacobian as least squares wants them.

    The vector: logarithms of (estimated, unsure) over the site's value; of each stretch the walls'
    and the water's warmth at its start [K]; unlogged heat [W]; the error of each probe [K].
    """

    def __init__(self, model: Model, wanted: list[Parameter], doubt: Mapping[str, float]) -> None:
        self.model = model
        self.wanted = wanted
        self.keys = [p.key for p in wanted] + list(doubt)
        self.logs, n = len(self.keys), len(model.stretches)
        ends = np.cumsum([self.logs, n, n, 1, OFFSETS])
        self.walls, self.water, self.unlogged, self.offsets = (
            slice(a, b) for a, b in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True)
        )
        errors = model.site.probe_errors_k.values()
        sd = [np.inf] * len(wanted) + list(doubt.values())
        sd += [MASS_K] * n + [WATER_K] * n + [UNLOGGED_W]
        self.prior = np.array([*sd, *(e / 2.0 for e in errors)])
        bounds = [(np.log(p.low / p.mid), np.log(p.high / p.mid)) for p in wanted]
        bounds += [(-FAR * s, FAR * s) for s in self.prior[len(wanted) :]]
        self.low, self.high = np.array(bounds).T
        self.stated = self.prior.copy()  # before any of them is loosened
        for key in set(LAGS) & set(doubt):
            i = self.keys.index(key)
            self.low[i], self.high[i] = np.log(LAG_RANGE)
        self.steps = np.full(len(self.low), STEPS["log"])
        for name in ("walls", "water", "unlogged", "offsets"):
            part = {"walls": "mass", "offsets": "offset"}.get(name, name)
            self.steps[getattr(self, name)] = STEPS[part]
        self.weight = np.ones(len(CHANNELS)) / np.array(FIRST_SIGMA)
        self.measured = np.concatenate([s.measured for s in model.stretches])
        self.used = np.isfinite(self.measured)
        self.period_s = float(np.median(np.diff(model.stretches[0].seconds)))

    def guess(self, v: Array, stretches: int | None = None) -> Guess:
        """Return what a vector means; for more stretches than fitted the rest begin plain."""
        values = {k: self.model.picked[k] * float(np.exp(v[i])) for i, k in enumerate(self.keys)}
        offset = np.zeros(len(CHANNELS))
        offset[:OFFSETS] = v[self.offsets]
        more = 0 if stretches is None else stretches - len(self.model.stretches)
        walls, water = (np.pad(v[part], (0, more)) for part in (self.walls, self.water))
        return Guess(values, walls, water, offset, float(v[self.unlogged][0]))

    def shown(self, v: Array, only: int | None = None) -> Array:
        """Return what would have been shown, shape (samples, channels)."""
        return np.concatenate(self.model.shown(self.guess(v), only=only))

    def residuals(self, v: Array) -> Array:
        """Return weighted misses, priors after them."""
        miss = (self.shown(v) - self.measured) * self.weight
        return np.concatenate([miss[self.used], (v / self.prior)[np.isfinite(self.prior)]])

    def jacobian(self, v: Array) -> Array:
        """Return the derivatives of `residuals`, by differences of the whole simulation."""
        here = self.shown(v)
        stretch = {i: n for part in (self.walls, self.water) for n, i in enumerate(_places(part))}
        columns = []
        for i in range(len(v)):
            if i >= self.offsets.start + 3:  # no state begins with the coil's probes
                slope = np.zeros_like(here)
                slope[:, i - self.offsets.start] = 1.0
            else:
                size = self.steps[i]
                there = self.shown(v + size * (np.arange(len(v)) == i), only=stretch.get(i))
                slope = np.nan_to_num((there - here) / size)  # 0 in stretches not followed
            columns.append((slope * self.weight)[self.used])
        rows = np.diag(1.0 / self.prior)[np.isfinite(self.prior)]
        return np.concatenate([np.array(columns).T, rows])

    def solve(self, v: Array, content: float) -> tuple[Array, bool]:
        """Return what fits best from ``v`` on at the present weights, and whether it was found."""
        found = least_squares(
            self.residuals, v, self.jacobian, (self.low, self.high), method="trf", ftol=content,
            xtol=1e-4, max_nfev=MOST_STEPS,
        )  # fmt: skip

        return np.asarray(found.x), found.status > 0

    def loosen(self, v: Array) -> bool:
        """Loosen priors that the log contradicts: heavy tails, for a label can be plainly wrong.

        Returns whether one became looser by much, so that it is worth while to solve again.
        """
        far = np.abs(v) > CONTRADICTED * self.stated
        before, self.prior = self.prior, np.where(far, np.abs(v), self.stated)
        priors = np.isfinite(self.stated)
        return bool((self.prior[priors] > MUCH * before[priors]).any())

    def missed(self, v: Array, held_out: Mapping[int, float]) -> list[Missed]:
        """Return what is missed by channel, in the fitted or the held-out part, which is worse."""
        miss = self.shown(v) - self.measured
        found = []
        for c in range(len(CHANNELS)):
            r = miss[self.used[:, c], c]
            rms = float(np.sqrt(np.mean(r**2))) if len(r) else 0.0
            found.append(Missed(max(rms, held_out.get(c, 0.0)), float(FLOOR[c])))
        return found

    def reweigh(self, v: Array, missed: list[Missed]) -> Array:
        """Set the weights from the residuals; return the independent readings of each channel."""
        miss = self.shown(v) - self.measured
        effective = np.zeros(len(CHANNELS))
        day = DAY_S / self.period_s
        for c in range(len(CHANNELS)):
            r = miss[self.used[:, c], c]
            n = len(r)
            if n < 10:
                continue
            plain = min(float(np.sqrt(np.mean(r**2))), missed[c].floor)
            time = min(n, max(correlation_time(r), MODEL_MEMORY_S / self.period_s))
            summed = (plain**2 + MODEL_SIGMA[c] ** 2) * time
            summed += missed[c].excess ** 2 * min(n, max(time, day))
            effective[c] = n * (plain**2 + MODEL_SIGMA[c] ** 2 + missed[c].excess ** 2) / summed
            self.weight[c] = 1.0 / np.sqrt(summed)
        return effective


def _places(part: slice) -> range:
    return range(part.start, part.stop)


def correlation_time(r: Array) -> float:
    """Return how many readings in a row count as one: 1 + 2 sum of the autocorrelations.

    Summed in pairs until a pair is no longer positive (Geyer 1992). About the mean of zero, so
    that a constant miss counts as correlation too.
    """
    n = len(r)
    power = np.abs(np.fft.rfft(r, 2 * n)) ** 2
    acf = np.fft.irfft(power)[:n]
    if acf[0] <= 0.0:
        return 1.0
    acf = acf / acf[0]
    pairs = acf[: n - n % 2].reshape(-1, 2).sum(axis=1)
    ends = np.flatnonzero(pairs <= 0.0)
    stop = int(ends[0]) if len(ends) else len(pairs)
    return float(min(n, max(1.0, 2.0 * pairs[:stop].sum() - 1.0)))


def covariance_of(jacobian: Array) -> Array:
    """Return the covariance of what weighted residuals of unit variance tell.

    By singular values, none taken as less than a trillionth of the largest: what nothing tells is
    then as good as boundless, where a pseudo-inverse would call it exactly known.
    """
    _, s, rows = np.linalg.svd(jacobian, full_matrices=False)
    half = rows.T / np.maximum(s, 1e-12 * s[0])
    return np.asarray(half @ half.T)
