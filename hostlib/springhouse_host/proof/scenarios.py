"""Which runs a proof is made of."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from springhouse import fitted as F
from springhouse import setting as S
from springhouse import week as N
from springhouse_sim.plant import given as U
from springhouse_sim.world import days as D
from springhouse_sim.world.faults import PROBES, Fault
from springhouse_sim.world.outage import Outage
from springhouse_sim.world.weather import Weather

from ..site.known import VARIANTS, Variant
from ..site.site import Site
from . import catalogue
from .responses import Expect
from .weather_days import days_of

Group = Literal["nominal", "corner", "fault"]

HOTTEST_DAYS = 7
TYPICAL_DAYS = 3
CORNER_DAYS = 2
FAULT_DAYS = 1
MID_CHARGE_S = 2 * 3600  # faults of the store side begin two hours after midnight
WARMER_PLACE_W = 300.0  # heat of another appliance where the freezer stands
OUTAGE_S = 2 * 3600
NEARLY_CHARGED_K = 2.5
DRIFT_MK = 1000
FIRST_DELIVERY_S = 60
SEED = 20


@dataclass(frozen=True)
class Scenario:
    """One run. ``given`` holds (slot, value) of the plant's given record throughout."""

    name: str
    group: Group
    start: datetime  # standard time
    days: int
    variant: Variant = "mid"
    given: tuple[tuple[int, float], ...] = ()
    store_offset_mk: int = 0  # both store probes read so much too high
    faults: tuple[Fault, ...] = ()
    outages: tuple[Outage, ...] = ()
    store_start_c: float | None = None  # None: as the site says
    with_controller: bool = True
    seed: int = SEED
    changes: tuple[tuple[int, int], ...] = ()  # settings that differ: slot, value
    row: int = 0  # of the failure mode, for a case of the catalogue
    expects: tuple[Expect, ...] = ()  # what must follow its faults

    @property
    def judges_comfort(self) -> bool:
        """Whether the promised room temperature must hold here: not while something is broken."""
        return self.group != "fault"


def standard(site: Site) -> list[Scenario]:
    """Return every scenario of a proof, nominal ones first.

    Raises:
        SiteError: when the weather cannot be read or holds no summer.
    """
    typical = days_of(site, lambda weather: D.typical(weather, TYPICAL_DAYS))
    hottest = days_of(site, lambda weather: D.hottest(weather, HOTTEST_DAYS))
    summer = days_of(site, D.summer)
    weather = site.read_weather()
    found = []
    for variant in VARIANTS if site.evidence == "ESTIMATE" else ("mid",):
        labels = "" if variant == "mid" else f", {variant} reading of the labels"
        for days, word in ((typical, "typical"), (hottest, "hottest"), (summer, "summer")):
            name = f"{days.count} {word} days from {days.first:%d %B}{labels}"
            found.append(Scenario(name, "nominal", days.start, days.count, variant))
    two = hot_wanted_days(site, weather, hottest, CORNER_DAYS)
    one = hot_wanted_days(site, weather, hottest, FAULT_DAYS)
    # Nearly charged: the guards near freezing are wanted, not another pull-down.
    nearly_c = site.settings()[S.DEEP_MC] / 1000.0 + NEARLY_CHARGED_K
    found += corners(site, Scenario("", "corner", two, CORNER_DAYS, store_start_c=nearly_c))
    whole = Scenario("", "corner", summer.start, summer.count)
    for corner in corners(site, whole):
        found.append(replace(corner, name=f"{corner.name}, {summer.count} summer days"))
    at_ends = Scenario("", "corner", two, CORNER_DAYS, store_start_c=nearly_c)
    for extreme in site.extremes():
        name = f"owner's range: {extreme.name}"
        found.append(replace(at_ends, name=name, changes=extreme.changes))
    found += faults(site, Scenario("", "fault", one, FAULT_DAYS, store_start_c=nearly_c))
    return found


def hot_wanted_days(site: Site, weather: Weather, hottest: D.Days, count: int) -> datetime:
    """Return the start of the hottest ``count`` days in a row that hold most wanted hours."""
    days, means = D.daily_means(weather)
    first = days.index(hottest.first)
    settings = site.settings()

    def key(i: int) -> tuple[int, float]:
        start = datetime.combine(days[i], datetime.min.time())
        begin = site.calendar(start).week_min()
        minutes = range(begin, begin + count * N.DAY_MIN, 10)
        wanted = sum(1 for m in minutes if N.plan_at(settings, m % N.WEEK_MIN) & N.PLAN_WANTED)
        return wanted, float(means[i : i + count, 0].mean())

    best = max(range(first, first + hottest.count - count + 1), key=key)
    return datetime.combine(days[best], datetime.min.time())


