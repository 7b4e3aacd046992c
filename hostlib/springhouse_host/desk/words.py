"""What the page says: the answer in a sentence, tables, curves, the drawing's numbers.

Texts and numbers are in the page's units; the page itself converts nothing.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..proof import show as proof_show
from ..proof.verdict import Judged, judge
from ..sheet.rows import DESCRIBED, days, hours
from ..site.known import VARIANTS, Known, Variant
from ..site.owner_settings import SLOTS
from ..site.site import Site
from ..units import US_WORDS, convert, show
from ..wiring.plumbing import heights_m
from .beside import Asked, Bought
from .week import EVERY_MIN, Week, readings

WAITS = "…"
MOST_OPEN = 8  # numbers to be measured


def of_week(site: Site, weeks: Sequence[Week], us: bool) -> dict[str, Any]:
    """Return what the page shows of the week; ``weeks`` are its readings in any order."""
    ordered = sorted(weeks, key=lambda week: VARIANTS.index(week.variant))
    judged = [judge(p, [week.result for week in ordered]) for p in site.promises()]
    return {
        "kept": all(j.kept for j in judged),
        "answer": answer(site, ordered, judged, us),
        "figures": _figures(site, ordered, us),
        "promises": _promises(judged, us),
        "days": _days(ordered[0], us),
        "chart": _chart(site, ordered, us),
        "drawing": drawing(site, us),
    }


def of_first(site: Site, week: Week, us: bool) -> dict[str, Any]:
    """Return what is known while only the weakest reading's week has been run."""
    share = 100.0 * week.result.summary["wanted_share_within"]
    below = show(site.file.promises.room_below_c, "°C", us=us)
    later = [DESCRIBED[v] for v in readings(site) if v != week.variant]
    return {
        "answer": f"So far: below {below} in {share:.1f} % of the wanted hours on the "
        f"{DESCRIBED[week.variant]} reading of the labels; the {' and '.join(later)} readings "
        "are being worked out.",
        "column": [row[1] for row in _figures(site, [week], us)["rows"]],
        "reading": DESCRIBED[week.variant],
        "room": _curve(week.room_c, us),
        "store": _curve(week.store_c, us),
    }


def answer(site: Site, weeks: Sequence[Week], judged: Sequence[Judged], us: bool) -> str:
    """Return the answer in one or two sentences; the weakest reading comes first in ``weeks``."""
    promises = site.file.promises
    shares = {w.variant: 100.0 * w.result.summary["wanted_share_within"] for w in weeks}
    weakest = next(iter(shares.values()))
    below = show(promises.room_below_c, "°C", us=us)
    yes = "Yes" if all(j.kept for j in judged) else "No"
    first = (
        f"{yes}: in the hottest week the room stays below {below} in {weakest:.1f} % of the "
        f"wanted hours"
    )
    others = ", ".join(f"{DESCRIBED[v]} {share:.1f} %" for v, share in list(shares.items())[1:])
    if others:
        first += f" on the weakest reading of the labels ({others})"
    first += f"; promised are {promises.room_share_percent:g} %."
    broken = [j for j in judged if not j.kept and j.promise.measure != "room_share_percent"]
    for j in broken:
        name, bound, worst, _ = proof_show.promise_cells(j, us)
        first += f" Not kept: {name}, {worst} where {bound} is promised."
    return first


def _figures(site: Site, weeks: Sequence[Week], us: bool) -> dict[str, Any]:
    def row(words: str, key: str, text: str) -> list[str]:
        return [words, *(text.format(w.result.summary[key]) for w in weeks)]

    money = f"{{:.2f}} {site.currency}".rstrip()
    limit = show(site.file.promises.room_below_c, "°C", us=us)
    rows = [
        [
            f"wanted hours below {limit}",
            *(f"{100.0 * w.result.summary['wanted_share_within']:.1f} %" for w in weeks),
        ],
        row("hours too warm in the week", "room_hours_over", "{:.1f} h"),
        row("electricity of the week", "energy_kwh", "{:.1f} kWh"),
        row("what it costs", "cost", money),
        ["most ice", *(_two_places(w.result.summary["max_ice_kg"], "kg", us) for w in weeks)],
        [
            "water out of the air",
            *(_two_places(w.result.summary["condensate_l"], "L", us) for w in weeks),
        ],
    ]
    return {"head": ["the hottest week", *(DESCRIBED[w.variant] for w in weeks)], "rows": rows}


