"""Clocks and counts of what really happened, which the controller does not know.

They are kept by what went in and out alone: readings, requests, outputs. `..._then` is a clock as
it stood in this scan before the scan's own event set it back.
"""

from collections.abc import Mapping
from typing import Any

from springhouse import fitted as F
from springhouse import memory as M
from springhouse import mode as W
from springhouse import output as O
from springhouse import reading as R
from springhouse import setting as S

from springhouse_host.induction.scene import LONG_AGO_MS, WORDS, Scene
from springhouse_host.induction.terms import Terms, Truth

type_of_ghosts = Mapping[str, Any]
Ghosts = dict[str, Any]
MOTORS = O.COMPRESSOR | O.PUMP | O.FAN
LONGEST_MODE_MS = max(W.LIMIT_MIN) * 60000

CLOCKS = (
    "off",  # since the compressor stopped, or power came
    "on",  # since it started
    "power",  # since power or mains came
    "motor",  # since any motor started
    "dry",  # since the first scan at which the pump ran without flow
    "dry_run",  # since the last dry run
    "tray",  # since the tray emptied, or was acknowledged empty
    "coil",  # since the coil was last cold
    "still",  # pump and fan running without air
    "spell_on",  # since the pump started
    "spell_off",  # since it stopped
    "mode",  # since the owner's mode was asked for
    *(f"start_{n}" for n in range(4)),  # since the last starts of the compressor
    *(f"bad_{i}" for i in range(R.PROBES)),  # since frames began to be rejected
)


def is_open(scene: Scene) -> Truth:
    """Whether the tray float is open."""
    t = scene.terms
    return t.both(scene.fitted(F.TRAY), t.equal(scene.readings[R.TRAY_OK], 0))


def free(t: Terms, settings: list[Any]) -> Ghosts:
    """Ghosts about which nothing is known."""
    g: Ghosts = {name: t.integer(f"ghost.{name}", 0, LONG_AGO_MS) for name in CLOCKS}
    g["mains_was_good"] = t.truth("ghost.mains_was_good")
    g["tray_was_full"] = t.truth("ghost.tray_was_full")
    g["battery_low"] = t.truth("ghost.battery_low")
    g["dry_before"] = t.truth("ghost.dry_before")
    g["still_before"] = t.truth("ghost.still_before")
    g["dry_runs"] = t.integer("ghost.dry_runs", 0, 5)
    g["tray_wait"] = t.integer("ghost.tray_wait", 0, 3_600_000)
    g["mode_ms"] = t.integer("ghost.mode_ms", 0, LONGEST_MODE_MS)
    g["latch"] = t.word("ghost.latch", WORDS[M.LATCH])
    g["spells_only"] = t.no(t.true(t.bit_and(settings[S.FITTED], F.FLOW | F.COIL_IN)))
    return g


def at_power_up(t: Terms, settings: list[Any]) -> Ghosts:
    """Nothing is known of the past, so all of it counts as a moment ago, or as long ago."""
    g = free(t, settings)
    for name in CLOCKS:
        g[name] = 0 if name in ("off", "power", "tray") else LONG_AGO_MS
    return {
        **g,
        "mains_was_good": True,
        "tray_was_full": False,
        "battery_low": False,
        "dry_before": False,
        "still_before": False,
        "dry_runs": 0,
        "tray_wait": t.times(settings[S.TRAY_RETURN_S], 1000),
        "mode_ms": 0,
        "latch": 0,
    }


