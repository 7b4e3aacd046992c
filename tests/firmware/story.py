"""Random stories for the controller, and the record of what it did, as an onlooker would see it.

A story is settings and a list of acts: readings change, scans pass, resets, requests, presses. The
scans of a played story hold readings and outputs only: the judges in `judge.py` never look into
the controller's memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from drive import EVERY_SENSOR, PROBES, Drive, fitted, mode, reading, week
from drive import setting as setting_slot
from hypothesis import strategies as st

# Parts an installation may have: everything, the least, and each thing missing that matters.
KITS = (
    EVERY_SENSOR,
    fitted.STORE_LOW | fitted.ROOM | fitted.TRAY,
    fitted.STORE_LOW | fitted.ROOM,
    fitted.STORE_HIGH | fitted.ROOM | fitted.TRAY | fitted.FLOW | fitted.MAINS,
    EVERY_SENSOR & ~fitted.FLOW,
    EVERY_SENSOR & ~(fitted.COIL_IN | fitted.COIL_AIR),
    EVERY_SENSOR & ~(fitted.MAINS | fitted.BATTERY),
    EVERY_SENSOR & ~(fitted.BATTERY | fitted.STORE_HIGH),
)

STORE_MC = st.sampled_from(
    (
        -600,
        0,
        400,
        900,
        1000,
        1001,
        1500,
        2900,
        3000,
        3600,
        4400,
        4500,
        4501,
        5600,
        6000,
        6900,
        9000,
    )
)
NEAR_FREEZE_MC = (-600, 400, 700, 900, 1000, 1001, 1200, 1500, 2000, 4400)
ROOM_MC = st.sampled_from((2800, 12000, 22000, 23900, 24000, 24001, 24500, 26000, 27000, 30000))
COIL_MC = st.sampled_from((-1000, -501, -500, 0, 300, 2900, 3050, 3400, 3600, 6000, 9000, 22000))
NEAR_ICE_MC = st.sampled_from((-1000, -700, -501, -60, 0, 300, 2900, 3050, 3400, 6000))
ODD_MC = st.sampled_from((85000, -5001, 45001, 46000, 60001, 14000, 20500, 34000)) | st.integers(
    -60000, 130000
)
YES_NO = st.sampled_from((1, 1, 0))

READINGS = {
    "WEEK_MIN": st.just(-1) | st.integers(0, week.WEEK_MIN - 1),
    "STORE_LOW_MC": STORE_MC | STORE_MC | ODD_MC,
    "STORE_HIGH_MC": STORE_MC | STORE_MC | ODD_MC,
    "ROOM_MC": ROOM_MC | ROOM_MC | ODD_MC,
    "COIL_IN_MC": COIL_MC | COIL_MC | ODD_MC,
    "COIL_AIR_MC": COIL_MC | COIL_MC | ODD_MC,
    "BATTERY_MV": st.sampled_from((0, 11999, 12000, 12600, 12601, 13500)),
    "MAINS_OK": YES_NO,
    "TRAY_OK": YES_NO,
    "LEVEL_OK": YES_NO,
    "FLOOR_DRY": YES_NO,
    "SETTINGS_OK": YES_NO,
    "RELAY_OPEN": st.sampled_from((1, 1, 1, 0)),
    "FLOW_ML_MIN": st.sampled_from((0, 299, 300, 2000)),
    "FAN_RPM": st.sampled_from((0, 199, 200, 900)),
}

SCANS = st.sampled_from(
    [(1000, n) for n in (0, 1, 2, 4, 7, 12)]
    + [(2000, 6), (5000, 3), (7300, 2), (20000, 4)]
    + [(60000, 3), (60000, 11), (600000, 2), (3600000, 2)]
)

_QUICK = {  # settings that make a story reach more within its length
    "MIN_OFF_S": (300, 600),
    "MIN_ON_S": (60, 1800),
    "STARTS_PER_HOUR": (1, 4),
    "RESTART_STAGGER_S": (0, 120),
    "PROGRESS_MIN": (60, 360),
    "STUCK_MIN": (30, 120),
    "DISAGREE_MIN": (5, 120),
    "PULL_DOWN_RUN_MIN": (30, 180),
}


Act = tuple[Any, ...]


@dataclass
class Story:
    """What is to happen; see `story`."""

    fit: int
    settings: dict[str, int]
    windows: list[tuple[int, int, int, int]]
    acts: list[tuple[Act, tuple[int, int]]]  # what happens, then (ms, scans)
    origin: int = 0


@dataclass
class Scan:
    """One scan: true time, the readings shown, the outputs that came back."""

    t_ms: int
    readings: tuple[int, ...]
    out: int
    boot: bool
    age_ms: tuple[int, ...] = ()

    def __getitem__(self, name: str) -> int:
        return self.readings[getattr(reading, name)]


@dataclass
class Record:
    """A played story."""

    drive: Drive
    scans: list[Scan] = field(default_factory=list)

    def setting(self, name: str) -> int:
        return self.drive.settings[getattr(setting_slot, name)]

    def fitted(self, bit: int) -> bool:
        return bool(self.drive.settings[setting_slot.FITTED] & bit)


@st.composite
def settings_inside_bounds(draw: st.DrawFn) -> dict[str, int]:
    """A few settings moved anywhere inside their bounds, the rest default."""
    trial = Drive()
    found: dict[str, int] = {}
    names = st.sampled_from([n for n in vars(setting_slot) if n.isupper() and n not in _NOT_PLAIN])
    for name in draw(st.lists(names, max_size=5, unique=True)):
        slot = getattr(setting_slot, name)
        _, low, high, default = setting_slot.row(slot)
        trial.settings[slot] = draw(st.integers(low, high) | st.sampled_from((low, high)))
        if setting_slot.first_fault(trial.settings) >= 0:
            trial.settings[slot] = default
        else:
            found[name] = trial.settings[slot]
    return found | {name: draw(st.sampled_from(choices)) for name, choices in _QUICK.items()}


_NOT_PLAIN = (
    {"WINDOWS", "WINDOW_STRIDE", "SCHEMA_NOW", "WINDOW_1_KIND", "SIZE", "BOUNDS", "WINDOW_BOUNDS"}
    | {"SCHEMA", "FITTED", "F"}
    | set(_QUICK)
)

WINDOW = st.tuples(
    st.integers(1, 3), st.integers(0, 127), st.integers(0, 1439), st.integers(0, 1439)
)


def change(names: Mapping[str, st.SearchStrategy[int]]) -> st.SearchStrategy[Act]:
    """Acts that set one of the named readings."""
    return st.sampled_from(sorted(names)).flatmap(
        lambda name: st.tuples(st.just("set"), st.just(name), names[name])
    )


WAIT = st.just(("wait",))  # every act is followed by scans anyhow
ASK = st.tuples(st.just("ask"), st.integers(-1, mode.SIZE), st.sampled_from((0, 1, 10, 120, 4320)))
PRESS = st.just(("press",))
BOOT = st.just(("boot",))
HONEST = st.tuples(st.just("honest"), st.booleans())
HEAL = st.just(("heal",))
# Everything well, store and room at these temperatures for so many minutes: motors start.
WANT = st.tuples(
    st.just("want"),
    st.sampled_from((4000, 6900, 9000)),
    st.sampled_from((20000, 26000)),
    st.sampled_from((0, 6, 12, 40)),
)
FRAME = st.tuples(st.just("fault"), st.sampled_from(PROBES), st.sampled_from((0, 0, 1, 2, 3, 5)))
SILENT = st.tuples(st.just("silent"), st.sampled_from(PROBES), st.booleans())


def mix(**weights: int) -> st.SearchStrategy[Act]:
    """Acts of the named kinds, so often each. (Nested `one_of` would flatten and lose weights.)"""
    kinds = [name for name, weight in weights.items() for _ in range(weight)]
    return st.sampled_from(kinds).flatmap(_KINDS.__getitem__)


_KINDS = {
    "wait": WAIT,
    "want": WANT,
    "heal": HEAL,
    "change": change(READINGS),
    "ask": ASK,
    "press": PRESS,
    "boot": BOOT,
    "honest": HONEST,
    "frame": FRAME,
    "silent": SILENT,
    "cold": change({n: st.sampled_from(NEAR_FREEZE_MC) for n in ("STORE_LOW_MC", "STORE_HIGH_MC")}),
    "deliver": st.sampled_from((("want", 6000, 26000, 12), ("want", 9000, 26000, 12))),
    # Pump without water, pump with water, fans without air, whatever the outputs are.
    "dry": st.just(("turn", 0, 900)),
    "wet": st.just(("turn", 1000, 900)),
    "still": st.just(("turn", 1000, 0)),
    "water": change({n: YES_NO for n in ("LEVEL_OK", "FLOOR_DRY")}),
    "odd": change({n: ODD_MC for n in ("STORE_LOW_MC", "STORE_HIGH_MC")}),
    "tray": change({"TRAY_OK": st.sampled_from((0, 1))}),
    "coil": change(
        {"COIL_IN_MC": NEAR_ICE_MC, "COIL_AIR_MC": NEAR_ICE_MC, "STORE_LOW_MC": STORE_MC}
    ),
    "full": st.tuples(st.just("full"), st.booleans()),
    "power": change({n: READINGS[n] for n in ("MAINS_OK", "BATTERY_MV")}),
}
ANY_ACT = mix(wait=3, want=5, heal=1, change=8, ask=2, press=1, boot=1, honest=1, frame=1, silent=1)

KIT = st.sampled_from(KITS) | st.integers(0, EVERY_SENSOR)
# Waits of 300 s and 600 s from power-up fall due in the very scan in which the tick wraps.
ORIGIN = st.sampled_from((0, 1 << 29, *((1 << 30) - n for n in (1, 301500, 601500, 700000))))


@st.composite
def story(
    draw: st.DrawFn,
    acts: st.SearchStrategy[Act] = ANY_ACT,
    scans: st.SearchStrategy[tuple[int, int]] = SCANS,
    kit: st.SearchStrategy[int] = KIT,
    settings: st.SearchStrategy[dict[str, int]] | None = None,
    windows: bool = True,
    length: int = 30,
) -> Story:
    """A random story."""
    return Story(
        fit=draw(kit),
        settings=draw(settings_inside_bounds() if settings is None else settings),
        windows=draw(st.lists(WINDOW, max_size=3)) if windows else [],
        acts=draw(st.lists(st.tuples(acts, scans), min_size=length // 2, max_size=length)),
        origin=draw(ORIGIN),
    )


class Player:
    """Plays acts on a `Drive` and keeps the record."""

    def __init__(self, told: Story, origin: int | None = None) -> None:
        settings = dict(told.settings)
        if not told.fit & fitted.STORE_HIGH:
            settings.pop("ICE_BANK", None)
            settings["FREEZE_MC"] = max(settings.get("FREEZE_MC", 500), 0)
        self.drive = Drive(told.origin if origin is None else origin, told.fit, settings)
        for n, window in enumerate(told.windows):
            self.drive.window(n, *window)
        self.record = Record(self.drive)
        self.booted = True

    def run(self, dt_ms: int, n: int) -> None:
        d = self.drive
        for _ in range(n):
            d.tick(dt_ms)
            ages = tuple(
                (d.readings[reading.NOW_MS] - d.readings[getattr(reading, name + "_AT_MS")])
                % (1 << 30)
                for name in PROBES
            )
            scan = Scan(d.clock_ms, tuple(d.readings), d.out, self.booted, ages)
            self.record.scans.append(scan)
            self.booted = False

    def fill_tray(self, acknowledged: bool) -> None:
        """The tray fills, is emptied and perhaps acknowledged."""
        self.drive.set(TRAY_OK=0)
        self.run(1000, 3)
        self.drive.set(TRAY_OK=1)
        self.run(1000, 2)
        if acknowledged:
            self.drive.press()

    def want(self, store_mc: int, room_mc: int, minutes: int) -> None:
        """All is well, the store and the room are so warm, for so long."""
        heal(self.drive)
        self.drive.set(STORE_LOW_MC=store_mc, STORE_HIGH_MC=store_mc, COIL_IN_MC=store_mc)
        self.drive.set(ROOM_MC=room_mc)
        self.run(1000, 4)
        self.run(60000, minutes)
        self.run(1000, 12)

    def act(self, what: str, *how: Any) -> None:
        d = self.drive
        if what == "set":
            d.set(**{how[0]: how[1]})
        elif what == "ask":
            d.ask(*how)
        elif what == "press":
            d.press()
        elif what == "boot":
            d.boot()
            self.booted = True
        elif what == "honest":
            d.honest = how[0]
        elif what == "full":
            self.fill_tray(*how)
        elif what == "turn":
            d.honest = False
            d.set(FLOW_ML_MIN=how[0], FAN_RPM=how[1])
        elif what == "fault":
            d.set(**{how[0] + "_FAULT": how[1]})
        elif what == "silent":
            (d.silent.add if how[1] else d.silent.discard)(how[0])
        elif what == "want":
            self.want(*how)
        elif what == "heal":
            heal(d)


def heal(d: Drive) -> None:
    """Everything fitted is well again; temperatures stay."""
    d.honest = True
    d.silent.clear()
    d.set(MAINS_OK=1, TRAY_OK=1, LEVEL_OK=1, FLOOR_DRY=1, SETTINGS_OK=1, BATTERY_MV=13200)
    d.set(RELAY_OPEN=1)
    d.set(**{name + "_FAULT": 0 for name in PROBES}, COIL_AIR_MC=20000)


def play(told: Story, origin: int | None = None) -> Record:
    """Play a story from its origin, or another."""
    player = Player(told, origin)
    for act, scans in told.acts:
        player.act(*act)
        player.run(*scans)
    return player.record
