"""What a report keeps of one run: thinned columns, exact spans, sentences, sums."""

import json
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from springhouse import output
from springhouse_sim.trace import Trace

from ..figures import run_figures
from ..proof import running
from ..proof.scenarios import Scenario, without_store
from ..site.promises import Promise
from ..site.site import Site, load_site
from ..units import on_screen, retold
from . import heat, sentences, spans
from .packing import deflate, pack
from .series import COLUMNS, Series

LONG_DAYS = 7  # runs longer than that are thinned unless asked for in full
THIN_MIN = 10
EPOCH = datetime(1970, 1, 1)

Columns = dict[str, NDArray[np.float64]]


@dataclass(frozen=True)
class Recorded:
    """One run of a report. ``meta`` and ``samples`` are texts for the page to inflate."""

    name: str
    group: str
    days: float
    step_min: int  # between two samples
    sentences: dict[str, str]
    figures: tuple[tuple[str, str], ...]
    bills: list[heat.Bill]
    standing: float
    cost: float
    consumers: list[tuple[str, float]]  # words, kWh
    room: list[heat.Flow]
    store: list[heat.Flow]
    meta: str
    samples: str

    @property
    def size(self) -> int:
        """Bytes in the page."""
        return len(self.meta) + len(self.samples)


@lru_cache(maxsize=2)
def _site(site_name: str) -> Site:
    return load_site(site_name)


def record_run(site_name: str, scenario: Scenario, full: bool, us: bool) -> Recorded:
    """Run a scenario, beside it the same days without the store if nominal; for any process."""
    site = _site(site_name)
    trace = running.bench(site, scenario).run(scenario.days)
    return record(site, scenario, trace, bare_trace(site, scenario), full, us)


def bare_trace(site: Site, scenario: Scenario) -> Trace | None:
    """Return the same days with everything off; None where a fault is what is to be seen."""
    if scenario.group != "nominal":
        return None
    return running.bench(site, without_store(scenario)).run(scenario.days)


def record(
    site: Site, scenario: Scenario, trace: Trace, bare: Trace | None, full: bool, us: bool
) -> Recorded:
    """Return what a report keeps of a trace."""
    columns = minute_columns(trace, bare)
    prices = spans.priced(site.tariff(), trace)
    strips = spans.strips(scenario, trace, prices)
    limit_c, ice_kg = running.room_limit_c(site), _limit(site.promises(), "ice_kg")
    told = sentences.sentences(
        sentences.Told(trace, columns, strips, limit_c, ice_kg, site.currency, us)
    )
    step_min = 1 if full or scenario.days <= LONG_DAYS else THIN_MIN
    shown = {
        name: in_unit(values[::step_min], COLUMNS[name], us) for name, values in columns.items()
    }
    packed = pack(shown, {name: series.step for name, series in COLUMNS.items()})
    meta = {
        "name": retold(scenario.name, us),
        "days": trace.days,
        "start_ms": (trace.calendar.local(0) - EPOCH).total_seconds() * 1000.0,
        "step_s": step_min * 60,
        "rows": packed.rows,
        "steps": packed.steps,
        "strips": strips,
        "states": spans.states(trace),
        "prices": [(p.from_s, p.rate, p.price_kwh) for p in prices],
        "look_s": _moment_s(trace),
        "sentences": told,
    }
    energy = trace.energy_kwh()
    return Recorded(
        name=scenario.name,
        group=scenario.group,
        days=trace.days,
        step_min=step_min,
        sentences=told,
        figures=run_figures(trace.summary(limit_c), limit_c, us, site.currency),
        bills=heat.bills(trace, site.tariff(), prices),
        standing=heat.standing(trace, site.tariff()),
        cost=trace.cost,
        consumers=[(words, energy[name]) for name, words in heat.CONSUMERS.items()],
        room=heat.flows(trace.room_heat_kwh(), heat.ROOM),
        store=heat.flows(trace.store_heat_kwh(), heat.STORE),
        meta=deflate(json.dumps(meta, separators=(",", ":"), allow_nan=False).encode()),
        samples=packed.text,
    )


def _limit(promises: tuple[Promise, ...], measure: str) -> float:
    return next(p.limit for p in promises if p.measure == measure)


def minute_columns(trace: Trace, bare: Trace | None) -> Columns:
    """Return the columns of the charts in SI units, one value a minute."""
    names = [name for name in COLUMNS if name not in ("coil_w", "bare_room_c")]
    found = {name: trace.column(name).copy() for name in names}
    found["coil_w"] = found["coil_latent_w"] + trace.column("coil_sensible_w")
    still = trace.column("out").astype(np.int64) & output.FAN == 0
    for name in ("air_off_c", "coil_in_c"):
        found[name][still] = np.nan
    nothing = np.full(len(trace.samples), np.nan)
    found["bare_room_c"] = nothing if bare is None else bare.column("room_air_c")
    return {name: found[name] for name in COLUMNS}


def in_unit(values: NDArray[np.float64], series: Series, us: bool) -> NDArray[np.float64]:
    """Return a column in the unit of the screen."""
    return on_screen(values, series.unit, us)


def _moment_s(trace: Trace) -> float:
    """Return a moment worth looking at first: the warmest of the wanted hours, else of all."""
    air = trace.column("room_air_c").copy()
    wanted = trace.wanted()
    if wanted.any():
        air[~wanted] = -np.inf
    return float(trace.samples[int(air.argmax()), 0])