def corners(site: Site, base: Scenario) -> Iterator[Scenario]:
    """Yield the corners: what is likely to be worse than described, one at a time."""
    error_mk = round(1000 * site.probe_errors_k["store_low"])
    yield replace(base, name=f"store probes read {error_mk} mK high", store_offset_mk=error_mk)
    yield replace(base, name=f"store probes read {error_mk} mK low", store_offset_mk=-error_mk)
    yield replace(base, name="compressor 20 % weaker", given=((U.CAPACITY_FACTOR, 0.8),))
    yield replace(base, name="flow 30 % lower", given=((U.FLOW_FACTOR, 0.7),))
    yield replace(
        base,
        name=f"{WARMER_PLACE_W:g} W more where the freezer stands",
        given=((U.PLACE_GAIN_W, WARMER_PLACE_W),),
    )


def wanted_begins_s(site: Site, start: datetime) -> int:
    """Return when the first wanted hours of a scenario begin, s after its start."""
    settings = site.settings()
    begin = site.calendar(start).week_min()
    for minute in range(N.DAY_MIN):
        if N.plan_at(settings, (begin + minute) % N.WEEK_MIN) & N.PLAN_WANTED:
            return minute * 60
    return 0


def faults(site: Site, base: Scenario) -> Iterator[Scenario]:
    """Yield one run a fault: of each store probe, of the tray float, prime, mains."""
    fitted = site.fitted
    for i, probe in enumerate(PROBES[:3]):
        if not fitted & (F.STORE_LOW << i):
            continue
        onset_s = MID_CHARGE_S if i < 2 else wanted_begins_s(site, base.start) + 1800
        for kind, words in (
            ("probe_open", "open"),
            ("probe_shorted", "bus shorted to zero frames"),
            ("probe_stuck", "stuck"),
        ):
            name = f"probe {probe} {words}"
            yield replace(base, name=name, faults=(Fault(kind, onset_s, probe=probe),))
        drift = Fault("probe_drift", 0, probe=probe, value=DRIFT_MK, over_s=MID_CHARGE_S)
        yield replace(base, name=f"probe {probe} drifts by +{DRIFT_MK} mK", faults=(drift,))
    delivering_s = wanted_begins_s(site, base.start) + 3600
    if fitted & F.TRAY:
        opened = Fault("tray_float_open", delivering_s, 900)
        yield replace(base, name="tray float opens for 15 min", faults=(opened,))
    lost = Fault("prime_lost", delivering_s)
    yield replace(base, name="pump loses its prime", faults=(lost,))
    night = Outage(MID_CHARGE_S, OUTAGE_S)
    yield replace(base, name="mains away 2 h in the charge", outages=(night,))
    day = Outage(delivering_s, OUTAGE_S)
    yield replace(base, name="mains away 2 h in the delivery", outages=(day,))

    # Shortly after the wanted hours begin, when the room is warmest.
    early_s = wanted_begins_s(site, base.start) + FIRST_DELIVERY_S
    for case in catalogue.cases(site, early_s):
        yield replace(
            base,
            name=case.name,
            days=case.days,
            store_start_c=case.store_start_c,
            faults=case.faults,
            outages=case.outages,
            row=case.row,
            expects=case.expects,
        )


def without_store(scenario: Scenario) -> Scenario:
    """Return the same days with everything off."""
    return replace(scenario, name=f"{scenario.name}, without the store", with_controller=False)


def whole_summer(site: Site) -> Scenario:
    """Return one run of all summer days of the weather.

    Raises:
        SiteError: when the weather cannot be read or holds no summer.
    """
    summer = days_of(site, D.summer)
    name = f"{summer.count} summer days from {summer.first:%d %B}"
    return Scenario(name, "nominal", summer.start, summer.count)


def single(site: Site, start: datetime | None, days: int) -> Scenario:
    """Return one run for looking at: from ``start``, or the hottest days of the weather."""
    if start is None:
        longest = min(days, HOTTEST_DAYS)
        start = days_of(site, lambda weather: D.hottest(weather, longest)).start
    return Scenario(f"{days} days from {start:%d %B}", "nominal", start, days)
