"""Clocks and counts of what really happened, which the controller does not know.

They are kept by what went in and out alone: readings, requests, outputs. `..._then` is a clock as
it stood in this scan before the scan's own event set it back.
"""

from typing import Any

from springhouse import fitted, output, reading, setting, timekeeping
from springhouse import memory as cell
from springhouse import mode as modes
from springhouse import probes as probe_rules

from springhouse_host.induction import limits
from springhouse_host.induction.claim import STARTS, measured, trusted
from springhouse_host.induction.scene import LONG_AGO_MS, WORDS, Scene
from springhouse_host.induction.term import Truth
from springhouse_host.induction.terms import Terms

Ghosts = dict[str, Any]
LONGEST_MODE_MS = max(modes.LIMIT_MIN) * 60000
FAR_MC = 100000
MOST_DRY_RUNS = limits.DRY_RUNS + 2  # counted no further

CLOCKS = (
    "off",  # since the compressor stopped, or power came
    "on",  # since it started
    "power",  # since power or mains came, or the drive dropped
    "motor",  # since any motor started
    "dry",  # since the first scan at which the pump ran without flow
    "dry_run",  # since the last dry run
    "tray",  # since the tray emptied, or was acknowledged empty
    "coil",  # since the coil was last cold
    "still",  # pump and fan running without air
    "spell_on",  # since the pump started
    "spell_off",  # since it stopped
    "live",  # the freezer has power although the compressor is off
    "rest",  # since pump or fans stopped, or power came
    "deliver",  # since pump or fans started
    "mode",  # since the owner's mode was asked for
    "advice",  # since a plan gave advice
    *(f"start_{n}" for n in range(STARTS)),  # since the last starts of the compressor
    *(f"bad_{i}" for i in range(reading.PROBES)),  # since frames began to be rejected
)


def free(t: Terms, settings: list[Any]) -> Ghosts:
    """Ghosts about which nothing is known."""
    g: Ghosts = {name: t.integer(f"ghost.{name}", 0, LONG_AGO_MS) for name in CLOCKS}
    g["mains_was_good"] = t.truth("ghost.mains_was_good")
    g["tray_was_full"] = t.truth("ghost.tray_was_full")
    g["battery_low"] = t.truth("ghost.battery_low")
    g["dry_before"] = t.truth("ghost.dry_before")
    g["still_before"] = t.truth("ghost.still_before")
    g["live_before"] = t.truth("ghost.live_before")
    g["agreed"] = t.truth("ghost.agreed")  # both store probes, above the floor; see `vouching.py`
    g["top_least"] = t.integer("ghost.top_least", -FAR_MC, FAR_MC)
    g["stop"] = t.truth("ghost.stop")  # the owner's last word was off or service
    g["dry_runs"] = t.integer("ghost.dry_runs", 0, MOST_DRY_RUNS)
    g["tray_wait"] = t.integer("ghost.tray_wait", 0, 3_600_000)
    g["mode_ms"] = t.integer("ghost.mode_ms", 0, LONGEST_MODE_MS)
    g["advice_ms"] = t.integer("ghost.advice_ms", 0, limits.DAY_MS)
    g["latch"] = t.word("ghost.latch", WORDS[cell.LATCH])
    g["spells_only"] = t.no(
        t.true(t.bit_and(settings[setting.FITTED], fitted.FLOW | fitted.COIL_IN))
    )
    return g


def at_power_up(t: Terms, memory: list[Any], settings: list[Any]) -> Ghosts:
    """What was kept counts as having happened just now, all else as long ago."""
    g = free(t, settings)
    for name in CLOCKS:
        g[name] = 0 if name in ("off", "power", "tray", "rest", "mode") else LONG_AGO_MS
    for n in range(STARTS):
        kept = t.equal(memory[cell.START_1_T + n], timekeeping.DUE)
        g[f"start_{n}"] = t.choose(kept, 0, LONG_AGO_MS)
    open_then = t.true(t.bit_and(memory[cell.FLAGS], cell.FLAG_TRAY))
    return {
        **g,
        "mains_was_good": True,
        "tray_was_full": t.both(
            open_then, t.true(t.bit_and(settings[setting.FITTED], fitted.TRAY))
        ),
        "battery_low": False,
        "dry_before": False,
        "still_before": False,
        "live_before": False,
        "agreed": False,
        "top_least": -FAR_MC,
        "stop": t.no(t.equal(memory[cell.MODE], modes.AUTOMATIC)),
        "dry_run": t.choose(t.less(0, memory[cell.DRY_COUNT]), 0, LONG_AGO_MS),
        "dry_runs": memory[cell.DRY_COUNT],
        "tray_wait": t.times(settings[setting.TRAY_RETURN_S], 1000),
        "mode_ms": memory[cell.MODE_LEFT_MS],
        "advice_ms": 0,
        "latch": memory[cell.LATCH],
    }