def _two_places(value: float, unit: str, us: bool) -> str:
    word = US_WORDS[unit] if us else unit
    return f"{convert(value, unit, word, kind=unit):.2f} {word}"


def _promises(judged: Sequence[Judged], us: bool) -> dict[str, Any]:
    rows = [[*proof_show.promise_cells(j, us), "kept" if j.kept else "NOT KEPT"] for j in judged]
    return {"head": ["promise", "bound", "worst", "margin", "in this week"], "rows": rows}


def _days(week: Week, us: bool) -> dict[str, Any]:
    def c(value: float | None) -> str:
        return "none wanted" if value is None else show(value, "°C", us=us)

    rows = [
        [
            day.date[5:],
            c(day.outdoor_c),
            c(day.room_c),
            c(day.store_c),
            f"{day.cool_h:.1f} of {day.wanted_h:.1f} h",
        ]
        for day in week.days
    ]
    head = ["day", "hottest outdoors", "room, wanted hours", "store, coldest", "cool"]
    return {"head": head, "rows": rows, "caption": f"day by day, {DESCRIBED[week.variant]} reading"}


def _curve(values: Sequence[float], us: bool) -> list[float]:
    if not us:
        return list(values)
    zero, one = (convert(t, "°C", US_WORDS["°C"], kind="°C") for t in (0.0, 1.0))
    return [round(float(t), 2) for t in zero + (one - zero) * np.array(values)]


def _chart(site: Site, weeks: Sequence[Week], us: bool) -> dict[str, Any]:
    first = weeks[0]
    return {
        "unit": US_WORDS["°C"] if us else "°C",
        "minutes": EVERY_MIN,
        "days": [day.date[5:] for day in first.days],
        "limit": _curve([site.file.promises.room_below_c], us)[0],
        "room": {DESCRIBED[w.variant]: _curve(w.room_c, us) for w in weeks},
        "store": {DESCRIBED[w.variant]: _curve(w.store_c, us) for w in weeks},
        "outdoor": _curve(first.outdoor_c, us),
        "wanted": first.wanted,
        "charging": first.charging,
    }


def drawing(site: Site, us: bool) -> dict[str, Any]:
    """Return heights [m] and texts of the installation's drawing."""
    file = site.file
    store, loop, coil = file.store, file.loop, file.coil
    at = heights_m(site)

    def q(value: float, unit: str) -> str:
        return show(value, unit, us=us)

    deep_c, shallow_c = (_target_c(site, key) for key in ("deep_target_c", "shallow_target_c"))
    high_m = store.probe_high_m if file.sensors.store_high == "fitted" else None
    low_m = store.probe_low_m if file.sensors.store_low == "fitted" else None
    return {
        "floor_m": 0.0,
        "rim_m": site.plant().store.depth_m,
        "water_m": at["water line"],
        "coil_m": at["coil"],
        "draw_m": at["draw"],
        "return_m": at["return"],
        "break_m": at["siphon break"],
        "low_m": low_m,
        "high_m": high_m,
        "fans": coil.fans,
        "texts": {
            "store": f"{q(store.water_litres, 'L')} of water",
            "deep": f"charged to {q(deep_c, '°C')}",
            "shallow": f"otherwise to {q(shallow_c, '°C')}",
            "freezer": f"freezer of {q(file.freezer.cabinet_litres, 'L')}, "
            f"{file.freezer.label_input_w:g} W",
            "tube": f"{q(loop.tube_length_m, 'm')} of {q(loop.tube_bore_mm, 'mm')} tube, "
            f"{q(loop.insulation_mm, 'mm')} insulated",
            "flow": f"pump: {q(site.weakest_l_min, 'L/min')} or more",
            "lift": f"{q(loop.lift_m, 'm')} up",
            "coil": f"{q(coil.face_width_m, 'm')} x {q(coil.face_height_m, 'm')}",
            "fans": f"{_some(coil.rows, 'row')}, {_some(coil.fans, 'fan')}",
            "room": f"room below {q(file.promises.room_below_c, '°C')}",
            "water": f"water line {q(at['water line'], 'm')}",
            "tray": f"tray {q(file.tray.capacity_litres, 'L')}",
        },
    }


