"""Random lives of an installation: what breaks, when, for how long, and what the owner does."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

from hypothesis import strategies as st
from springhouse import mode
from springhouse_host.proof import running
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.site import load_site
from springhouse_host.site.site import Site
from springhouse_sim.bench import Bench, Pace
from springhouse_sim.world.faults import CATALOGUE, PROBES, Acts, Fault
from springhouse_sim.world.outage import Outage
from springhouse_sim.world.owner import Acknowledge, AskMode, MopFloor

DAYS = 2
SPAN_S = DAYS * 86_400
FIRST_DAY = datetime(2001, 6, 1)
VALUES: dict[str, tuple[float, float]] = {  # a fault's value, where it may be chosen
    "probe_drift": (-3000, 3000),
    "probe_offset": (-3000, 3000),
    "flow_jammed": (0, 3000),
    "clock_wrong": (-90_000, 90_000),
    "low_flow": (0.2, 1.0),
    "tube_kinked": (0.0, 0.5),
    "fan_stalled": (0.0, 1.0),
    "weak_compressor": (0.0, 1.1),
    "lid_open": (1.0, 20.0),
    "leak": (0.001, 0.2),
    "tray_filled": (0.001, 0.01),
}


@dataclass(frozen=True)
class Life:
    """One run; ``faults`` in the order of their onsets."""

    start: datetime
    store_start_c: float
    variant: str
    error_mk: int
    seed: int
    faults: tuple[Fault, ...]
    outages: tuple[Outage, ...]
    owner: tuple[Acknowledge | AskMode | MopFloor, ...]

    def has(self, *kinds: str) -> bool:
        """Whether a fault of one of these kinds comes."""
        return any(fault.kind in kinds for fault in self.faults)

    def words(self) -> str:
        """The life as one would tell it to `springhouse run`."""
        faults = []
        for f in self.faults:
            probe = f".{f.probe}" if f.probe else ""
            value = "" if f.value is None else f"={f.value:g}"
            faults.append(f"{f.kind}{probe}{value}@{f.onset_s} s for {f.duration_s} s")
        return f"{self.start:%Y-%m-%d}, {self.store_start_c} °C: {'; '.join(faults) or 'no fault'}"


@st.composite
def fault(draw: st.DrawFn) -> Fault:
    kind = draw(st.sampled_from(sorted(CATALOGUE)))
    entry = CATALOGUE[kind]
    value: float | None = None
    if kind in VALUES:
        low, high = VALUES[kind]
        if isinstance(low, int):
            value = draw(st.integers(low, int(high)))
        else:
            value = draw(st.integers(round(low * 1000), round(high * 1000))) / 1000
    onset_s = draw(st.integers(0, SPAN_S - 60))
    duration_s = draw(st.integers(1, 36 * 3600))
    probe = draw(st.sampled_from(PROBES)) if entry.acts is Acts.PROBE else ""
    over_s = draw(st.integers(60, 12 * 3600))
    return Fault(kind, onset_s, duration_s, probe, value, over_s)


outage = st.builds(Outage, st.integers(0, SPAN_S - 60), st.integers(1, 12 * 3600))
deed = st.one_of(
    st.builds(Acknowledge, st.integers(0, SPAN_S)),
    st.builds(AskMode, st.integers(0, SPAN_S), st.integers(0, mode.SIZE - 1), st.integers(1, 30)),
    st.builds(MopFloor, st.integers(0, SPAN_S)),
)
life = st.builds(
    Life,
    start=st.integers(0, 88).map(lambda d: FIRST_DAY + timedelta(days=d)),
    store_start_c=st.integers(30, 210).map(lambda tenths: tenths / 10),
    variant=st.sampled_from(("low", "mid", "high")),
    error_mk=st.integers(-200, 200),
    seed=st.integers(0, 1000),
    faults=st.lists(fault(), max_size=5).map(
        lambda found: tuple(sorted(found, key=lambda f: f.onset_s))
    ),
    outages=st.lists(outage, max_size=2).map(tuple),
    owner=st.lists(deed, max_size=3).map(tuple),
)


@cache
def site() -> Site:
    return load_site("demo")


def bench(told: Life, pace: Pace) -> Bench:
    """The bench of a life: the demo's scenario, and the owner's deeds among its actors."""
    scenario = Scenario(
        "life",
        "fault",
        told.start,
        DAYS,
        told.variant,  # type: ignore[arg-type]
        store_offset_mk=told.error_mk,
        faults=told.faults,
        outages=told.outages,
        store_start_c=told.store_start_c,
        seed=told.seed,
    )
    made = running.bench(site(), scenario, pace=pace)
    made.world = type(made.world)(
        made.world.calendar, (*made.world.actors, *told.owner), made.world.tariff
    )
    return made