def advance(scene: Scene, ghosts: Ghosts) -> Ghosts:
    """The ghosts after a scan."""
    hands = _Hands(scene, ghosts)
    hands.power_and_compressor()
    hands.probes()
    hands.vouching()
    hands.relay()
    hands.dry_running()
    hands.tray()
    hands.coil_and_fans()
    hands.rhythm()
    hands.owner()
    hands.plan()
    hands.battery()
    return hands.new


class _Hands:
    """Moves the ghosts on, topic by topic."""

    def __init__(self, scene: Scene, old: Ghosts) -> None:
        self.scene = scene
        self.t = scene.terms
        self.old = old
        self.new: Ghosts = {**old, "pressed": scene.pressed}

    def older(self, name: str) -> Any:
        """A clock moved on by the time gone."""
        t, gone = self.t, self.scene.gone_ms
        full = t.less(t.subtract(LONG_AGO_MS, gone), self.old[name])
        return t.choose(full, LONG_AGO_MS, t.add(self.old[name], gone))

    def clock(self, name: str, back: Truth) -> None:
        """Move a clock on, and set it back if so."""
        then = self.older(name)
        self.new[f"{name}_then"] = then
        self.new[name] = self.t.choose(back, 0, then)

    def power_and_compressor(self) -> None:
        t, scene = self.t, self.scene
        good = t.either(t.no(scene.fitted(fitted.MAINS)), scene.contact(reading.MAINS_OK))
        came = t.both(good, t.no(self.old["mains_was_good"]))
        self.new["mains_was_good"] = good
        start = scene.starts(output.COMPRESSOR)
        self.clock("off", scene.stops(output.COMPRESSOR))
        self.clock("on", start)
        self.clock("power", t.either(came, scene.dropped))
        self.new["power_then"] = self.new["power"]  # mains coming counts at once
        self.clock("motor", t.either(start, scene.starts(output.PUMP), scene.starts(output.FAN)))
        ages = [self.older(f"start_{n}") for n in range(STARTS)]
        for n, age in enumerate(ages):
            self.new[f"start_{n}_then"] = age
            self.new[f"start_{n}"] = t.choose(start, ages[n - 1] if n else 0, age)

    def probes(self) -> None:
        scene = self.scene
        for i in range(reading.PROBES):
            before, now = (scene.has(m[cell.VALID], 1 << i) for m in (scene.before, scene.after))
            self.clock(f"bad_{i}", self.t.either(now, before))

    def vouching(self) -> None:
        """Both store probes agreed while water was chilled above the floor, and stay trusted."""
        t, scene = self.t, self.scene
        low, high = (measured(scene, i) for i in (probe_rules.LOW, probe_rules.HIGH))
        chilled = t.both(scene.was_on(output.COMPRESSOR), t.no(scene.was_on(output.PUMP)))
        errors = t.add(
            scene.settings[setting.STORE_LOW_ERR_MK], scene.settings[setting.STORE_HIGH_ERR_MK]
        )
        floor = t.add(scene.settings[setting.FLOOR_MC], scene.settings[setting.STORE_LOW_ERR_MK])
        gap, most = t.subtract(high, low), t.add(errors, limits.MIXED_MK)
        near = t.both(t.at_most(gap, most), t.at_most(t.subtract(0, most), gap))
        judged = t.both(chilled, t.at_most(t.add(floor, limits.JUDGED_ABOVE_MK), low))
        both = t.both(*(trusted(t, scene.after, i) for i in (probe_rules.LOW, probe_rules.HIGH)))
        self.new["agreed"] = t.both(both, t.choose(judged, near, self.old["agreed"]))
        # The coldest that the top ever was since the bottom was warm; nothing known: far below.
        least = self.old["top_least"]
        below = t.less(low, t.add(floor, limits.JUDGED_ABOVE_MK))
        least = t.choose(t.both(below, t.less(high, least)), high, least)
        self.new["top_least"] = t.choose(both, t.choose(judged, FAR_MC, least), -FAR_MC)

    def relay(self) -> None:
        t, scene = self.t, self.scene
        live = t.both(
            scene.fitted(fitted.RELAY),
            t.no(scene.contact(reading.RELAY_OPEN)),
            t.no(scene.was_on(output.COMPRESSOR)),
        )
        self.clock("live", t.no(t.both(self.old["live_before"], live)))
        self.new["live_before"] = live

    def dry_running(self) -> None:
        t, scene, old = self.t, self.scene, self.old
        flow, s = scene.readings[reading.FLOW_ML_MIN], scene.settings
        least, most = s[setting.FLOW_LEAST_ML_MIN], s[setting.FLOW_MOST_ML_MIN]
        dry = t.both(scene.on(output.PUMP), t.either(t.less(flow, least), t.less(most, flow)))
        self.clock("dry", t.no(t.both(old["dry_before"], dry)))
        self.new["dry_before"] = dry
        # A dry run: the pump ran before this scan without flow until its time was over.
        count = scene.after[cell.DRY_COUNT]
        more = t.no(t.equal(scene.before[cell.DRY_COUNT], count))
        ran_dry = t.both(scene.was_on(output.PUMP), more, t.no(scene.pressed), t.less(0, count))
        forgotten = t.either(scene.pressed, t.at_most(limits.DAY_MS, self.older("dry_run")))
        runs = t.choose(forgotten, 0, old["dry_runs"])
        one_more = t.choose(t.less(runs, MOST_DRY_RUNS), t.add(runs, 1), MOST_DRY_RUNS)
        self.new["dry_runs"] = t.choose(ran_dry, one_more, runs)
        self.clock("dry_run", ran_dry)

    def tray(self) -> None:
        t, scene, old = self.t, self.scene, self.old
        open_now = t.both(scene.fitted(fitted.TRAY), t.no(scene.contact(reading.TRAY_OK)))
        closes = t.both(scene.fitted(fitted.TRAY), old["tray_was_full"], t.no(open_now))
        acknowledged = t.both(scene.pressed, t.no(open_now), t.no(old["tray_was_full"]))
        left = t.subtract(old["tray_wait"], self.older("tray"))
        shorter = t.both(acknowledged, t.less(limits.ACK_WAIT_MS, left))
        self.new["tray_was_full"] = open_now
        self.clock("tray", t.either(closes, shorter, open_now))
        in_service = t.both(t.equal(scene.after[cell.MODE], modes.SERVICE), closes)
        whole = t.times(scene.settings[setting.TRAY_RETURN_S], 1000)
        self.new["tray_wait"] = t.choose(
            t.either(closes, open_now),
            t.choose(in_service, limits.ACK_WAIT_MS, whole),
            t.choose(shorter, limits.ACK_WAIT_MS, old["tray_wait"]),
        )

    def coil_and_fans(self) -> None:
        t, scene = self.t, self.scene
        self.clock("coil", scene.has(scene.after[cell.FLAGS], cell.FLAG_COIL))
        self.new["coil_then"] = self.new["coil"]
        slow = t.less(scene.readings[reading.FAN_RPM], scene.settings[setting.FAN_LEAST_RPM])
        both_on = (f(bit) for f in (scene.on, scene.was_on) for bit in (output.PUMP, output.FAN))
        still = t.both(*both_on, slow)
        self.clock("still", t.no(t.both(self.old["still_before"], still)))
        self.new["still_before"] = still

    def rhythm(self) -> None:
        t, scene = self.t, self.scene
        self.clock("spell_on", scene.starts(output.PUMP))
        self.clock("spell_off", scene.stops(output.PUMP))
        self.clock(
            "rest", t.either(scene.stops(output.PUMP), scene.stops(output.FAN), scene.dropped)
        )
        self.clock("deliver", t.either(scene.starts(output.PUMP), scene.starts(output.FAN)))

    def owner(self) -> None:
        t, mode = self.t, self.scene.readings[reading.MODE]
        minutes = self.scene.readings[reading.MODE_MIN]
        limit: Any = 0
        for n in range(1, modes.SIZE):
            limit = t.choose(t.equal(mode, n), modes.LIMIT_MIN[n], limit)
        in_limit = t.both(t.less(0, minutes), t.at_most(minutes, limit))
        accepted = t.both(self.scene.asked, in_limit)  # an unknown mode has a limit of 0
        self.clock("mode", accepted)
        short = t.choose(t.less(limit, minutes), limit, t.choose(t.less(minutes, 0), 0, minutes))
        bounded = t.choose(t.less(max(modes.LIMIT_MIN), short), max(modes.LIMIT_MIN), short)
        asked_ms = t.times(bounded, 60000)
        self.new["mode_ms"] = t.choose(accepted, asked_ms, self.old["mode_ms"])
        stopping = t.either(t.equal(mode, modes.OFF), t.equal(mode, modes.SERVICE))
        ended = t.both(self.scene.asked, t.equal(mode, modes.AUTOMATIC))
        stop = t.choose(accepted, stopping, self.old["stop"])
        self.new["stop"] = t.both(t.no(ended), stop)
        self.new["latch"] = self.scene.after[cell.LATCH]

    def plan(self) -> None:
        """Advice holds for the minutes it was given for, a day at most."""
        t, scene = self.t, self.scene
        self.clock("advice", scene.advised)
        asked_ms = t.times(scene.readings[reading.ADVICE_MIN], 60000)
        meant = t.both(t.less(0, asked_ms), t.at_most(asked_ms, limits.DAY_MS))
        given_ms = t.choose(meant, asked_ms, 0)
        self.new["advice_ms"] = t.choose(scene.advised, given_ms, self.old["advice_ms"])

    def battery(self) -> None:
        t, s = self.t, self.scene.settings
        volts = self.scene.readings[reading.BATTERY_MV]
        flat = t.less(volts, s[setting.BATTERY_CUT_MV])
        mains = t.both(self.scene.fitted(fitted.MAINS), self.scene.contact(reading.MAINS_OK))
        up = t.less(t.add(s[setting.BATTERY_CUT_MV], s[setting.BATTERY_REARM_MV]), volts)
        stays = t.both(self.old["battery_low"], t.no(up))
        low = t.either(flat, stays)
        self.new["battery_low"] = t.both(self.scene.fitted(fitted.BATTERY), t.no(mains), low)
