"""What is known of a controller at work, between two scans: the induction hypothesis.

It ties the controller's timers, counts and flags to the ghosts, and is itself proven of every scan.
"""

from collections.abc import Iterator
from typing import Any

from springhouse import events, fitted, mode, output, reading, setting, statechart, timekeeping
from springhouse import latch as latches
from springhouse import memory as cell

from springhouse_host.induction import limits
from springhouse_host.induction.claim import (
    DELIVERY,
    MOTORS,
    STARTS,
    Claim,
    View,
    larger,
    largest_first,
    smaller,
)
from springhouse_host.induction.scene import NAMES, RANGES, WORDS
from springhouse_host.induction.term import Truth


def hypothesis(v: View) -> Iterator[Claim]:
    """All of it, fact by fact."""
    for facts in (
        _ranges,
        _compressor,
        _starts,
        _states,
        _probes,
        _vouching,
        _flow,
        _dry_runs,
        _tray,
        _coil,
        _rhythm,
        _spells,
        _owner,
        _advice,
    ):
        for name, holds in facts(v):
            yield Claim(name, 0, holds, topic=facts.__name__.strip("_"))


Facts = Iterator[tuple[str, Truth]]


def _ranges(v: View) -> Facts:
    for slot, (low, high) in RANGES.items():
        value = v.memory[slot]
        yield f"range of {NAMES[slot]}", v.t.both(v.t.at_most(low, value), v.t.at_most(value, high))


def _compressor(v: View) -> Facts:
    t, g = v.t, v.ghosts
    running = v.on(output.COMPRESSOR)
    whole_off = t.add(v.ms(setting.MIN_OFF_S), v.ms(setting.RESTART_STAGGER_S))
    yield (
        "off-time runs while the compressor is off",
        t.either(running, v.lasts(cell.OFF_T, v.ms(setting.MIN_OFF_S), g["off"])),
    )
    yield (
        "off-time and stagger run since power or mains came, or the drive dropped",
        t.either(running, v.lasts(cell.OFF_T, whole_off, g["power"])),
    )
    yield (
        "mains flag is the mains of the last scan",
        t.same(v.flag(cell.FLAG_MAINS), g["mains_was_good"]),
    )
    yield "no mains, no compressor", t.implies(t.no(g["mains_was_good"]), t.no(running))
    yield (
        "compressor on only when power stood long enough",
        t.implies(running, t.at_most(whole_off, g["power"])),
    )
    yield (
        "on-time runs while the compressor is on",
        t.either(t.no(running), v.lasts(cell.ON_T, v.ms(setting.MIN_ON_S), g["on"])),
    )
    yield (
        "on-time ends with the run",
        t.either(running, t.equal(v.memory[cell.ON_T], timekeeping.IDLE)),
    )
    yield "motor starts are spaced", v.lasts(cell.SPACING_T, limits.SPACING_MS, g["motor"])


def _starts(v: View) -> Facts:
    """The ring of starts: sorted, its times left cover the last starts one by one."""
    t, g = v.t, v.ghosts
    places = [v.memory[cell.START_1_T + n] for n in range(STARTS)]
    ring = largest_first(t, places)
    for n in range(STARTS):
        age = g[f"start_{n}"]
        yield (
            f"start {n + 1} before the last is remembered",
            t.either(
                t.at_most(limits.HOUR_MS, age), t.at_most(t.subtract(limits.HOUR_MS, age), ring[n])
            ),
        )
        # Only starts from before a reset may lie beyond a limit that was lowered since.
        beyond = t.both(
            *(
                t.implies(
                    t.less(m, v.settings[setting.STARTS_PER_HOUR]), t.at_most(places[n], places[m])
                )
                for m in range(n)
            )
        )
        yield (
            f"place {n + 1} of the ring, if beyond the limit, waits no longer than those within",
            t.either(t.less(n, v.settings[setting.STARTS_PER_HOUR]), t.less(places[n], 0), beyond),
        )
        if n:
            yield (
                f"start {n} is younger than start {n + 1}",
                t.at_most(g[f"start_{n - 1}"], age),
            )


