"""Least squares of the plant's parameters on a log, with intervals that do not flatter.

Gauss-Newton on logarithms (scipy's least squares within bounds); how a channel is weighed is said
in `problem.py`, what is done about what the model lacks in `amiss.py`. What the log cannot tell but
the answer rests on (a constant error and the lag of each probe, unlogged heat, how warm walls and
water began, air flow, condenser, ...) is estimated along under a stated prior, so that its doubt
is part of every interval.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import t as student

from ..errors import KnownError
from ..site import Site
from . import amiss
from .log import TIME, Log, read_columns, read_log
from .model import CHANNELS, LAGS, Model, make_model
from .parameters import FITTED, LAG_SD, Parameter, needs, parameter, unsure
from .problem import MASS_K, MOST_STEPS, UNLOGGED_W, WATER_K, Problem, covariance_of

Array = NDArray[np.float64]

FIT_SHARE = 0.75  # of the samples; the rest is held out and only predicted
# Standard deviation added to every logarithm, for a real plant is no twin of the model; common
# practice, no source.
MODEL_SHARE = 0.01
PASSES = (1e-3, 1e-4)  # of the cost, at which each pass is content
MOST_PASSES = 4  # while priors that the log contradicts are loosened
CONFIDENCE = 0.95
WIDEST = 0.5  # half the interval over the value; a wider one tells no more than a label
AT_BOUND = 0.01
COUPLED = 0.98
LEAST_HELD_OUT = 60  # readings of a channel, before their miss is one
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
    problem = Problem(model, wanted, doubt)
    start = np.zeros(len(problem.low))
    v = start
    effective, settled = np.zeros(len(CHANNELS)), True
    for n in range(MOST_PASSES):
        on_step(f"fitting, pass {n + 1}")
        v, settled = problem.solve(v, PASSES[min(n, len(PASSES) - 1)])
        missed = problem.missed(v, _held_out(problem, whole, v))
        effective = problem.reweigh(v, missed)
        loosened = problem.loosen(v)
        if n + 1 >= len(PASSES) and not loosened:
            break
    amiss.refuse(log, missed)
    whole.notes.extend(amiss.notes(problem, v, missed))
    if not settled:
        whole.notes.append(
            f"not settled after {MOST_STEPS} steps: the values may lie beside the best"
        )
    on_step("intervals")
    return _outcome(problem, whole, start, v, effective, log, doubt)


def _held_out(problem: Problem, whole: Model, v: Array) -> dict[int, float]:
    """Return the root mean square of what is missed in the part held out, by channel."""
    guess = problem.guess(v, len(whole.stretches))
    last_s = problem.model.stretches[-1].seconds[-1]
    seconds = np.concatenate([s.seconds for s in whole.stretches])
    measured = np.concatenate([s.measured for s in whole.stretches])
    miss = (np.concatenate(whole.shown(guess)) - measured)[seconds > last_s]
    found = {}
    for c in range(len(CHANNELS)):
        r = miss[np.isfinite(miss[:, c]), c]
        if len(r) >= LEAST_HELD_OUT:
            found[c] = float(np.sqrt(np.mean(r**2)))
    return found


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
    problem: Problem,
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
    for key in LAGS:
        priors[key] = f"{LAG_SD:g} of its logarithm (in a well: ten times slower)"
    priors["walls against air at the start"] = f"{MASS_K:g} K"
    priors["water against its probes at the start"] = f"{WATER_K:g} K"
    priors["heat that is not logged"] = f"{UNLOGGED_W:g} W"
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


def _refuse_untold(log: Log, problem: Problem, v: Array, half: Array, correlation: Array) -> None:
    """Refuse an interval that is too wide, or a value at the end of what it may be.

    Raises:
        KnownError: a line for each, with what it cannot be told from and what to log.
    """
    advice = {need.key: need.more for need in needs(problem.model)}
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
                f"most ±{100.0 * WIDEST:.0f} % is of use: {advice[p.key]}, or --hold {p.key}"
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
    log: Log, problem: Problem, whole: Model, start: Array, v: Array
) -> tuple[pd.DataFrame, NDArray[np.bool_]]:
    """Return every channel measured, before and after, and which rows were held out.

    A stretch that begins after the fitted part starts with walls as warm as its air.
    """
    seconds = np.concatenate([s.seconds for s in whole.stretches])
    measured = np.concatenate([s.measured for s in whole.stretches])
    shown = {}
    for name, vector in (("before", start), ("after", v)):
        guess = problem.guess(vector, len(whole.stretches))
        shown[name] = np.concatenate(whole.shown(guess))
    columns = {}
    for c, channel in enumerate(CHANNELS):
        columns[f"measured_{channel}"] = measured[:, c]
        for name, values_of in shown.items():
            columns[f"{name}_{channel}"] = values_of[:, c]
    index = log.table.index[0] + pd.to_timedelta(seconds, unit="s")
    held_out = seconds > problem.model.stretches[-1].seconds[-1]
    return pd.DataFrame(columns, index=pd.DatetimeIndex(index, name=TIME)), held_out
