"""What people ask of a store, as rows and tables of the sizing sheet."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.table import Table

    from ..commands.size import Rows
    from ..sizing import Sheet, Sizing


def days(value: float | None) -> str:
    """Return days, or words where there are none."""
    return "does not warm so far" if value is None else f"{value:.1f} d"


def asked_rows(us: bool) -> "Rows":
    """Return hold time, power cut, sun, supply air and sound."""
    from ..units import show

    def power_cut(s: "Sheet") -> str:
        cut = s.power_cut
        if cut.battery_h is None:
            return "no battery"
        return f"{cut.hours:.1f} h, then no {cut.first}"

    def db(value: float | None) -> str:
        return "fan_db_a not given" if value is None else f"{value:.0f} dB(A)"

    return (
        ("held, everything off, until of no use", lambda s: days(s.hold_days)),
        ("power cut, full store and battery", power_cut),
        (
            "sun carries pump, fans, board, design day",
            lambda s: "no panel" if s.sun_h is None else f"{s.sun_h:.1f} h",
        ),
        ("supply air at the end of discharge",
         lambda s: show(s.coil_duty[-1].air_off_c, "°C", us=us)),
        ("fans at the listener, full", lambda s: db(s.sound_db)),
        ("fans at the listener, quiet", lambda s: db(s.quiet_db)),
    )  # fmt: skip


def asked_tables(result: "Sizing", us: bool) -> "list[Table]":
    """Return water, fans, brines and lid of the middle reading."""
    from rich import box
    from rich.table import Table

    from ..commands.size import hours
    from ..units import show

    def table(*columns: str) -> Table:
        made = Table(box=box.SIMPLE_HEAD)
        for n, column in enumerate(columns):
            made.add_column(column, justify="right" if n else "left")
        return made

    sheet = result.sheets["mid" if "mid" in result.sheets else next(iter(result.sheets))]
    water = table("how much water", "cold lasts", "recharge", "held, all off")
    for w in sheet.water:
        water.add_row(
            show(w.litres, "L", us=us), hours(w.cold_h), hours(w.recharge_h), days(w.hold_days)
        )
    fans = table("fans", "air", "room cooling", "fans draw")
    for f in sheet.fan_ways:
        fans.add_row(f.way, f"{f.air_m3_h:.0f} m3/h", f"{f.room_w:.0f} W", f"{f.fan_w:.1f} W")
    brine = table("why plain water", "freezes", "heat of a litre", "film in the coil", "viscosity")
    for b in sheet.brines:
        brine.add_row(
            b.name,
            show(b.freezes_c, "°C", us=us),
            f"{100.0 * b.capacity_share:.0f} %",
            f"{100.0 * b.film_share:.0f} %",
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