def _states(v: View) -> Facts:
    t, g = v.t, v.ghosts
    room = v.memory[cell.ROOM_STATE]
    pumping, blowing = v.on(output.PUMP), v.on(output.FAN)
    yield (
        "compressor on in one state only",
        t.implies(v.on(output.COMPRESSOR), t.equal(v.memory[cell.STORE_STATE], statechart.CHARGE)),
    )
    yield (
        "pump on in two states only",
        t.implies(
            pumping, t.either(t.equal(room, statechart.DISCHARGE), t.equal(room, statechart.PURGE))
        ),
    )
    yield "fan on in one state only", t.implies(blowing, t.equal(room, statechart.DISCHARGE))
    yield "a dry pump runs", t.implies(g["dry_before"], pumping)
    yield "fans without air run", t.implies(g["still_before"], t.both(pumping, blowing))
    yield "only a fitted float opens", t.implies(g["tray_was_full"], v.fitted(fitted.TRAY))
    yield "battery flag", t.same(v.flag(cell.FLAG_BATTERY_LOW), g["battery_low"])


def _probes(v: View) -> Facts:
    t = v.t
    for i in range(reading.PROBES):
        good = t.equal(v.memory[cell.STORE_LOW_GOOD + i], limits.TRUST_FRAMES)
        accepted = v.has(v.memory[cell.VALID], 1 << i)
        bad_idle = t.equal(v.memory[cell.STORE_LOW_BAD_T + i], timekeeping.IDLE)
        yield (
            f"probe {i}: a lost frame is bridged for {limits.BAD_MS} ms at most",
            t.implies(
                t.both(good, t.no(accepted)),
                v.bounds(cell.STORE_LOW_BAD_T + i, limits.BAD_MS, v.ghosts[f"bad_{i}"]),
            ),
        )
        yield f"probe {i}: no bad time while frames are accepted", t.implies(accepted, bad_idle)
        yield (
            f"probe {i}: accepted frames count",
            t.implies(accepted, t.less(0, v.memory[cell.STORE_LOW_GOOD + i])),
        )
        yield f"probe {i}: without trust no bad time", t.either(good, bad_idle)
        yield (
            f"probe {i}: only fitted ones count",
            t.either(
                v.fitted(fitted.STORE_LOW << i), t.equal(v.memory[cell.STORE_LOW_GOOD + i], 0)
            ),
        )


def _vouching(v: View) -> Facts:
    t, g = v.t, v.ghosts
    yield "probes that vouch for the top agreed", t.implies(v.flag(cell.FLAG_VOUCHED), g["agreed"])
    yield (
        "the least of the top that is kept is not below what the top ever was",
        t.at_most(g["top_least"], v.memory[cell.TOP_LEAST_MC]),
    )
    bounded = v.bounds(cell.LIVE_T, limits.LIVE_MS, g["live"])
    idle = t.equal(v.memory[cell.LIVE_T], timekeeping.IDLE)
    yield "a live contact is soon latched", t.choose(g["live_before"], bounded, idle)


def most_dry_ms(v: View) -> Any:
    """Longest time that the pump may run without flow: to prime, or a gap."""
    return larger(v.t, v.ms(setting.PRIME_S), v.ms(setting.FLOW_GAP_S))


def _flow(v: View) -> Facts:
    t, most = v.t, most_dry_ms(v)
    watched = t.both(v.on(output.PUMP), v.fitted(fitted.FLOW))
    yield (
        "time without flow is bounded while the pump runs",
        t.implies(
            watched,
            t.either(t.no(v.ghosts["dry_before"]), v.bounds(cell.FLOW_T, most, v.ghosts["dry"])),
        ),
    )
    yield (
        "the time for flow is never longer than allowed",
        t.implies(watched, t.at_most(v.memory[cell.FLOW_T], most)),
    )


def _dry_runs(v: View) -> Facts:
    t, g = v.t, v.ghosts
    long_ago = t.at_most(limits.DAY_MS, g["dry_run"])
    counted = t.at_most(smaller(t, g["dry_runs"], events.COUNT_MOST), v.memory[cell.DRY_COUNT])
    day_runs = t.at_most(t.subtract(limits.DAY_MS, g["dry_run"]), v.memory[cell.DRY_DAY_T])
    yield "dry runs of the day are counted", t.either(long_ago, t.both(counted, day_runs))
    yield (
        "more dry runs in a day than there are waits are latched",
        t.either(long_ago, t.at_most(g["dry_runs"], limits.DRY_RUNS), v.latched(latches.DRY)),
    )


