"""The sizing sheet as a picture: pump and system curves, gains, coil duty."""

from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..plots import BLUE, GREEN, GREY, ORANGE, PURPLE, save
from ..units import on_screen, show, word
from .sizing import Sheet, Sizing


def draw_sheet(result: Sizing, path: Path, us: bool = False) -> None:
    """Write the picture for the middle reading of the labels.

    Raises:
        KnownError: when the file cannot be written.
    """
    sheet = result.sheets["mid"] if "mid" in result.sheets else next(iter(result.sheets.values()))
    figure = Figure(figsize=(10.0, 10.0), layout="constrained")
    ((loop, gains), (coil, hours), (water, held)) = figure.subplots(3, 2)
    _loop(loop, sheet, us)
    _gains(gains, sheet)
    _coil(coil, sheet, us)
    _hours(hours, sheet, result)
    _water(water, held, sheet, us)
    save(figure, path)


def _loop(axes: Axes, sheet: Sheet, us: bool) -> None:
    c = sheet.loop
    flow = on_screen(c.flow_l_min, "L/min", us)
    pump, system = (on_screen(heads, "m", us) for heads in (c.pump_m, c.system_m))
    at = (
        float(on_screen(c.operating_l_min, "L/min", us)),
        float(on_screen(c.operating_m, "m", us)),
    )
    axes.plot(flow, pump, color=BLUE, label="pump")
    tepid = show(5.0, "°C", us=us)
    axes.plot(flow, system, color=ORANGE, label=f"tube, fittings, coil at {tepid}")
    axes.plot([at[0]], [at[1]], "o", color=GREY)
    axes.annotate(
        f"{at[0]:.2f} {word('L/min', us)}, {at[1]:.2f} {word('m', us)}",
        at,
        textcoords="offset points",
        xytext=(10, -4),
    )
    lift = float(on_screen(c.first_lift_m, "m", us))
    axes.axhline(lift, color=GREY, ls=":", lw=1, label="lift until the loop is full")
    axes.set_ylim(0.0, 1.15 * float(pump.max()))
    axes.set_xlabel(f"flow [{word('L/min', us)}]")
    axes.set_ylabel(f"head [{word('m', us)}]")
    axes.legend(frameon=False, fontsize="small")


def _gains(axes: Axes, sheet: Sheet) -> None:
    causes = list(sheet.gain.wanted_w)
    dry = [sheet.gain.wanted_w[cause] for cause in causes]
    wet = [sheet.gain.latent_w.get(cause, 0.0) for cause in causes]
    axes.barh(causes, dry, color=ORANGE, label="sensible")
    axes.barh(causes, wet, left=dry, color=BLUE, label="latent")
    axes.set_xlabel("heat into the room in the wanted hours [W]")
    axes.legend(frameon=False, fontsize="small")


def _coil(axes: Axes, sheet: Sheet, us: bool) -> None:
    store = on_screen([duty.store_c for duty in sheet.coil_duty], "°C", us)
    axes.plot(store, [d.sensible_w for d in sheet.coil_duty], "o-", color=ORANGE, label="sensible")
    axes.plot(store, [d.latent_w for d in sheet.coil_duty], "o-", color=BLUE, label="latent")
    axes.axhline(sheet.gain.peak_w, color=GREY, ls=":", lw=1, label="hottest wanted minutes")
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(f"store [{word('°C', us)}]")
    axes.set_ylabel("coil, full fans [W]")
    axes.legend(frameon=False, fontsize="small")


def _water(hours: Axes, held: Axes, sheet: Sheet, us: bool) -> None:
    water = on_screen([w.litres for w in sheet.water], "L", us)
    hours.plot(water, [w.cold_h for w in sheet.water], "o-", color=GREEN, label="cold lasts")
    again = [
        (x, w.recharge_h)
        for x, w in zip(water, sheet.water, strict=True)
        if w.recharge_h is not None
    ]
    hours.plot([x for x, _ in again], [h for _, h in again], "o-", color=BLUE, label="recharge")
    hours.set_ylim(bottom=0.0)
    hours.set_xlabel(f"water [{word('L', us)}]")
    hours.set_ylabel("hours")
    hours.legend(frameon=False, fontsize="small")
    kept = [
        (x, w.hold_days) for x, w in zip(water, sheet.water, strict=True) if w.hold_days is not None
    ]
    held.plot([x for x, _ in kept], [d for _, d in kept], "o-", color=PURPLE)
    held.set_ylim(bottom=0.0)
    held.set_xlabel(f"water [{word('L', us)}]")
    held.set_ylabel("days held, everything off")


def _hours(axes: Axes, sheet: Sheet, result: Sizing) -> None:
    bars = {
        "wanted": (result.wanted_h, PURPLE),
        "one charge lasts": (sheet.discharge_h, GREEN),
        "charging hours": (result.charging_h, PURPLE),
        "pull-down takes": (sheet.pull_down_h or 0.0, BLUE),
        "compressor, design day": (min(24.0, sheet.design_day.run_h), BLUE),
    }
    axes.barh(list(bars), [h for h, _ in bars.values()], color=[c for _, c in bars.values()])
    axes.invert_yaxis()
    axes.set_xlabel("hours")
