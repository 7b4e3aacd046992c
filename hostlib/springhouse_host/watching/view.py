"""What a person sees: the same facts for the terminal and for the page."""

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from springhouse import output, setting, words

from .board_record import BoardRecord, alarms, degrees, room_words, started, store_words
from .outlook import Outlook

if TYPE_CHECKING:
    from rich.console import RenderableType

    from ..site.site import Site

STALE_S = 10.0  # of the board's own beat; then the screen says so


@dataclass(frozen=True)
class Facts:
    """One screen in words and numbers; None where nothing is known."""

    seen: str  # local time
    store: str
    room: str
    store_c: float | None
    room_c: float | None
    outputs: str
    power: str
    mode: str
    cold_left: str
    battery_left: str
    readings: str  # what they lack or carry, "" where nothing needs saying
    alarms: tuple[tuple[str, str], ...]
    away: bool
    started: str = ""
    self_test: str = ""
    not_kept: str = ""  # records that wait for the disk

    def as_json(self) -> dict[str, object]:
        """Return it for the page."""
        return asdict(self)


def facts(
    record: BoardRecord,
    outlook: Outlook,
    site: "Site | None",
    away: bool,
    readings: str,
    not_kept: str = "",
    us: bool = False,
) -> Facts:
    """Return what there is to show of a record; ``readings`` is its calibration's note."""
    aim = None if site is None else target(site, record.store_c(), us)
    on = [name for n, name in enumerate(words.OUTPUTS) if record.line.out >> n & 1]
    mode, left_s = record.line.md
    return Facts(
        seen=datetime.fromtimestamp(record.seen_s).strftime("%Y-%m-%d %H:%M:%S"),
        store=store_words(record, aim, us),
        room=room_words(record, us),
        store_c=record.store_c(),
        room_c=record.probe_c(2),
        outputs=", ".join(on) if on else "everything off",
        power=_power(record, site),
        mode=words.mode_text(mode, left_s * 1000 if left_s > 0 else -1),
        cold_left=_hours(outlook.cold_h) if record.on(output.PUMP) else "",
        battery_left=_hours(outlook.battery_h),
        readings=readings,
        alarms=tuple(alarms(record)),
        away=away,
        started=started(record),
        self_test=words.test_text(record.line.test) if record.line.test else "",
        not_kept=not_kept,
    )


def _power(record: BoardRecord, site: "Site | None") -> str:
    """Return mains and battery as far as they are sensed; a board without a site is believed."""
    fitted = None if site is None else site.file.sensors
    told = []
    if fitted is None or fitted.mains == "fitted":
        told.append("mains" if record.mains else "no mains")
    if record.line.mv > 0 and (fitted is None or fitted.battery == "fitted"):
        told.append(f"battery {record.line.mv / 1000:.1f} V")
    return ", ".join(told)


def target(site: "Site", store_c: float | None, us: bool = False) -> str | None:
    """Return what a charge aims for; None above the shallow target, where it may be either."""
    settings = site.settings()
    shallow_c = (settings[setting.SHALLOW_MC] + settings[setting.BAND_MK]) / 1000.0
    if store_c is None or store_c > shallow_c:
        return None
    minute = settings[setting.FULL_BY_MIN]
    by = f" by {minute // 60:02d}:{minute % 60:02d}" if minute >= 0 else ""
    return f"{degrees(settings[setting.DEEP_MC] / 1000, us)}{by}"


def _hours(value: float | None) -> str:
    return "" if value is None else f"about {value:.1f} h"


def table(shown: Facts) -> "RenderableType":
    """Return the terminal's picture of it."""
    from rich.table import Table
    from rich.text import Text

    grid = Table.grid(padding=(0, 2))
    rows = [
        ("seen", shown.seen + ("  THE BOARD IS AWAY" if shown.away else "")),
        ("store", shown.store),
        ("room", shown.room),
        ("on", shown.outputs),
        ("power", shown.power),
        ("owner's mode", shown.mode),
        ("cold left", shown.cold_left),
        ("battery left", shown.battery_left),
        ("readings", shown.readings),
        ("started", shown.started),
        ("self-test", shown.self_test),
        ("records", shown.not_kept),
    ]
    for name, text in rows:
        if text:
            grid.add_row(Text(name), Text(text))
    for what, do in shown.alarms:
        grid.add_row(Text("ALARM", style="bold"), Text(f"{what}: {do}", style="bold"))
    return grid
