"""What people ask of a store, as rows and tables of the sizing sheet."""

from typing import TYPE_CHECKING

from .rows import Rows, days, hours

if TYPE_CHECKING:
    from rich.table import Table

    from ..site import Site
    from .sizing import Sheet, Sizing


def asked_rows(result: "Sizing", us: bool) -> Rows:
    """Return hold time, power cut, supply air, and of panel and sound what is declared."""
    from ..units import show

    def power_cut(s: "Sheet") -> str:
        cut = s.power_cut
        if cut.battery_h is None:
            return "no battery"
        return f"{cut.hours:.1f} h\nthen no {cut.first}"

    def db(value: float | None) -> str:
        return "" if value is None else f"{value:.0f} dB(A)"

    sheet = next(iter(result.sheets.values()))
    rows: Rows = (
        ("held, everything off, until of no use", lambda s: days(s.hold_days)),
        ("power cut, full store and battery", power_cut),
        ("supply air at the end of discharge",
         lambda s: show(s.coil_duty[-1].air_off_c, "°C", us=us)),
    )  # fmt: skip
    if sheet.sun_h is not None:
        sun = "sun carries pump, fans, board, design day"
        rows += ((sun, lambda s: f"{s.sun_h or 0.0:.1f} h"),)
    if sheet.sound_db is not None:
        rows += (("fans at the listener, full", lambda s: db(s.sound_db)),
                 ("fans at the listener, quiet", lambda s: db(s.quiet_db)))  # fmt: skip
    return rows


def hold_evidence(site: "Site") -> str:
    """Return what the hold time rests on: a stand that was measured, a fit, or the label."""
    cabinet = site.known["freezer.cabinet_ua_w_k"]
    if cabinet.grade == "label":
        return (
            f"days held rest on a label, not on a measured stand: {cabinet.source}; "
            "springhouse measure stand tells them"
        )
    how = "a measured stand" if cabinet.grade == "measured" else f"a {cabinet.grade} cabinet"
    return (
        f"days held rest on {how}: {cabinet.mid:.2g} W/K ({cabinet.low:.2g} to {cabinet.high:.2g})"
    )


def brine_remarks(us: bool) -> tuple[str, str, str]:
    """Return what antifreeze and salt do besides."""
    from ..units import show
    from .parts_asked import COLD_C

    return (
        f"heat carried by the same flow and what coil and film pass, both against water at "
        f"{show(COLD_C, '°C', us=us)}; a pump also moves less of what is thicker",
        "salt: steel in aerated salt water loses about 0.1 mm a year (Uhlig's Corrosion Handbook, "
        "from memory), aluminium fins and copper joints pit sooner; glycol corrodes once its "
        "inhibitor is spent",
        f"ice: water stops by itself at {show(0.0, '°C', us=us)} and its ice is store; a brine "
        "goes below and the room's moisture then freezes on the coil",
    )


def working_point(site: "Site", result: "Sizing", us: bool) -> str:
    """Return where the fans' air meets the fins, and how that is known."""
    from ..site.fan_air import static_pa
    from ..units import show

    coil, known = site.file.coil, site.known["coil.air_m3_h"]
    in_series, one = coil.fans_in_series, coil.fans == 1
    way = (
        "one fan" if one else f"{coil.fans} {'behind each other' if in_series else 'side by side'}"
    )
    free_m3_h = coil.fan_m3_h * (1 if in_series else coil.fans)

    def air(value: float) -> str:
        return show(value, "m3/h", us=us)

    said = f"fans: {way}, {air(free_m3_h)} against nothing, {air(known.mid)} through the fins"
    if known.high > known.low:
        said += f" ({air(known.low)} to {air(known.high)})"
    if coil.fan_pa is None:
        return f"{said}: {known.source}; coil.fan_pa, of one fan's label, tells more"
    most_pa = coil.fan_pa * (coil.fans if in_series else 1)
    held_pa = static_pa(coil.fan_pa, coil.fan_m3_h, coil.fans, in_series, known.mid)
    others = [f for f in result.sheets["mid"].fan_ways if f.way.startswith("two")]
    would = ", ".join(f"{f.way} {air(f.air_m3_h)}" for f in others)
    return (
        f"{said}, at {show(held_pa, 'Pa', us=us)} of the {show(most_pa, 'Pa', us=us)} they hold "
        f"with no air moving: where their line from one to the other crosses the fins'; {would}"
    )


def asked_remarks(site: "Site", result: "Sizing", us: bool) -> list[str]:
    """Return what stands behind hold time, brines and sound."""
    sheet = next(iter(result.sheets.values()))
    found = [hold_evidence(site), *brine_remarks(us)]
    found.append(
        "fans: a straight line from the label's free air to its static pressure, against fins as "
        "laminar slots; trade practice"
    )
    if sheet.sound_db is None:
        found.append("how loud: give coil.fan_db_a, dB(A) at 1 m of one fan's label")
    return found


def asked_tables(result: "Sizing", us: bool) -> "list[Table]":
    """Return water, fans, brines and lid of the middle reading."""
    from rich import box
    from rich.table import Table

    from ..units import show

    def table(*columns: str) -> Table:
        made = Table(box=box.SIMPLE_HEAD)
        for n, column in enumerate(columns):
            made.add_column(column, justify="right" if n else "left", no_wrap=n > 0)
        return made

    sheet = result.sheets["mid" if "mid" in result.sheets else next(iter(result.sheets))]
    water = table("how much water", "cold lasts", "recharge", "held, all off")
    for w in sheet.water:
        water.add_row(
            show(w.litres, "L", us=us), hours(w.cold_h), hours(w.recharge_h), days(w.hold_days)
        )
    told = sheet.fan_ways[0].static_pa is not None
    fans = table("fans", "air", *(["against"] if told else []), "room cooling", "fans draw")
    for f in sheet.fan_ways:
        against = [] if f.static_pa is None else [show(f.static_pa, "Pa", us=us)]
        air = show(f.air_m3_h, "m3/h", us=us)
        fans.add_row(f.way, air, *against, f"{f.room_w:.0f} W", f"{f.fan_w:.1f} W")
    brine = table("why plain water", "freezes", "heat carried", "coil passes", "viscosity")
    for b in sheet.brines:
        brine.add_row(
            b.name,
            show(b.freezes_c, "°C", us=us),
            f"{100.0 * b.capacity_share:.0f} %",
            f"{100.0 * b.transfer_share:.0f} %",
            f"x {b.viscosity_share:.1f}",
        )
    lid = table("without lid and sheet", "water", "heat", "in 30 days")
    for name, found in zip(("charged", "idle, as warm as its place"), sheet.open_lid, strict=True):
        what = "evaporates" if found.litres_month > 0.0 else "condenses into it"
        lid.add_row(
            name,
            show(found.water_c, "°C", us=us),
            f"{abs(found.latent_w):.0f} W",
            f"{show(abs(found.litres_month), 'L', us=us)} {what}",
        )
    return [water, fans, brine, lid]