def _tray(v: View) -> Facts:
    t, g = v.t, v.ghosts
    yield (
        "tray return time runs",
        t.either(g["tray_was_full"], v.lasts(cell.TRAY_T, g["tray_wait"], g["tray"])),
    )
    yield (
        "the tray flag is the float of the last scan",
        t.implies(v.fitted(fitted.TRAY), t.same(v.flag(cell.FLAG_TRAY), g["tray_was_full"])),
    )


def _coil(v: View) -> Facts:
    t, g = v.t, v.ghosts
    cold = v.flag(cell.FLAG_COIL)
    yield (
        "coil wait runs",
        t.either(cold, v.lasts(cell.COIL_T, v.ms(setting.COIL_WAIT_S), g["coil"])),
    )
    yield "no pump since the coil was cold", t.implies(cold, t.no(v.on(output.PUMP)))
    watched = t.both(v.on(output.PUMP), v.on(output.FAN), v.fitted(fitted.FAN_TACH))
    bounded = v.bounds(cell.STILL_T, v.ms(setting.FAN_STILL_S), g["still"])
    yield (
        "time without air is bounded while the pump runs",
        t.implies(watched, t.either(t.no(g["still_before"]), bounded)),
    )
    yield (
        "the time for air is never longer than allowed",
        t.at_most(v.memory[cell.STILL_T], v.ms(setting.FAN_STILL_S)),
    )


def _rhythm(v: View) -> Facts:
    t, g = v.t, v.ghosts
    yield (
        "rest of pump and fans runs since one of them stopped",
        v.lasts(cell.DELIVERY_OFF_T, v.ms(setting.DELIVERY_OFF_S), g["rest"]),
    )
    yield (
        "least run of pump and fans runs since one of them started",
        t.either(
            t.no(v.on(DELIVERY)),
            v.lasts(cell.DELIVERY_ON_T, v.ms(setting.DELIVERY_ON_S), g["deliver"]),
        ),
    )


def _spells(v: View) -> Facts:
    t, g = v.t, v.ghosts
    pumping = v.on(output.PUMP)
    yield (
        "a spell of the pump is bounded",
        t.implies(
            t.both(pumping, g["spells_only"]),
            v.bounds(cell.SPELL_T, v.ms(setting.SPELL_ON_S), g["spell_on"]),
        ),
    )
    yield (
        "pause between spells runs",
        t.implies(
            t.both(t.no(pumping), g["spells_only"]),
            v.lasts(cell.SPELL_T, v.ms(setting.SPELL_OFF_S), g["spell_off"]),
        ),
    )


def _advice(v: View) -> Facts:
    t, g = v.t, v.ghosts
    none = t.equal(v.memory[cell.ADVICE], 0)
    yield (
        "advice lapses in its time",
        t.either(none, v.bounds(cell.ADVICE_T, g["advice_ms"], g["advice"])),
    )
    yield "advice in force has time left", t.either(none, t.at_most(0, v.memory[cell.ADVICE_T]))


def _owner(v: View) -> Facts:
    t, g = v.t, v.ghosts
    latch = v.memory[cell.LATCH]
    yield (
        "a mode ends in its time",
        t.either(v.mode(mode.AUTOMATIC), v.bounds(cell.MODE_T, g["mode_ms"], g["mode"])),
    )
    yield (
        "an owner's stop runs for the rest of its time",
        t.either(t.no(g["stop"]), v.lasts(cell.MODE_T, g["mode_ms"], g["mode"])),
    )
    yield (
        "an owner's stop stays in force",
        t.either(
            t.no(g["stop"]),
            t.at_most(g["mode_ms"], g["mode"]),
            v.mode(mode.OFF),
            v.mode(mode.SERVICE),
        ),
    )
    forgotten = t.bit_and(g["latch"], t.bit_not(latch))
    yield (
        "latches of ours are latches of the controller",
        t.equal(t.bit_and(forgotten, (1 << WORDS[cell.LATCH]) - 1), 0),
    )
    yield (
        "latched faults keep motors off",
        t.both(
            t.implies(v.latched(latches.STORE), t.no(v.on(output.COMPRESSOR))),
            t.implies(v.latched(latches.ROOM), t.no(v.on(DELIVERY))),
        ),
    )
    yield (
        "off and service keep motors off",
        t.implies(t.either(v.mode(mode.OFF), v.mode(mode.SERVICE)), t.no(v.on(MOTORS))),
    )
