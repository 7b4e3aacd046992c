"""The fault catalogue of floods, pump, coil, tray and delivery; see `catalogue.py`."""

import math
from collections.abc import Iterator
from dataclasses import replace

from springhouse import fitted, output, setting
from springhouse import latch as latches
from springhouse_sim.plant import tray
from springhouse_sim.world.faults import Fault
from springhouse_sim.world.outage import Outage

from ..site.loop_part import loop
from ..site.site import Site
from .case import TRAY_EMPTIED_S, FaultCase
from .responses import Expect
from .situations import before_delivery, both, charging, delivering

C, P, FANS = output.COMPRESSOR, output.PUMP, output.FAN
DELIVERY = P | FANS
ALL = C | DELIVERY

SCAN_S = 1
FLOAT_S = 2
PROBE_S = 10 + SCAN_S
HOUR_S = 3600
TRAY_OPEN_S = 900
POURING_S = 1200  # a full tray at a person's pour (`world.owner.POUR_L_S`)
POURED_L_S = 0.05  # into the tray
LEAK_L_S = 0.01
LEAK_SEEN_L = 0.05  # on the floor
WARM_WATER_C = 20.0
KINKED_SHARE = 1.0 / 3.0  # of the least flow that counts as flow
GHOST_S = 61
CROSSTALK_ML_MIN = 133_000  # 1 kHz of a fan's drive on the wire of a usual flow sensor


def _floods() -> Iterator[FaultCase]:
    for row, kind, words, latch, needs in (
        (26, "level_float_open", "store level low", latches.LEVEL, fitted.LEVEL),
        (59, "floor_wet", "water on the floor", latches.FLOOR, fitted.FLOOR),
    ):
        off = Expect(0, FLOAT_S, off=DELIVERY, stay_s=HOUR_S)
        latched = Expect(0, FLOAT_S, latch=latch)
        fault = (Fault(kind, 0),)
        stops = (off, latched)
        yield FaultCase(row, f"{words}, delivering", delivering(), stops, fault, needs=needs)
        off = replace(off, off=C)
        yield FaultCase(row, f"{words}, charging", charging(), (off,), fault, needs=needs)
        off = replace(off, off=ALL)
        name = f"{words}, charging and delivering"
        yield FaultCase(row, name, both(), (off,), fault, needs=needs)
    seen_s = math.ceil(LEAK_SEEN_L / LEAK_L_S)
    yield FaultCase(
        25,
        "store leaks",
        delivering(),
        (Expect(0, seen_s + FLOAT_S, off=DELIVERY, stay_s=HOUR_S),),
        (Fault("leak", 0, 600, value=LEAK_L_S),),
        needs=fitted.FLOOR,
    )


def seen_gone_s(flow_ml_min: float, left_ml_min: float, least_ml_min: float, lag_s: float) -> int:
    """Return how long a flow that dies away to ``left_ml_min`` still counts as flow [s].

    It dies away exponentially with the time constant ``lag_s``.
    """
    share = (flow_ml_min - left_ml_min) / (least_ml_min - left_ml_min)
    return math.ceil(lag_s * math.log(max(1.0, share)))


def _pump(site: Site) -> Iterator[FaultCase]:
    settings = site.settings()
    gap_s, least_ml_min = settings[setting.FLOW_GAP_S], settings[setting.FLOW_LEAST_ML_MIN]
    dry_s = settings[setting.PRIME_S] + SCAN_S
    # The gap, then three tries of the prime time after 1, 5 and 30 min, each after the fan's start.
    person_s = gap_s + 60 + 300 + 1800 + 3 * (dry_s + 10) + 60
    # Warm water flows most easily, so its flow takes longest to die away.
    pump = loop(site.file, site.known, "mid")
    flow_ml_min = 1000.0 * pump.operating_l_min(WARM_WATER_C, 1.0)
    kink = KINKED_SHARE * least_ml_min / flow_ml_min
    left = {"tube_kinked": KINKED_SHARE * least_ml_min}
    for row, kind, words, value in (
        (20, "prime_lost", "air in the loop", None),
        (21, "line_iced", "line blocked", None),
        (23, "tube_kinked", "hardly any flow", kink),
        (24, "flow_dead", "flow sensor dead", None),
    ):
        seen_s = seen_gone_s(flow_ml_min, left.get(kind, 0.0), least_ml_min, pump.flow_lag_s)
        stop = Expect(0, gap_s + seen_s + SCAN_S, off=P, stay_s=60)
        fault = (Fault(kind, 0, value=value),)
        name = f"{words}, delivering"
        yield FaultCase(row, name, delivering(), (stop,), fault, needs=fitted.FLOW)
        latched = (Expect(0, person_s + seen_s, latch=latches.DRY, asked=True),)
        name = f"{words}, delivering: a person is asked for"
        at = delivering(wanted_s=person_s)
        yield FaultCase(row, name, at, latched, fault, needs=fitted.FLOW, days=2)
    # With the pump off it is flow that should not be: delivery stays barred.
    crosstalk = Fault("flow_jammed", 0, value=CROSSTALK_ML_MIN)
    yield FaultCase(
        68,
        "crosstalk on the flow sensor, air in the loop, delivering",
        delivering(),
        (Expect(0, gap_s + 2 * SCAN_S, off=P, stay_s=8 * HOUR_S),),
        (crosstalk, Fault("prime_lost", 0)),
        needs=fitted.FLOW,
    )
    yield FaultCase(
        22,
        "flow with the pump off",
        before_delivery(GHOST_S, 8 * HOUR_S),
        (Expect(0, GHOST_S, off=P, idle=True, stay_s=8 * HOUR_S),),
        (Fault("flow_jammed", 0),),
        needs=fitted.FLOW,
    )


