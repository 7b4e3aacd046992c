"""The fault catalogue of a cold store and of a relay that welds; see `catalogue.py`."""

from collections.abc import Iterator

from springhouse import fitted, latch, output, setting
from springhouse_sim.plant import water
from springhouse_sim.world.faults import Fault

from ..site.settings_record import WARM_WATER_FACTOR
from ..site.site import Site
from .case import FaultCase, nearly_charged_c
from .responses import Expect
from .situations import Situation, charging_deep

HOUR_S = 3600
WELDED_ROW = 67  # of the failure modes: commanded off, still cooling
BOTH = ("store_low", "store_high")
DOWN_K = 2.3  # above the deep target: chilled, and about to cross 4 °C
FULL_K = 0.6
# What a probe out of the water, drifting or in the other's place may read: mK too warm, over h.
ERRORS = (
    ("store_high", 1500, 0),
    ("store_high", 3000, 0),
    ("store_high", 5000, 0),
    ("store_high", 8000, 0),
    ("store_high", 12000, 0),
    ("store_high", 3000, 4),
    ("store_high", 8000, 4),
    ("store_low", 1500, 0),
    ("store_low", 8000, 0),
    ("store_low", 8000, 4),
)
NOTICED_S = 2100 + 2  # by the store alone: five minutes to settle, half an hour, two scans
WARMER_K = 1.0  # than the deep target, at least: a store that is not full
FLOOR_C = 4.0
PERSON_S = HOUR_S  # until somebody pulls the plug
CONTACT_S = 5


def _resting(
    never: str, for_s: int, at_most_c: float | None = None, at_least_c: float | None = None
) -> Situation:
    off = output.COMPRESSOR | output.PUMP
    return Situation(
        never, off=off, for_s=for_s, store_at_most_c=at_most_c, store_at_least_c=at_least_c
    )


def _cold(site: Site) -> Iterator[FaultCase]:
    """Store probes that mislead in a cold store: the true ice stays within the promise."""
    bounded = (Expect(0, 0, ice_at_most_kg=site.file.store.ice_limit_kg),)
    deep_c = site.settings()[setting.DEEP_MC] / 1000.0
    full = _resting("never full", 60, at_most_c=deep_c + FULL_K)
    for words, at in (("on the way down", charging_deep(deep_c + DOWN_K)), ("full", full)):
        for probe, error_mk, over_h in ERRORS:
            kind = "probe_drift" if over_h else "probe_offset"
            how = f" over {over_h} h" if over_h else ""
            fault = Fault(kind, 0, probe=probe, value=error_mk, over_s=over_h * HOUR_S)
            yield FaultCase(
                63,
                f"cold store, {words}: {probe} reads {error_mk / 1000:g} K warm{how}",
                at,
                bounded,
                (fault,),
                needs=fitted.STORE_LOW | fitted.STORE_HIGH,
                store_start_c=nearly_charged_c(site),
                days=2,
            )
        for probe in BOTH:
            yield FaultCase(
                63,
                f"cold store, {words}: {probe} stuck",
                at,
                bounded,
                (Fault("probe_stuck", 0, probe=probe),),
                needs=fitted.STORE_LOW | fitted.STORE_HIGH,
                store_start_c=nearly_charged_c(site),
                days=2,
            )


def warm_noticed_s(site: Site) -> int:
    """Return how soon a welded relay must show in a store `WARMER_K` above its deep target [s].

    A probe at the bottom alone sees no fall before the water above is as cold: what sinks along the
    wall stirs warmer water down to it, and it even rises first. There it must be noticed before the
    freezer at its strongest could have brought all of the water to 4 °C.
    """
    if site.fitted & fitted.STORE_HIGH:
        return NOTICED_S
    strongest_w = WARM_WATER_FACTOR * site.known["freezer.capacity_w"].pick("high")
    above_k = site.settings()[setting.DEEP_MC] / 1000.0 + WARMER_K - FLOOR_C
    heat_j = site.file.store.water_litres * water.CP_0 * above_k
    return max(NOTICED_S, int(heat_j / strongest_w))


def _noticed(site: Site, within_s: int) -> tuple[tuple[Expect, ...], tuple[Fault, ...]]:
    """Return what must follow a welded relay, and its faults: somebody is there within the hour.

    The ice is bounded by what the freezer can make until then, not by the promise: nothing that
    the controller commands stops a compressor whose contact has welded.
    """
    strongest_w = site.known["freezer.capacity_w"].pick("high")
    until_s = within_s + PERSON_S
    ice_kg = site.file.store.ice_limit_kg + strongest_w * until_s / water.LATENT_FUSION_J_KG
    return (
        (Expect(0, within_s, latch=latch.WELDED), Expect(0, 0, ice_at_most_kg=ice_kg)),
        (Fault("relay_welded", 0), Fault("freezer_unplugged", until_s)),
    )


def _welded(site: Site) -> Iterator[FaultCase]:
    """A relay that welds while the compressor is off, and the contact behind it."""
    settings = site.settings()
    deep_c, warm_c = settings[setting.DEEP_MC] / 1000.0, settings[setting.SHALLOW_MC] / 1000.0
    by_store, pulled = _noticed(site, NOTICED_S)
    warm_s = warm_noticed_s(site)
    by_store_warm, pulled_warm = _noticed(site, warm_s)
    full = _resting("never full at rest", NOTICED_S + 60, at_most_c=deep_c + FULL_K)
    warm = _resting("never warm at rest", warm_s + 60, at_least_c=deep_c + WARMER_K)
    for words, at, start_c, expects, faults in (
        ("full", full, deep_c, by_store, pulled),
        ("warmer", warm, warm_c, by_store_warm, pulled_warm),
    ):
        yield FaultCase(
            WELDED_ROW,
            f"relay welded, store {words}: noticed, plug pulled an hour later",
            at,
            expects,
            faults,
            store_start_c=start_c,
        )
    by_contact, pulled_sooner = _noticed(site, CONTACT_S)
    # A contact that never opens hides the weld; the store still shows it.
    stuck = (Fault("relay_contact_stuck", 0), *pulled_warm)
    off = (Fault("relay_contact_off", 0),)
    for words, expects, faults in (
        ("relay welded, plug pulled an hour later", by_contact, pulled_sooner),
        ("never opens, relay welded: noticed by the store", by_store_warm, stuck),
        ("its wire off", (Expect(0, CONTACT_S, latch=latch.WELDED),), off),
    ):
        yield FaultCase(
            WELDED_ROW,
            f"contact behind the relay: {words}",
            warm,
            expects,
            faults,
            needs=fitted.RELAY,
            store_start_c=warm_c,
        )


def cases(site: Site) -> Iterator[FaultCase]:
    """Yield the cases, whatever is fitted."""
    yield from _cold(site)
    yield from _welded(site)
