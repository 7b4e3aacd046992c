"""Least squares of the plant's parameters on a log, with intervals that do not flatter.

Gauss-Newton on logarithms (scipy's least squares within bounds). The residuals of a model and of
slow probes follow one another, so a thousand minutes are not a thousand facts: the weight of each
channel is divided by its autocorrelation time, as for any correlated series (Sokal 1997; Geyer's
initial sequence, 1992; both from memory), and none counts for more than one reading in two hours.
What the log cannot tell but the answer rests on (a constant error of each probe, the warmth of the
walls at the start, air flow, condenser, ...) is estimated along under a stated prior, so that its
doubt is part of every interval.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.stats import t as student

from ..errors import KnownError
from ..site import Site
from .log import TIME, Log, read_columns, read_log
from .model import CHANNELS, Model, make_model
from .parameters import FITTED, Parameter, needs, parameter, unsure

Array = NDArray[np.float64]

FIT_SHARE = 0.75  # of the samples; the rest is held out and only predicted
FIRST_SIGMA = (0.1, 0.1, 0.1, 0.3, 0.3, 5.0)  # K and W, until the residuals tell
# What the model itself misses, minutes in doubt at each switch among it, added in quadrature, and
# how long such a miss lasts; common practice, no source.
MODEL_SIGMA = (0.05, 0.05, 0.05, 0.1, 0.1, 1.0)
MODEL_MEMORY_S = 7200.0
# Standard deviation added to every logarithm, for a real plant is no twin of the model; common
# practice, no source. Of simulated sites 70 intervals in 70 hold the truth without it too.
MODEL_SHARE = 0.01
MASS_K = 1.5  # prior of walls against air at the start of a stretch, standard deviation
LOG_STEP, MASS_STEP_K, OFFSET_STEP_K = 0.005, 0.2, 0.05
OFFSETS = 5  # probes; the meter has none
PASSES = (1e-3, 1e-4)  # of the cost, at which each pass is content
MOST_STEPS = 15
FAR = 12.0  # bounds of what has a prior, in its deviations: the prior holds it, no wall is to
CONFIDENCE = 0.95
WIDEST = 0.5  # half the interval over the value; a wider one tells no more than a label
AT_BOUND = 0.01
COUPLED = 0.98
OUTDOOR_SILENT_H = 3.0  # between two outdoor readings, before it is told


@dataclass(frozen=True)
class Estimate:
    """One parameter: what the site said, what the log says, and how surely."""

    key: str
    unit: str
    before: float
    value: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Fitted:
    """The outcome of a fit."""

    site: Site
    log: Log
    estimates: tuple[Estimate, ...]
    rms: pd.DataFrame  # by channel: before and after, of the part fitted to and the part held out
    condition: float  # of the scaled Jacobian of what is estimated
    correlation: pd.DataFrame
    effective: Mapping[str, float]  # independent readings by channel
    flow_factor: float
    priors: Mapping[str, str]
    notes: tuple[str, ...]
    minutes: pd.DataFrame  # by local time: each channel measured, before and after
    held_out_from: pd.Timestamp

    @property
    def table(self) -> pd.DataFrame:
        """Estimates by key: unit, before, value, and the ends of the 95 % interval."""
        rows = [vars(e) for e in self.estimates]
        return pd.DataFrame(rows).set_index("key")


class _Problem:
    """Parameters as one vector, residuals and Jacobian as least squares wants them.

    The vector: logarithms of (estimated, unsure) over the site's value, then the walls' warmth of
    each stretch [K], then the error of each probe [K].
    """

    def __init__(self, model: Model, wanted: list[Parameter], doubt: Mapping[str, float]) -> None:
        self.model = model
        self.wanted = wanted
        self.keys = [p.key for p in wanted] + list(doubt)
        self.logs, self.walls = len(self.keys), len(model.stretches)
        errors = model.site.probe_errors_k.values()
        sd = [np.inf] * len(wanted) + list(doubt.values()) + [MASS_K] * self.walls
        self.prior = np.array([*sd, *(e / 2.0 for e in errors)])
        bounds = [(np.log(p.low / p.mid), np.log(p.high / p.mid)) for p in wanted]
        bounds += [(-FAR * s, FAR * s) for s in self.prior[len(wanted) :]]
        self.low, self.high = np.array(bounds).T
        self.weight = np.ones(len(CHANNELS)) / np.array(FIRST_SIGMA)
        self.measured = np.concatenate([s.measured for s in model.stretches])
        self.used = np.isfinite(self.measured)
        self.period_s = float(np.median(np.diff(model.stretches[0].seconds)))

    def split(self, v: Array) -> tuple[dict[str, float], Array, Array]:
        """Return values by key, warmth of the walls, error of each channel."""
        values = {k: self.model.picked[k] * float(np.exp(v[i])) for i, k in enumerate(self.keys)}
        offset = np.zeros(len(CHANNELS))
        offset[:OFFSETS] = v[self.logs + self.walls :]
        return values, v[self.logs : self.logs + self.walls], offset

    def shown(self, v: Array, only: int | None = None) -> Array:
        """Return what would have been shown, shape (samples, channels)."""
        return np.concatenate(self.model.shown(*self.split(v), only=only))

    def residuals(self, v: Array) -> Array:
        """Return weighted misses, priors after them."""
        miss = (self.shown(v) - self.measured) * self.weight
        return np.concatenate([miss[self.used], (v / self.prior)[np.isfinite(self.prior)]])

    def jacobian(self, v: Array) -> Array:
        """Return the derivatives of `residuals`, by differences of the whole simulation."""
        here = self.shown(v)
        columns = []
        for i in range(len(v)):
            stretch = i - self.logs if self.logs <= i < self.logs + self.walls else None
            if i >= self.logs + self.walls + 3:  # no state begins with the coil's probes
                slope = np.zeros_like(here)
                slope[:, i - self.logs - self.walls] = 1.0
            else:
                size = LOG_STEP if i < self.logs else OFFSET_STEP_K
                size = size if stretch is None else MASS_STEP_K
                there = self.shown(v + size * (np.arange(len(v)) == i), only=stretch)
                slope = np.nan_to_num((there - here) / size)  # 0 in stretches not followed
            columns.append((slope * self.weight)[self.used])
        rows = np.diag(1.0 / self.prior)[np.isfinite(self.prior)]
        return np.concatenate([np.array(columns).T, rows])

    def solve(self, v: Array, content: float) -> tuple[Array, bool]:
        """Return what fits best from ``v`` on at the present weights, and whether it was found."""
        found = least_squares(
            self.residuals, v, self.jacobian, (self.low, self.high), method="dogbox", ftol=content,
            xtol=1e-4, max_nfev=MOST_STEPS,
        )  # fmt: skip

        return np.asarray(found.x), found.status > 0

    def reweigh(self, v: Array) -> Array:
        """Set the weights from the residuals; return the independent readings of each channel."""
        miss = self.shown(v) - self.measured
        effective = np.zeros(len(CHANNELS))
        for c in range(len(CHANNELS)):
            r = miss[self.used[:, c], c]
            if len(r) < 10:
                continue
            sigma = float(np.hypot(np.sqrt(np.mean(r**2)), MODEL_SIGMA[c]))
            time = min(len(r), max(correlation_time(r), MODEL_MEMORY_S / self.period_s))
            effective[c] = len(r) / time
            self.weight[c] = 1.0 / (sigma * np.sqrt(time))
        return effective


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


def fit(
    site: Site,
    path: Path,
    outdoor: Path | None = None,
    hold: tuple[str, ...] = (),
    on_step: Callable[[str], None] = lambda text: None,
) -> Fitted:
    """Return what a log says of a site, see `notebook.fit`."""
    unknown = [key for key in hold if key not in FITTED]
    if unknown:
        raise KnownError(f"--hold {unknown[0]}: one of {', '.join(FITTED)}")
    log = read_log(path, site)
    if outdoor is not None:
        log = _with_outdoor(log, outdoor)
    on_step("reading the log")
    whole = make_model(site, log)
    model = whole.first(FIT_SHARE)
    wanted = [parameter(site, key) for key in FITTED if key not in hold]
    if "freezer.input_factor" not in hold and not log.has("freezer_w"):
        wanted = [p for p in wanted if p.key != "freezer.input_factor"]
        note = "freezer.input_factor stays: no column freezer_w (a plug-in meter's watts)"
        whole.notes.append(note)
    if not wanted:
        raise KnownError("--hold: every parameter is held: nothing to fit")
    _refuse_unexcited(log, model, wanted)
    doubt = unsure(site, model, log.has("place_c"))
    problem = _Problem(model, wanted, doubt)
    start = np.zeros(len(problem.low))
    v = start
    effective, settled = np.zeros(len(CHANNELS)), True
    for n, content in enumerate(PASSES):
        on_step(f"fitting, pass {n + 1} of {len(PASSES)}")
        v, settled = problem.solve(v, content)
        effective = problem.reweigh(v)
    if not settled:
        whole.notes.append(
            f"not settled after {MOST_STEPS} steps: the values may lie beside the best"
        )
    on_step("intervals")
    return _outcome(problem, whole, start, v, effective, log, doubt)


def _with_outdoor(log: Log, path: Path) -> Log:
    given = read_columns(path, ("outdoor_c",), ("outdoor_c", "sun_w"))
    table, notes = log.table.copy(), list(log.notes)
    if given.index[0] > table.index[0] or given.index[-1] < table.index[-1]:
        raise KnownError(
            f"{path}: from {given.index[0]} to {given.index[-1]}: the log runs from "
            f"{table.index[0]} to {table.index[-1]}"
        )
    for name in given.columns:
        both = given[name].dropna()
        if both.empty:
            raise KnownError(f"{path}: column {name}: not one number")
        at = table.index.to_numpy().astype("datetime64[s]").astype(np.float64)
        seconds = both.index.to_numpy().astype("datetime64[s]").astype(np.float64)
        table[name] = np.interp(at, seconds, both.to_numpy())
        silent_h = float(np.diff(seconds).max(initial=0.0)) / 3600.0
        if silent_h > OUTDOOR_SILENT_H:
            notes.append(f"{path}: column {name}: a straight line over {silent_h:.1f} h of silence")
    return Log(log.path, table.rename_axis(TIME), tuple(notes))


def _refuse_unexcited(log: Log, model: Model, wanted: list[Parameter]) -> None:
    keys = {p.key for p in wanted}
    lines = [
        f"{log.path}: {need.key}: {need.has:.1f} {need.unit} of {need.of}".replace("  ", " ")
        + f", at least {need.least:g} needed: log {need.log}, or --hold {need.key}"
        for need in needs(model)
        if need.key in keys and need.has < need.least
    ]
    if lines:
        raise KnownError(lines)


def _outcome(
    problem: _Problem,
    whole: Model,
    start: Array,
    v: Array,
    effective: Array,
    log: Log,
    doubt: Mapping[str, float],
) -> Fitted:
    model, wanted = problem.model, problem.wanted
    n = len(wanted)
    jacobian = problem.jacobian(v)
    covariance = covariance_of(jacobian)
    sd = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sd, sd)
    scaled = jacobian[:, :n] / np.linalg.norm(jacobian[:, :n], axis=0)
    freedom = max(3.0, effective.sum() - n)
    half = float(student.ppf(0.5 + CONFIDENCE / 2.0, freedom)) * np.hypot(sd[:n], MODEL_SHARE)
    _refuse_untold(log, problem, v, half, correlation)
    estimates = []
    for i, p in enumerate(wanted):
        value, low, high = (float(p.mid * np.exp(v[i] + k * half[i])) for k in (0, -1, 1))
        estimates.append(Estimate(p.key, p.unit, p.mid, value, low, high))
    minutes, held_out = _minutes(log, problem, whole, start, v)
    keys = [p.key for p in wanted]
    priors = {key: f"{100.0 * s:.0f} % (half the label's range)" for key, s in doubt.items()}
    priors["walls against air at the start"] = f"{MASS_K:g} K"
    for probe, k in model.site.probe_errors_k.items():
        priors[f"constant error of {probe}"] = f"{k / 2.0:g} K (half its error budget)"
    return Fitted(
        site=model.site,
        log=log,
        estimates=tuple(estimates),
        rms=_rms(minutes, held_out),
        condition=float(np.linalg.cond(scaled)),
        correlation=pd.DataFrame(correlation[:n, :n], index=keys, columns=keys),
        effective=dict(zip(CHANNELS, effective.tolist(), strict=True)),
        flow_factor=model.flow_factor,
        priors=priors,
        notes=tuple(whole.notes),
        minutes=minutes,
        held_out_from=minutes.index[int(np.argmax(held_out))],
    )


def _refuse_untold(log: Log, problem: _Problem, v: Array, half: Array, correlation: Array) -> None:
    """Refuse an interval that is too wide, or a value at the end of what it may be.

    Raises:
        KnownError: a line for each, with what it cannot be told from and what to log.
    """
    advice = {need.key: need.log for need in needs(problem.model)}
    lines = []
    for i, p in enumerate(problem.wanted):
        value = p.mid * float(np.exp(v[i]))
        if min(v[i] - problem.low[i], problem.high[i] - v[i]) < AT_BOUND:
            lines.append(
                f"{log.path}: {p.key}: ends at {value:.3g} {p.unit}, the edge of {p.low:.3g} to "
                f"{p.high:.3g} that the site's label allows: check label, probes and log, or "
                f"--hold {p.key}"
            )
        elif half[i] > WIDEST:
            others = np.abs(np.delete(correlation[i, : len(problem.keys)], i))
            k = int(np.argmax(others))
            twin = [key for j, key in enumerate(problem.keys) if j != i][k]
            told = f", hardly told from {twin}" if others[k] > COUPLED else ""
            lines.append(
                f"{log.path}: {p.key}: {value:.3g} {p.unit} ±{100.0 * half[i]:.0f} %{told}, at "
                f"most ±{100.0 * WIDEST:.0f} % is of use: log {advice[p.key]}, or --hold {p.key}"
            )
    if lines:
        raise KnownError(lines)


def _rms(minutes: pd.DataFrame, held_out: NDArray[np.bool_]) -> pd.DataFrame:
    rows = {}
    for channel in CHANNELS:
        row = {}
        for part, rows_of in (("fitted", ~held_out), ("held_out", held_out)):
            for when in ("before", "after"):
                miss = minutes[f"{when}_{channel}"] - minutes[f"measured_{channel}"]
                row[f"{part}_{when}"] = float(np.sqrt((miss[rows_of] ** 2).mean()))
        rows[channel] = row
    return pd.DataFrame(rows).T.rename_axis("channel")


def _minutes(
    log: Log, problem: _Problem, whole: Model, start: Array, v: Array
) -> tuple[pd.DataFrame, NDArray[np.bool_]]:
    """Return every channel measured, before and after, and which rows were held out.

    A stretch that begins after the fitted part starts with walls as warm as its air.
    """
    seconds = np.concatenate([s.seconds for s in whole.stretches])
    measured = np.concatenate([s.measured for s in whole.stretches])
    shown = {}
    for name, vector in (("before", start), ("after", v)):
        values, walls, offset = problem.split(vector)
        walls = np.pad(walls, (0, len(whole.stretches) - len(walls)))
        shown[name] = np.concatenate(whole.shown(values, walls, offset))
    columns = {}
    for c, channel in enumerate(CHANNELS):
        columns[f"measured_{channel}"] = measured[:, c]
        for name, values_of in shown.items():
            columns[f"{name}_{channel}"] = values_of[:, c]
    index = log.table.index[0] + pd.to_timedelta(seconds, unit="s")
    held_out = seconds > problem.model.stretches[-1].seconds[-1]
    return pd.DataFrame(columns, index=pd.DatetimeIndex(index, name=TIME)), held_out