def _delivery(site: Site) -> Iterator[FaultCase]:
    settings = site.settings()
    back_s = TRAY_OPEN_S + settings[setting.TRAY_RETURN_S]
    off = Expect(0, FLOAT_S, off=DELIVERY)
    yield FaultCase(
        32,
        "tray float opens for 15 min, delivering",
        delivering(),
        (replace(off, stay_s=back_s),),
        (Fault("tray_float_open", 0, TRAY_OPEN_S),),
        needs=fitted.TRAY,
    )
    file = site.file.tray
    if file.float_opens_litres:
        fill_s = math.ceil(file.float_opens_litres / POURED_L_S)
        poured_l_s, stay_s = POURED_L_S, fill_s + HOUR_S
        if file.open_drain:  # as much as fills it in that time all the same, and it drains again
            drained = tray.DRAIN_S * -math.expm1(-fill_s / tray.DRAIN_S)
            poured_l_s = file.float_opens_litres / drained
            stay_s = fill_s + settings[setting.TRAY_RETURN_S]
        # A person who pours the tray out meanwhile would be quicker.
        emptied_s = (TRAY_EMPTIED_S - stay_s, TRAY_EMPTIED_S + POURING_S)
        for row, words in ((30, "tray fills"), (33, "condensate pump dead: tray fills")):
            yield FaultCase(
                row,
                words,
                replace(delivering(fill_s + FLOAT_S), clear_of_s=emptied_s),
                (Expect(0, fill_s + FLOAT_S, off=DELIVERY, stay_s=stay_s),),
                (Fault("tray_filled", 0, fill_s, value=poured_l_s),),
                needs=fitted.TRAY,
            )
    still_s = settings[setting.FAN_STILL_S] + SCAN_S
    for kind, words in (("fan_stalled", "fans stalled"), ("tach_dead", "fan tachometer dead")):
        yield FaultCase(
            28,
            f"{words}, delivering",
            delivering(still_s),
            (Expect(0, still_s, off=P, stay_s=still_s + settings[setting.COIL_WAIT_S]),),
            (Fault(kind, 0),),
            needs=fitted.FAN_TACH,
        )
    yield FaultCase(
        1,
        "room probe: no answer",
        delivering(),
        (Expect(0, PROBE_S, off=DELIVERY, stay_s=HOUR_S),),
        (Fault("probe_open", 0, HOUR_S, probe="room"),),
        needs=fitted.ROOM,
    )
    if site.file.battery.kind != "none":
        yield FaultCase(
            55,
            "mains away for a day in the delivery",
            delivering(),
            (),
            outages=(Outage(0, 24 * HOUR_S),),
            needs=fitted.BATTERY,
        )


def _whole() -> Iterator[FaultCase]:
    off = Expect(0, SCAN_S, off=DELIVERY, stay_s=HOUR_S)
    bad = Fault("settings_bad", 0, HOUR_S)
    yield FaultCase(40, "stored settings corrupt, delivering", delivering(), (off,), (bad,))
    goes_on = Expect(0, 30, go_on=P)
    lost = Fault("clock_lost", 0)
    yield FaultCase(34, "clock lost, delivering", delivering(), (goes_on,), (lost,))
    for shift_s in (3600, -3600):
        jump = Fault("clock_wrong", 0, value=shift_s)
        yield FaultCase(35, f"clock jumps by {shift_s} s", delivering(), (), (jump,))


def cases(site: Site) -> Iterator[FaultCase]:
    """Yield the cases of floods and of the room side."""
    yield from _floods()
    yield from _pump(site)
    yield from _delivery(site)
    yield from _whole()
