"""What is thought of the answers to a step: wrong, worth a note, and what follows from them."""

import math
import statistics
from collections.abc import Callable
from dataclasses import dataclass, field

from springhouse import setting

from ..measuring import BUCKET_SHARE, COVERAGE, STOPWATCH_S
from ..site import Site
from ..site.probes import ICE_POINT_K, RAW_K
from . import prediction
from .answer_book import Values
from .kinds import ICE_READINGS, Ask, Step

SPREAD_K = 0.13  # two steps of a 12-bit probe, 1/16 K each
BATH_K = 0.05  # of stirred crushed ice from tap water in a kitchen; common practice, no source
STEP_K = 0.0625  # of the probe; uniform over a step: its standard uncertainty is step / sqrt(12)
FLOOR_KG_M2 = 150.0  # EN 1991-1-1:2002, table 6.2, category A: 1.5 to 2.0 kN/m2, from memory
FLOW_SHARE = 0.2
CHARGE_SHARE = 1.0 / 3.0
METER_SHARE = 0.01  # repeatability of a hall flow sensor; common practice, no source
LONGEST_DELAY_S = 240.0
LEAST_BUCKET_S = 20.0
MOST_PULSES_L = 10000  # of the firmware's wiring.py


@dataclass
class Judgement:
    """What was found."""

    wrong: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    results: dict[str, float] = field(default_factory=dict)
    refused: bool = False


def judge(site: Site, step: Step, values: Values) -> Judgement:
    """Judge the answers to a step; every one of its asks must be in ``values``."""
    found = Judgement()
    for ask in step.asks:
        _plain(ask, values, found)
    special = _SPECIAL.get(step.kind)
    if special is not None:
        special(site, step, values, found)
    return found


def _plain(ask: Ask, values: Values, found: Judgement) -> None:
    value = values[ask.name]
    bad = bool(ask.right) and value != ask.right
    if ask.good is not None:
        low, high = ask.good
        bad = not low <= _number(values, ask.name) <= high
    if bad:
        shown = f"{value:g} {ask.unit}" if isinstance(value, float) else value
        found.wrong.append(f"{ask.text}: {shown}: {ask.otherwise}")
        found.refused = found.refused or ask.refuses


def _number(values: Values, name: str) -> float:
    value = values[name]
    assert isinstance(value, float | int)
    return float(value)


def _type(_site: Site, _step: Step, values: Values, found: Judgement) -> None:
    if values["control"] == "electronic":
        found.notes.append("an electronic control may wait for a button: the next step tells")


def _restart(site: Site, _step: Step, values: Values, found: Judgement) -> None:
    delay_s = _number(values, "delay_s")
    shortest_s = site.settings()[setting.MIN_ON_S]
    if delay_s >= shortest_s:
        found.wrong.append(
            f"its own delay, {delay_s:g} s, is as long as the shortest run, {shortest_s} s: "
            "settings.min_on_s at least twice the delay, then prove again"
        )
    elif delay_s > LONGEST_DELAY_S:
        found.notes.append(f"own delay {delay_s:g} s: settings.min_on_s twice that is better")
    found.results["delay_s"] = delay_s


def _floor(site: Site, _step: Step, values: Values, found: Judgement) -> None:
    load = prediction.floor_kg_m2(
        site, *(_number(values, name) for name in ("freezer_kg", "length_m", "width_m"))
    )
    found.results["kg_m2"] = load
    if load > FLOOR_KG_M2 and values["carries"] != "yes":
        found.wrong.append(
            f"{load:.0f} kg/m²: over {FLOOR_KG_M2:g}: ask who may judge this floor, or a place on "
            "the ground"
        )


def _fill(site: Site, _step: Step, values: Values, found: Judgement) -> None:
    line, height_mm = prediction.fill_line(site), _number(values, "height_mm")
    if height_mm > line.highest_mm:
        found.wrong.append(
            f"water at {height_mm:g} mm: {line.highest_mm:.0f} mm at most, {line.ice_mm:.1f} mm "
            f"for the ice and {prediction.HEADROOM_MM:g} mm under the rim"
        )
    if height_mm + line.solid_mm > line.rim_mm:
        over = height_mm + line.solid_mm - line.rim_mm
        found.notes.append(
            f"frozen solid it would stand {over:.0f} mm over the rim: the freeze cut-out is what "
            "keeps it from that"
        )


def _probe(_site: Site, step: Step, values: Values, found: Judgement) -> None:
    if values["moved"] != step.probe:
        found.wrong.append(
            f"{step.probe} was warmed, {values['moved']} moved: serial numbers in wiring.json or "
            "labels on the cables"
        )