def _some(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _target_c(site: Site, key: str) -> float:
    slot = SLOTS[key]
    return float(site.settings()[slot.slot] / slot.scale)


def of_sheets(readings: Sequence[Variant], found: Mapping[Variant, Asked]) -> dict[str, Any]:
    """Return the sizing sheet's figures so far; WAITS stands for what is still worked out."""
    ordered = [v for v in VARIANTS if v in readings]

    def row(words: str, text: Any) -> list[str]:
        return [words, *(text(found[v]) if v in found else WAITS for v in ordered)]

    def cut(a: Asked) -> str:
        if a.power_cut_h is None:
            return "no battery"
        return f"{hours(a.power_cut_h)}, then no {a.power_cut_first}"

    rows = [
        row("one charge holds the room", lambda a: hours(a.held_h) if a.held_h else "never"),
        row("one charge cools at all", lambda a: hours(a.useful_h)),
        row("of wanted hours", lambda a: hours(a.wanted_h)),
        row("held, everything off", lambda a: days(a.hold_days)),
        row("charging undoes a whole discharge in", lambda a: hours(a.pull_down_h)),
        row("power cut, full store and battery", cut),
    ]
    weakest = found.get(ordered[0])
    first = (
        ""
        if weakest is None
        else f"First limit on the weakest reading: {weakest.limit}, {weakest.limit_ratio:.2f} of "
        f"what is needed. To change: {weakest.limit_change}."
    )
    head = ["the hottest day", *(DESCRIBED[v] for v in ordered)]
    return {"sheet": {"head": head, "rows": rows}, "first": first}


def to_measure(site: Site, us: bool) -> dict[str, Any]:
    """Return what labels leave open, widest first, and where each number comes from."""
    rows = []
    open_keys = [
        (key, known)
        for key, known in site.known.items()
        if known.grade == "label" and known.low < known.high
    ]
    for key, known in sorted(open_keys, key=lambda pair: _spread(pair[1]), reverse=True):
        ends = [show(v, known.unit, us=us) for v in (known.low, known.mid, known.high)]
        rows.append([key, *ends, known.source])
    return {
        "caption": "what to measure next: what the labels leave open, widest first",
        "head": ["key", "from", "taken", "to", "where it comes from"],
        "rows": rows[:MOST_OPEN],
    }


def _spread(known: Known) -> float:
    return (known.high - known.low) / max(abs(known.mid), 1e-9)


def of_parts(site: Site, bought: Bought, us: bool) -> dict[str, Any]:
    """Return the parts list and what it costs."""
    low, mid, high = bought.prices
    prices = f"All parts together {mid:g}, from {low:g} to {high:g} {site.currency}".rstrip()
    whose = (
        "a guess of ours: [worth] in the site file takes yours" if bought.guessed else "as stated"
    )
    rows = [[p.name, str(p.count), p.must, p.why] for p in bought.parts]
    return {
        "open": to_measure(site, us),
        "parts": {"head": ["part", "how many", "must", "why"], "rows": rows},
        "wrong": list(bought.wrong),
        "prices": f"{prices} ({whose}).",
    }
