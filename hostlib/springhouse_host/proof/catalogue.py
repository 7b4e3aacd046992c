"""The fault catalogue as scenarios: each fault that can be injected, with its expected response.

`row` is the number of the failure mode in `tests/requirements.toml`. A case says in what situation
its fault comes (`situations.py`); all its times are s after that moment, which `placing.py` finds
for each installation. A scan more is allowed by the limits, as the requirement says.
"""

from collections.abc import Iterator
from dataclasses import replace
from math import ceil

from springhouse import condition, fitted, output, setting, week
from springhouse import latch as latches
from springhouse_sim.world.faults import PROBES, Fault
from springhouse_sim.world.outage import Outage

from ..site.settings_record import FITTED_BITS
from ..site.site import Site
from . import catalogue_cold, catalogue_room
from .case import FaultCase, nearly_charged_c
from .responses import Expect
from .situations import anywhen, charging, delivering, plan_minutes

COMPRESSOR = output.COMPRESSOR
BOTH = ("store_low", "store_high")

PROBE_S = 10 + 1  # untrusted at the latest, and a scan
HOUR_S = 3600
DAY_S = 86_400
OUTAGE_S = 2 * HOUR_S
DRIFT_MK = 1000
DRIFT_S = 2 * HOUR_S
RUNNING_SHARE = 0.8  # of its charging hours a compressor without success surely runs
MOST_DAYS = 21  # of a run
# So much more heat through a cabinet left open that the strongest reading makes no progress either.
OPEN_FACTOR = 200.0

WELDED_ROW = 13
WELDED_DAYS = 5  # nothing ends it: the store freezes
# Ice that a welded relay may make before the cut-out opens: leaves room for the level to rise and
# water for the pump. Common practice, no source.
WELDED_ICE_SHARE = 0.25


def _store_probes(site: Site) -> tuple[str, ...]:
    return tuple(name for i, name in enumerate(BOTH) if site.fitted & (fitted.STORE_LOW << i))


def no_progress_c(site: Site) -> float:
    """Return a store so warm that it is charged at any hour, but not too warm to start [°C]."""
    settings = site.settings()
    from_mc = settings[setting.SHALLOW_MC] + settings[setting.BAND_MK]
    return (from_mc + settings[setting.WARM_FILL_MC]) / 2000.0


def days_of_running(site: Site, running_s: int) -> int:
    """Return how many days surely hold so much running of the compressor."""
    plan = plan_minutes(bytes(site.settings()))
    a_day_s = float((plan & week.PLAN_CHARGE != 0).mean()) * DAY_S * RUNNING_SHARE
    return min(MOST_DAYS, ceil(running_s / max(a_day_s, 1.0)) + 1)


def _blinding(site: Site) -> Iterator[FaultCase]:
    """All store probes at once: nothing is trusted, so the compressor goes off."""
    off = Expect(0, PROBE_S, off=COMPRESSOR, stay_s=HOUR_S)
    for row, kind, words in (
        (1, "probe_open", "no answer"),
        (2, "probe_shorted", "bus shorted to zero frames"),
        (3, "probe_all_ones", "bus held high"),
        (4, "probe_power_on", "power-on value"),
        (5, "probe_checksum", "bad checksums"),
        (6, "probe_silent", "driver dead"),
    ):
        faults = tuple(Fault(kind, 0, HOUR_S, probe=p) for p in _store_probes(site))
        yield FaultCase(row, f"store probes: {words}", charging(), (off,), faults)
    burst = tuple(Fault("probe_checksum", 0, 5, probe=p) for p in _store_probes(site))
    goes_on = Expect(0, 60, go_on=COMPRESSOR)
    yield FaultCase(50, "store probes: 5 s of bad frames", charging(120), (goes_on,), burst)


def _alone(within_s: int, *, lock: int = 0, latch: int = 0, stay_s: int = 0) -> Expect:
    """Return what must follow within so much running of the compressor without delivery."""
    off = 0 if latch else COMPRESSOR
    return Expect(
        0,
        within_s,
        off=off,
        lock=lock,
        latch=latch,
        stay_s=stay_s,
        while_on=COMPRESSOR,
        while_off=output.PUMP,
    )