def _ice_point(_site: Site, step: Step, values: Values, found: Judgement) -> None:
    readings = values["readings"]
    assert isinstance(readings, list)
    if len(readings) < ICE_READINGS:
        found.wrong.append(f"{len(readings)} good readings of {ICE_READINGS}: cable, pull-up")
        return
    mean, spread = statistics.fmean(readings), max(readings) - min(readings)
    scatter = statistics.stdev(readings) / math.sqrt(len(readings))
    left = COVERAGE * math.hypot(BATH_K, scatter, STEP_K / math.sqrt(12.0))
    found.results.update(offset_k=round(-mean, 3), left_k=left, spread_k=spread)
    found.notes.append(f"offset {-mean:+.3f} K, remaining error {left:.2f} K (about 95 %)")
    if spread > SPREAD_K:
        found.wrong.append(f"spread {spread:.2f} K: over {SPREAD_K:g}: stir, wait, again")
    if abs(mean) > RAW_K:
        found.wrong.append(
            f"mean {mean:.2f} °C: over {RAW_K:g} K off: is it ice *and* water? Else another probe"
        )
    if left > ICE_POINT_K:
        found.wrong.append(f"remaining error {left:.2f} K: over {ICE_POINT_K:g} K: again")


def _flow(site: Site, _step: Step, values: Values, found: Judgement) -> None:
    litres, seconds = _number(values, "litres"), _number(values, "seconds")
    bucket = 60.0 * litres / seconds
    weakest, strongest = prediction.flow_l_min(site)
    found.results["l_min"] = bucket
    if not weakest * (1.0 - FLOW_SHARE) <= bucket <= strongest * (1.0 + FLOW_SHARE):
        found.wrong.append(
            f"{bucket:.2f} L/min: expected {weakest:.2f} to {strongest:.2f}, a fifth either way: "
            "air, kink, lift, or labels (springhouse measure)"
        )
    if seconds < LEAST_BUCKET_S:
        found.wrong.append(f"{seconds:g} s by the stopwatch: {LEAST_BUCKET_S:g} s or more")
    if "board_l_min" not in values:
        return
    shown, pulses = _number(values, "board_l_min"), _number(values, "pulses_l")
    if shown <= 0.0:
        found.wrong.append("the flow sensor reads nothing: its least flow, its wire, its arrow")
        return
    share = COVERAGE * math.hypot(BUCKET_SHARE, STOPWATCH_S / seconds, METER_SHARE)
    right = round(pulses * shown / bucket)
    found.results.update(pulses_l=float(right), share=share)
    found.notes.append(
        f'"flow_pulses_l": {right} ± {share * right:.0f} into wiring.json (--wiring does it), then '
        f"flash; the flow itself by springhouse measure SITE flow --litres {litres:g} "
        f"--seconds {seconds:g}"
    )
    if not 1 <= right <= MOST_PULSES_L:
        found.wrong.append(f"{right} pulses a litre: the board takes 1 to {MOST_PULSES_L}")


def _first_charge(site: Site, _step: Step, values: Values, found: Judgement) -> None:
    from_c, to_c, hours, place_c = (
        _number(values, name) for name in ("from_c", "to_c", "hours", "place_c")
    )
    if from_c - to_c < 1.0:
        found.wrong.append(f"{from_c:g} to {to_c:g} °C: at least 1 K down, else it tells nothing")
        return
    expected = prediction.charge_hours(site, from_c, to_c, place_c)
    strong, weak = expected["high"], expected["low"]
    if not math.isfinite(strong):
        found.wrong.append(
            f"{to_c:g} °C beside {place_c:g} °C: no reading of the labels gets there: "
            "thermometers, or freezer.capacity_w"
        )
        return
    found.results.update(expected_least_h=strong, h_per_k=hours / (from_c - to_c))
    if math.isfinite(weak):
        found.results["expected_most_h"] = weak
    text = f"{hours:g} h, expected {strong:.1f} to {weak:.1f}"
    if hours > weak * (1.0 + CHARGE_SHARE):
        found.wrong.append(
            f"{text}: lid, own thermostat, condenser, place, litres; then springhouse measure chill"
        )
    elif hours < strong * (1.0 - CHARGE_SHARE):
        found.wrong.append(
            f"{text}: was it stirred, are the litres right? A stronger freezer makes ice sooner"
        )


def _outage(site: Site, _step: Step, values: Values, found: Judgement) -> None:
    least_s, waited_s = site.settings()[setting.MIN_OFF_S], _number(values, "waited_s")
    if waited_s < least_s:
        found.wrong.append(f"compressor after {waited_s:g} s: the off-time is {least_s} s: do not "
                           "use it, find out why")  # fmt: skip


_SPECIAL: dict[str, Callable[[Site, Step, Values, Judgement], None]] = {
    "type": _type,
    "restart": _restart,
    "floor": _floor,
    "fill": _fill,
    "probe": _probe,
    "ice_point": _ice_point,
    "flow": _flow,
    "first_charge": _first_charge,
    "outage": _outage,
}