def advance(scene: Scene, g: Ghosts) -> Ghosts:
    """The ghosts after a scan."""
    t, s, r = scene.terms, scene.settings, scene.readings
    both, either, no = t.both, t.either, t.no
    new: Ghosts = dict(g)

    def older(name: str) -> Any:
        return t.choose(
            t.less(t.subtract(LONG_AGO_MS, scene.gone_ms), g[name]),
            LONG_AGO_MS,
            t.add(g[name], scene.gone_ms),
        )

    def clock(name: str, back: Truth) -> None:
        then = older(name)
        new[f"{name}_then"] = then
        new[name] = t.choose(back, 0, then)

    pumping, pump_was_on = scene.on(O.PUMP), scene.was_on(O.PUMP)
    good = either(no(scene.fitted(F.MAINS)), no(t.equal(r[R.MAINS_OK], 0)))
    came = both(good, no(g["mains_was_good"]))
    new["mains_was_good"] = good
    clock("off", scene.stops(O.COMPRESSOR))
    clock("on", scene.starts(O.COMPRESSOR))
    clock("power", came)
    new["power_then"] = new["power"]  # mains coming counts at once
    clock("motor", either(*(scene.starts(b) for b in (O.COMPRESSOR, O.PUMP, O.FAN))))
    start = scene.starts(O.COMPRESSOR)
    for n in range(4):
        new[f"start_{n}_then"] = older(f"start_{n}")
    for n in range(4):
        new[f"start_{n}"] = t.choose(
            start, 0 if n == 0 else new[f"start_{n - 1}_then"], new[f"start_{n}_then"]
        )
    for i in range(R.PROBES):
        accepted_now = scene.has(scene.after[M.VALID], 1 << i)
        clock(f"bad_{i}", either(accepted_now, scene.has(scene.before[M.VALID], 1 << i)))
    flows = t.at_most(s[S.FLOW_LEAST_ML_MIN], r[R.FLOW_ML_MIN])
    dry_now = both(pumping, no(flows))
    clock("dry", no(both(g["dry_before"], dry_now)))
    new["dry_before"] = dry_now
    pressed = no(t.equal(r[R.ACK_SEQ], scene.before[M.ACK_SEEN]))
    new["pressed"] = pressed
    # A dry run: the pump ran before this scan without flow until its time was over.
    ran_dry = both(
        pump_was_on,
        t.no(t.equal(scene.before[M.DRY_COUNT], scene.after[M.DRY_COUNT])),
        no(pressed),
        t.less(0, scene.after[M.DRY_COUNT]),
    )
    old_runs = t.choose(either(pressed, t.at_most(86400000, older("dry_run"))), 0, g["dry_runs"])
    more = t.choose(t.less(old_runs, 5), t.add(old_runs, 1), 5)
    new["dry_runs"] = t.choose(ran_dry, more, old_runs)
    clock("dry_run", ran_dry)
    open_now = is_open(scene)
    service = t.equal(scene.after[M.MODE], W.SERVICE)
    closes = both(scene.fitted(F.TRAY), g["tray_was_full"], no(open_now))
    new["tray_was_full"] = open_now
    return_ms = t.times(s[S.TRAY_RETURN_S], 1000)
    acknowledged = both(pressed, no(open_now), no(g["tray_was_full"]))
    left = t.subtract(g["tray_wait"], older("tray"))
    shorter = both(acknowledged, t.less(60_000, left))
    clock("tray", either(closes, shorter, open_now))
    new["tray_wait"] = t.choose(
        either(closes, open_now),
        t.choose(both(service, closes), 60_000, return_ms),
        t.choose(shorter, 60_000, g["tray_wait"]),
    )
    clock("coil", scene.has(scene.after[M.FLAGS], M.FLAG_COIL))
    new["coil_then"] = new["coil"]
    turns = t.at_most(s[S.FAN_LEAST_RPM], r[R.FAN_RPM])
    still_now = both(pumping, scene.on(O.FAN), pump_was_on, scene.was_on(O.FAN), no(turns))
    clock("still", no(both(g["still_before"], still_now)))
    new["still_before"] = still_now
    clock("spell_on", either(scene.starts(O.PUMP)))
    clock("spell_off", scene.stops(O.PUMP))
    asked = no(t.equal(r[R.MODE_SEQ], scene.before[M.MODE_SEEN]))
    known = both(t.less(0, r[R.MODE]), t.less(r[R.MODE], W.SIZE))
    minutes = r[R.MODE_MIN]
    limit = 0
    for n in range(1, W.SIZE):
        limit = t.choose(t.equal(r[R.MODE], n), W.LIMIT_MIN[n], limit)
    accepted = both(asked, known, t.less(0, minutes), t.at_most(minutes, limit))
    clock("mode", accepted)
    short = t.choose(t.less(limit, minutes), limit, t.choose(t.less(minutes, 0), 0, minutes))
    short = t.choose(t.less(max(W.LIMIT_MIN), short), max(W.LIMIT_MIN), short)
    new["mode_ms"] = t.choose(accepted, t.times(short, 60000), g["mode_ms"])
    flat = t.less(r[R.BATTERY_MV], s[S.BATTERY_CUT_MV])
    mains_seen = both(scene.fitted(F.MAINS), no(t.equal(r[R.MAINS_OK], 0)))
    up = t.less(t.add(s[S.BATTERY_CUT_MV], s[S.BATTERY_REARM_MV]), r[R.BATTERY_MV])
    new["battery_low"] = both(
        scene.fitted(F.BATTERY), no(mains_seen), either(flat, both(g["battery_low"], no(up)))
    )
    new["latch"] = scene.after[M.LATCH]
    return new