def _compressor(site: Site) -> Iterator[FaultCase]:
    settings = site.settings()
    warm_c = no_progress_c(site)
    stuck_s = settings[setting.STUCK_MIN] * 60 + 600
    stuck = tuple(Fault("probe_stuck", 0, probe=p) for p in _store_probes(site))
    yield FaultCase(
        6,
        "store probes: stuck",
        charging(),
        (_alone(stuck_s, lock=condition.LOCK_BLIND),),
        stuck,
        store_start_c=warm_c,
        days=days_of_running(site, stuck_s),
    )
    apart_s = settings[setting.DISAGREE_MIN] * 60 + 120
    yield FaultCase(
        8,
        "low probe out of the water: reads 8 K warm",
        charging(),
        (_alone(apart_s, lock=condition.LOCK_REST, stay_s=settings[setting.REST_MIN] * 60),),
        (Fault("probe_drift", 0, probe="store_low", value=8000, over_s=60),),
        needs=fitted.STORE_LOW | fitted.STORE_HIGH,
        store_start_c=warm_c,
        days=days_of_running(site, apart_s),
    )
    dead_s = settings[setting.PROGRESS_MIN] * 60 + HOUR_S
    for row, words, fault in (
        (14, "relay never closes", Fault("relay_dead", 0)),
        (17, "compressor cools nothing", Fault("weak_compressor", 0, value=0.0)),
        (18, "cabinet open: runs without progress", Fault("lid_open", 0, value=OPEN_FACTOR)),
    ):
        expects = [_alone(dead_s, lock=condition.LOCK_REST)]
        days = days_of_running(site, dead_s)
        if row == 14:
            three_s = 3 * settings[setting.PROGRESS_MIN] * 60 + HOUR_S
            expects.append(_alone(three_s, latch=latches.NO_COOLING))
            days = days_of_running(site, three_s)
        yield FaultCase(
            row, words, charging(), tuple(expects), (fault,), store_start_c=warm_c, days=days
        )
    off_s = settings[setting.MIN_OFF_S]
    yield FaultCase(
        19,
        "mains outside its nameplate: the sense drops out",
        charging(),
        (Expect(0, 1, off=COMPRESSOR, stay_s=HOUR_S + off_s),),
        (Fault("mains_sense_dead", 0, HOUR_S),),
        needs=fitted.MAINS,
    )
    for row, words, away_s in ((54, "mains away 10 min", 600), (16, "mains away 5 s", 5)):
        wait_s = away_s + off_s + settings[setting.RESTART_STAGGER_S]
        yield FaultCase(
            row,
            f"{words} in the charge",
            charging(),
            (Expect(0, 1, off=COMPRESSOR, stay_s=wait_s),),
            outages=(Outage(0, away_s),),
            needs=fitted.MAINS,
        )
    welded = FaultCase(
        WELDED_ROW,
        "relay welded shut: the independent cut-out ends it",
        charging(),
        (Expect(0, 0, ice_at_most_kg=WELDED_ICE_SHARE * site.file.store.water_litres),),
        (Fault("relay_welded", 0),),
    )
    if site.file.protection.independent_freeze_cutout:
        yield welded
    else:
        bare = welded.without_guard(("protection.independent_freeze_cutout",))
        yield replace(bare, name="relay welded shut", days=WELDED_DAYS)


def _whole(site: Site) -> Iterator[FaultCase]:
    yield FaultCase(
        40,
        "stored settings corrupt, charging",
        charging(),
        (Expect(0, 1, off=COMPRESSOR, stay_s=HOUR_S),),
        (Fault("settings_bad", 0, HOUR_S),),
    )
    error_mk = round(1000 * site.probe_errors_k["store_low"])
    for sign in (1, -1):
        drift = tuple(
            Fault("probe_drift", 0, probe=p, value=sign * error_mk, over_s=HOUR_S)
            for p in _store_probes(site)
        )
        name = f"store probes drift by {sign * error_mk} mK"
        yield FaultCase(9, name, anywhen(), (), drift, from_start=True)


def _promised(site: Site) -> Iterator[FaultCase]:
    """One fault at a time in a store nearly charged, judged by the promises alone."""
    cold_c = nearly_charged_c(site)
    for i, probe in enumerate(PROBES[:3]):
        if not site.fitted & (fitted.STORE_LOW << i):
            continue
        at = charging() if i < 2 else delivering()
        for kind, words in (
            ("probe_open", "open"),
            ("probe_shorted", "bus shorted to zero frames"),
            ("probe_stuck", "stuck"),
        ):
            fault = Fault(kind, 0, probe=probe)
            yield FaultCase(0, f"probe {probe} {words}", at, (), (fault,), store_start_c=cold_c)
        drift = Fault("probe_drift", 0, probe=probe, value=DRIFT_MK, over_s=DRIFT_S)
        name = f"probe {probe} drifts by +{DRIFT_MK} mK"
        yield FaultCase(0, name, anywhen(), (), (drift,), from_start=True, store_start_c=cold_c)
    if site.fitted & fitted.TRAY:
        opened = Fault("tray_float_open", 0, 900)
        name = "tray float opens for 15 min"
        yield FaultCase(0, name, delivering(), (), (opened,), store_start_c=cold_c)
    lost = Fault("prime_lost", 0)
    yield FaultCase(0, "pump loses its prime", delivering(), (), (lost,), store_start_c=cold_c)
    for at, words in ((charging(), "charge"), (delivering(), "delivery")):
        away = Outage(0, OUTAGE_S)
        name = f"mains away 2 h in the {words}"
        yield FaultCase(0, name, at, (), outages=(away,), store_start_c=cold_c)


def cases(site: Site) -> list[FaultCase]:
    """Return what this installation can answer, and what comes about whether it can or not.

    A physical fault does not ask what is fitted: one that nothing here notices is run once.
    """
    found = (
        *_promised(site),
        *_blinding(site),
        *_compressor(site),
        *catalogue_cold.cases(site),
        *catalogue_room.cases(site),
        *_whole(site),
    )
    answered = [case for case in found if not _lacking(site, case)]
    noticed = {case.happens for case in answered if case.expects}
    bare: dict[frozenset[str | int], FaultCase] = {}
    for case in found:
        lacks = _lacking(site, case)
        if lacks and case.physical and case.happens not in noticed:
            bare.setdefault(case.happens, case.without_guard(lacks))
    return answered + list(bare.values())


def _lacking(site: Site, case: FaultCase) -> tuple[str, ...]:
    """Return the keys of the sensors that a case needs and that are not fitted."""
    missing = case.needs & ~site.fitted
    return tuple(f"sensors.{name}" for name, bit in FITTED_BITS.items() if missing & bit)
