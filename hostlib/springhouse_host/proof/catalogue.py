"""The fault catalogue as scenarios: each fault that can be injected, with its expected response.

`row` is the number of the failure mode in `tests/requirements.toml`. Responses are in seconds after
the onset; a scan more is allowed by the limits, as the requirement says.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from springhouse import fitted as F
from springhouse import latch as L
from springhouse import output as O
from springhouse import setting as S
from springhouse_sim.world.faults import Fault
from springhouse_sim.world.outage import Outage

from ..site.site import Site
from .responses import Expect

C, P, FANS = O.COMPRESSOR, O.PUMP, O.FAN
DELIVERY = P | FANS
ALL = C | DELIVERY
BOTH = ("store_low", "store_high")

CHARGE_S = 2 * 3600  # in the night's charge
WARM_STORE_C = 12.0  # so that the charge goes on for hours
NO_PROGRESS_C = 20.0  # below the warm fill, and charging goes on outside the cheap hours
PROBE_S = 10 + 1  # untrusted at the latest, and a scan
FLOAT_S = 2
HOUR_S = 3600


WELDED_ROW = 13
# Ice that a welded relay may make before the cut-out opens: leaves room for the level to rise and
# water for the pump. Common practice, no source.
WELDED_ICE_SHARE = 0.25


@dataclass(frozen=True)
class Case:
    """One fault and what must follow. ``needs`` are sensors without which nothing can follow."""

    row: int
    name: str
    expects: tuple[Expect, ...]
    faults: tuple[Fault, ...] = ()
    outages: tuple[Outage, ...] = ()
    needs: int = 0
    store_start_c: float = WARM_STORE_C
    days: int = 1


def _store_probes(site: Site) -> tuple[str, ...]:
    return tuple(name for i, name in enumerate(BOTH) if site.fitted & (F.STORE_LOW << i))


def _blinding(site: Site) -> Iterator[Case]:
    """All store probes at once: nothing is trusted, so the compressor goes off."""
    off = Expect(CHARGE_S, PROBE_S, off=C, stay_s=HOUR_S)
    for row, kind, words in (
        (1, "probe_open", "no answer"),
        (2, "probe_shorted", "bus shorted to zero frames"),
        (3, "probe_all_ones", "bus held high"),
        (4, "probe_power_on", "power-on value"),
        (5, "probe_checksum", "bad checksums"),
        (6, "probe_silent", "driver dead"),
    ):
        faults = tuple(Fault(kind, CHARGE_S, HOUR_S, probe=p) for p in _store_probes(site))
        yield Case(row, f"store probes: {words}", (off,), faults)
    burst = tuple(Fault("probe_checksum", CHARGE_S, 5, probe=p) for p in _store_probes(site))
    goes_on = Expect(CHARGE_S, 60, go_on=C)
    yield Case(50, "store probes: 5 s of bad frames", (goes_on,), burst)


def _compressor(site: Site) -> Iterator[Case]:
    settings = site.settings()
    stuck_s = settings[S.STUCK_MIN] * 60 + HOUR_S  # it runs with breaks by now
    stuck = tuple(Fault("probe_stuck", CHARGE_S, probe=p) for p in _store_probes(site))
    yield Case(
        6,
        "store probes: stuck",
        (Expect(CHARGE_S, stuck_s, off=C),),
        stuck,
        store_start_c=NO_PROGRESS_C,
    )
    apart_s = settings[S.DISAGREE_MIN] * 60 + 120
    yield Case(
        8,
        "low probe out of the water: reads 8 K warm",
        (Expect(CHARGE_S, apart_s, off=C, stay_s=settings[S.REST_MIN] * 60),),
        (Fault("probe_drift", CHARGE_S, probe="store_low", value=8000, over_s=60),),
        needs=F.STORE_LOW | F.STORE_HIGH,
        store_start_c=NO_PROGRESS_C,
    )
    dead_s = settings[S.PROGRESS_MIN] * 60 + HOUR_S
    for row, words, fault in (
        (14, "relay never closes", Fault("relay_dead", CHARGE_S)),
        (17, "compressor cools nothing", Fault("weak_compressor", CHARGE_S, value=0.0)),
        (18, "cabinet open: runs without progress", Fault("lid_open", CHARGE_S, value=60.0)),
    ):
        rest = Expect(CHARGE_S, dead_s, off=C)
        expects: tuple[Expect, ...] = (rest,)
        if row == 14:
            expects = (rest, Expect(CHARGE_S, 3 * dead_s + 24 * HOUR_S, latch=L.NO_COOLING))
        yield Case(row, words, expects, (fault,), store_start_c=NO_PROGRESS_C, days=3)
    yield Case(
        19,
        "mains outside its nameplate: the sense drops out",
        (Expect(CHARGE_S, 1, off=C, stay_s=HOUR_S + settings[S.MIN_OFF_S]),),
        (Fault("mains_sense_dead", CHARGE_S, HOUR_S),),
        needs=F.MAINS,
    )
    for row, words, away_s in ((54, "mains away 10 min", 600), (16, "mains away 5 s", 5)):
        wait_s = away_s + settings[S.MIN_OFF_S] + settings[S.RESTART_STAGGER_S]
        yield Case(
            row,
            f"{words} in the charge",
            (Expect(CHARGE_S, 1, off=C, stay_s=wait_s),),
            outages=(Outage(CHARGE_S, away_s),),
            needs=F.MAINS,
        )
    if site.file.protection.independent_freeze_cutout:
        yield Case(
            WELDED_ROW,
            "relay welded shut: the independent cut-out ends it",
            (Expect(CHARGE_S, 0, ice_at_most_kg=WELDED_ICE_SHARE * site.file.store.water_litres),),
            (Fault("relay_welded", CHARGE_S),),
        )


def _floods(at_s: int) -> Iterator[Case]:
    for row, kind, words, latch, needs in (
        (26, "level_float_open", "store level low", L.LEVEL, F.LEVEL),
        (59, "floor_wet", "water on the floor", L.FLOOR, F.FLOOR),
    ):
        off = Expect(at_s, FLOAT_S, off=DELIVERY, stay_s=HOUR_S)
        night = replace(off, onset_s=CHARGE_S, off=C)
        latched = Expect(at_s, FLOAT_S, latch=latch)
        yield Case(row, f"{words}, delivering", (off, latched), (Fault(kind, at_s),), needs=needs)
        yield Case(row, f"{words}, charging", (night,), (Fault(kind, CHARGE_S),), needs=needs)
    # 50 mL on the floor, at 0.01 L/s.
    yield Case(
        25,
        "store leaks",
        (Expect(at_s, 5 + FLOAT_S, off=DELIVERY, stay_s=HOUR_S),),
        (Fault("leak", at_s, 600, value=0.01),),
        needs=F.FLOOR,
    )


def _pump(site: Site, at_s: int) -> Iterator[Case]:
    settings = site.settings()
    gap_s = settings[S.FLOW_GAP_S]
    dry_s = settings[S.PRIME_S] + 1
    # 5 s, then three tries of 10 s after 1, 5 and 30 min, each after the fan's start
    person_s = gap_s + 60 + 300 + 1800 + 3 * (dry_s + 10) + 60
    for row, kind, words in (
        (20, "prime_lost", "air in the loop"),
        (21, "line_iced", "line blocked"),
        (23, "tube_kinked", "hardly any flow"),
        (24, "flow_dead", "flow sensor dead"),
    ):
        yield Case(
            row,
            f"{words}, delivering",
            (
                Expect(at_s, gap_s + 5, off=P, stay_s=60),
                Expect(at_s, person_s, latch=L.DRY),
            ),
            (Fault(kind, at_s),),
            needs=F.FLOW,
        )
    before_s = at_s - 2 * HOUR_S  # long before anything is delivered
    barred = Expect(before_s, 61, off=P, idle=True, stay_s=8 * HOUR_S)
    yield Case(
        22,
        "flow with the pump off",
        (barred,),
        (Fault("flow_jammed", before_s),),
        needs=F.FLOW,
    )


def _delivery(site: Site, at_s: int) -> Iterator[Case]:
    settings = site.settings()
    back_s = 900 + settings[S.TRAY_RETURN_S]
    off = Expect(at_s, FLOAT_S, off=DELIVERY)
    yield Case(
        32,
        "tray float opens for 15 min, early in the delivery",
        (replace(off, stay_s=back_s),),
        (Fault("tray_float_open", at_s, 900),),
        needs=F.TRAY,
    )
    file = site.file.tray
    if file.float_opens_litres:
        fill_s = round(file.float_opens_litres / 0.05)
        for row, words in ((30, "tray fills"), (33, "condensate pump dead: tray fills")):
            yield Case(
                row,
                words,
                (Expect(at_s, fill_s + FLOAT_S, off=DELIVERY, stay_s=fill_s + HOUR_S),),
                (Fault("tray_filled", at_s, fill_s, value=0.05),),
                needs=F.TRAY,
            )
    still_s = settings[S.FAN_STILL_S] + 1
    for kind, words in (("fan_stalled", "fans stalled"), ("tach_dead", "fan tachometer dead")):
        yield Case(
            28,
            f"{words}, delivering",
            (Expect(at_s, still_s, off=P, stay_s=still_s + settings[S.COIL_WAIT_S]),),
            (Fault(kind, at_s),),
            needs=F.FAN_TACH,
        )
    yield Case(
        1,
        "room probe: no answer",
        (Expect(at_s, PROBE_S, off=DELIVERY, stay_s=HOUR_S),),
        (Fault("probe_open", at_s, HOUR_S, probe="room"),),
        needs=F.ROOM,
    )
    if site.fitted & F.BATTERY:
        yield Case(
            55,
            "mains away for a day in the delivery",
            (),
            outages=(Outage(at_s, 24 * HOUR_S),),
            days=2,
        )


def _whole(site: Site, at_s: int) -> Iterator[Case]:
    yield Case(
        40,
        "stored settings corrupt, delivering",
        (Expect(at_s, 1, off=DELIVERY, stay_s=HOUR_S),),
        (Fault("settings_bad", at_s, HOUR_S),),
    )
    yield Case(
        40,
        "stored settings corrupt, charging",
        (Expect(CHARGE_S, 1, off=C, stay_s=HOUR_S),),
        (Fault("settings_bad", CHARGE_S, HOUR_S),),
    )
    goes_on = Expect(at_s, 30, go_on=P)
    yield Case(34, "clock lost, delivering", (goes_on,), (Fault("clock_lost", at_s),))
    for shift_s in (3600, -3600):
        yield Case(
            35,
            f"clock jumps by {shift_s} s",
            (),
            (Fault("clock_wrong", at_s, value=shift_s),),
        )
    error_mk = round(1000 * site.probe_errors_k["store_low"])
    for sign in (1, -1):
        drift = tuple(
            Fault("probe_drift", 0, probe=p, value=sign * error_mk, over_s=HOUR_S)
            for p in _store_probes(site)
        )
        yield Case(9, f"store probes drift by {sign * error_mk} mK", (), drift)


def cases(site: Site, delivering_s: int) -> list[Case]:
    """Return the cases that this site's sensors can answer; ``delivering_s`` is in a delivery."""
    found = (
        *_blinding(site),
        *_compressor(site),
        *_floods(delivering_s),
        *_pump(site, delivering_s),
        *_delivery(site, delivering_s),
        *_whole(site, delivering_s),
    )
    return [case for case in found if site.fitted & case.needs == case.needs]
