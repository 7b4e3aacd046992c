"""What to change where a promise or a response is broken."""

from springhouse import fitted, output, setting
from springhouse import latch as latches

from ..site.promises import Promise
from ..site.site import Site

NOT_TRIED = (
    "a longer run of that kind, so that it can be tried: longer wanted or charging hours, or fewer "
    "breaks (a larger band)"
)

NEVER_TRIED = (
    "hours or targets with which it comes about, so that it can be tried: an installation that "
    "never does what a fault breaks is not what was meant to be proven"
)


def of_promise(promise: Promise, worst: float, site: Site) -> str:
    """Return why a promise other than that of the room is out of reach, and what to change."""
    by_measure = {
        "dry_run_s": _dry,
        "spill_litres": _spill,
        "ice_kg": _ice,
        "ice_left_daily": _ice,
        "starts_per_hour": _starts,
        "off_gap_s": _off_gap,
        "cost_per_day": _cost,
    }
    make = by_measure.get(promise.measure)
    if make is None:
        return ""
    return f"{promise.name}, {worst:g} {promise.unit}: {make(site, worst)}"


def _dry(site: Site, worst: float) -> str:
    settings = site.settings()
    allow = f"or allow it, promises.dry_run_at_most_s = {worst:g}, if the pump bears it"
    if site.fitted & fitted.FLOW:
        return f"a stronger pump or less lift, so that it primes within the prime time; {allow}"
    if site.fitted & fitted.COIL_IN:
        return (
            f"without a flow sensor a dry pump shows after {settings[setting.FOLLOW_S]} s, when "
            f'the coil inlet has not followed the store: fit one (sensors.flow = "fitted"), {allow}'
        )
    return (
        f"nothing shows flow, so the pump runs in spells of {settings[setting.SPELL_ON_S]} s: fit "
        f'a flow sensor (sensors.flow = "fitted"), or a probe at the coil inlet (sensors.coil_in), '
        f"which shows it after {settings[setting.FOLLOW_S]} s, {allow}"
    )


def _spill(site: Site, worst: float) -> str:
    if not site.fitted & fitted.TRAY:
        return 'nothing watches the tray: a float beside the open drain (sensors.tray = "fitted")'
    return "a larger tray, or a float that opens lower (tray.float_opens_litres)"


def _ice(site: Site, worst: float) -> str:
    if not site.file.protection.independent_freeze_cutout:
        return (
            "nothing ends the run of a welded relay: an independent freeze cut-out in series with "
            "the freezer (protection.independent_freeze_cutout = true once it is fitted and tested)"
        )
    if not site.fitted & fitted.STORE_HIGH:
        return (
            "nothing watches the top and the cold wall, where ice begins: fit a probe there "
            "(sensors.store_high), or a warmer settings.deep_target_c"
        )
    return (
        "a warmer settings.deep_target_c, a probe nearer the wall (store.probe_high_wall_mm), or "
        "probes checked at the ice point (sensors.ice_point_checked)"
    )


def _starts(site: Site, worst: float) -> str:
    return "fewer starts an hour (settings.starts_per_hour) or a wider settings.band_k"


def _off_gap(site: Site, worst: float) -> str:
    if not site.fitted & fitted.MAINS:
        return 'nothing measures the mains: fit its sensor (sensors.mains = "fitted")'
    return "a longer off-time of the compressor (settings.min_off_s)"


def _cost(site: Site, worst: float) -> str:
    return "charging in cheaper hours, a warmer room target, or fewer wanted hours"


def of_response(off: int, latch: int, site: Site) -> str:
    """Return what to change where a response comes late or never.

    Args:
        off: output bits that should have gone off.
        latch: latches of which one should have been set.
        site: the installation.
    """
    if latch & latches.DRY or off == output.PUMP:
        return (
            "a pump or tube with more flow, so that no flow is told from some sooner; or a longer "
            "gap allowed (promises.dry_run_at_most_s)"
        )
    if latch & latches.NO_COOLING or off == output.COMPRESSOR:
        return (
            "a shorter judgement of progress (settings.progress_min), or a compressor that makes "
            "some in that time"
        )
    if off:
        return "a sensor nearer to what it watches: a lower float, a probe in its place"
    return ""
