"""What must hold of the store and its compressor after every scan."""

from collections.abc import Iterator
from typing import Any

from springhouse import (
    conditions,
    fitted,
    latch,
    mode,
    output,
    probes,
    reading,
    setting,
    timekeeping,
    week,
)
from springhouse import memory as cell

from springhouse_host.induction import limits
from springhouse_host.induction.claim import STARTS, Claim, View, larger, measured, smaller, surely
from springhouse_host.induction.scene import Scene
from springhouse_host.induction.term import Truth
from springhouse_host.induction.terms import Terms


def claims(scene: Scene, v: View) -> Iterator[Claim]:
    """Every claim about the compressor."""
    for topic in (_freeze, _vouched, _relay, _times, _starts, _mains, _tariff):
        yield from topic(scene, v)


def _too_cold(scene: Scene, v: View) -> dict[str, Truth]:
    """What the freeze guard must stop the compressor for, by the name of the claim."""
    t, s = v.t, v.settings
    found: dict[str, Truth] = {}
    for i in (probes.LOW, probes.HIGH):
        found[f"compressor only while probe {i}, if trusted, is above the freeze limit"] = t.both(
            v.trusted(i), t.at_most(surely(scene, i), s[setting.FREEZE_MC])
        )
    unwatched = t.no(v.trusted(probes.HIGH))
    found["compressor only above the 4 °C floor while nothing watches top and wall"] = t.both(
        unwatched, t.at_most(surely(scene, probes.LOW), s[setting.FLOOR_MC])
    )
    return found


def _freeze(scene: Scene, v: View) -> Iterator[Claim]:
    t, running = v.t, scene.on(output.COMPRESSOR)
    for name, cold in _too_cold(scene, v).items():
        yield Claim(name, 2 if "floor" in name else 1, t.implies(running, t.no(cold)))
    seen = t.either(v.trusted(probes.LOW), v.trusted(probes.HIGH))
    yield Claim("compressor only with a trusted store probe", 2, t.implies(running, seen))


def _vouched(scene: Scene, v: View) -> Iterator[Claim]:
    """With both store probes trusted, below the floor only as `vouching.py` says."""
    t, s, g = v.t, v.settings, v.ghosts
    both = t.both(v.trusted(probes.LOW), v.trusted(probes.HIGH))
    watched = t.both(scene.on(output.COMPRESSOR), both, t.equal(s[setting.ICE_BANK], 0))
    floor = larger(t, s[setting.FREEZE_MC], s[setting.FLOOR_MC])
    below = t.either(*(t.at_most(surely(scene, i), floor) for i in (probes.LOW, probes.HIGH)))
    gap = t.subtract(measured(scene, probes.HIGH), measured(scene, probes.LOW))
    errors = t.add(s[setting.STORE_LOW_ERR_MK], s[setting.STORE_HIGH_ERR_MK])
    warm_top = t.less(t.add(errors, limits.MIXED_MK), gap)
    yield Claim(
        "compressor below the floor only if both probes agreed above it, or under a warm top",
        29,
        t.implies(t.both(watched, below), t.either(g["agreed"], warm_top)),
    )
    sunk = t.both(scene.on(output.COMPRESSOR), v.flag(cell.FLAG_SUNK))
    yield Claim(
        "nor if the bottom sank below 4 °C under a top said to be warm",
        29,
        t.implies(sunk, t.no(below)),
    )
    ever = t.subtract(g["top_least"], s[setting.CHILLS_MK])
    densest = t.subtract(limits.DENSEST_MC, s[setting.STORE_LOW_ERR_MK])
    colder = t.at_most(
        measured(scene, probes.LOW), t.subtract(smaller(t, densest, ever), limits.EVER_MK)
    )
    yield Claim(
        "nor if the bottom is colder than it can be under a warm top that was never so cold",
        29,
        t.implies(t.both(watched, scene.was_on(output.COMPRESSOR), warm_top, colder), t.no(below)),
    )


def _relay(scene: Scene, v: View) -> Iterator[Claim]:
    t, g = v.t, v.ghosts
    live = t.both(g["live_before"], t.at_most(limits.LIVE_MS, g["live"]))
    yield Claim(
        f"a freezer live for {limits.LIVE_MS} ms while switched off is latched",
        30,
        t.implies(live, v.latched(latch.WELDED)),
    )
    yield Claim(
        "a latched fault sounds the alarm",
        30,
        t.implies(v.latched(latch.STORE | latch.ROOM), scene.on(output.ALARM)),
    )


def _guard(scene: Scene, v: View) -> Truth:
    """Whether a guard, a fault or the owner stops the compressor."""
    t = v.t
    return t.either(
        *_too_cold(scene, v).values(),
        t.no(t.either(v.trusted(probes.LOW), v.trusted(probes.HIGH))),
        v.flag(cell.FLAG_FREEZE),
        _no_mains(scene),
        v.latched(latch.STORE),
        v.mode(mode.OFF),
        v.mode(mode.SERVICE),
        t.at_most(0, v.memory[cell.REST_T]),
        t.equal(v.memory[cell.ICE_T], timekeeping.DUE),
        t.no(scene.contact(reading.SETTINGS_OK)),
        scene.dropped,
    )


def _times(scene: Scene, v: View) -> Iterator[Claim]:
    t, g, starts = v.t, v.ghosts, scene.starts(output.COMPRESSOR)
    yield Claim(
        "compressor starts only after the whole off-time",
        4,
        t.implies(starts, t.at_most(v.ms(setting.MIN_OFF_S), g["off_then"])),
    )
    whole = t.add(v.ms(setting.MIN_OFF_S), v.ms(setting.RESTART_STAGGER_S))
    yield Claim(
        "compressor starts only after off-time and stagger since power or mains came, or a drop",
        5,
        t.implies(starts, t.at_most(whole, g["power_then"])),
    )
    yield Claim(
        "compressor stops only after the whole on-time, or for a guard or the owner",
        6,
        t.implies(
            scene.stops(output.COMPRESSOR),
            t.either(t.at_most(v.ms(setting.MIN_ON_S), g["on_then"]), _guard(scene, v)),
        ),
    )


def _expired(t: Terms, timer: Any, gone_ms: Any) -> Any:
    left = t.subtract(timer, gone_ms)
    still = t.choose(t.at_most(left, 0), timekeeping.DUE, left)
    return t.choose(t.at_most(0, timer), still, timer)


def _starts(scene: Scene, v: View) -> Iterator[Claim]:
    t, starts, limit = v.t, scene.starts(output.COMPRESSOR), v.settings[setting.STARTS_PER_HOUR]
    ring = [_expired(t, scene.before[cell.START_1_T + n], scene.gone_ms) for n in range(STARTS)]
    free = t.either(*(t.both(t.less(n, limit), t.less(ring[n], 0)) for n in range(STARTS)))
    if not scene.powered_up:
        yield Claim(
            "compressor starts only with a free place in the ring", 7, t.implies(starts, free), True
        )
    for n in range(STARTS):
        an_hour_ago = t.at_most(limits.HOUR_MS, v.ghosts[f"start_{n}_then"])
        yield Claim(
            f"with a limit of {n + 1}, the start so many before is an hour ago",
            7,
            t.implies(t.both(starts, t.equal(limit, n + 1)), an_hour_ago),
        )


def _no_mains(scene: Scene) -> Truth:
    t = scene.terms
    return t.both(scene.fitted(fitted.MAINS), t.no(scene.contact(reading.MAINS_OK)))


def _mains(scene: Scene, v: View) -> Iterator[Claim]:
    t, running = v.t, scene.on(output.COMPRESSOR)
    yield Claim("no mains, no compressor", 16, t.implies(_no_mains(scene), t.no(running)))
    a_minute = t.at_most(limits.MAINS_MS, v.ghosts["power_then"])
    yield Claim(
        "compressor only when mains was good for a minute",
        16,
        t.implies(t.both(running, scene.fitted(fitted.MAINS)), a_minute),
    )


def _tariff(scene: Scene, v: View) -> Iterator[Claim]:
    t, plan, hot = v.t, v.memory[cell.PLAN], v.flag(cell.FLAG_HOT)
    waived = t.either(
        v.mode(mode.CHARGE_NOW),
        v.mode(mode.FIRST_PULL_DOWN),
        t.both(t.equal(v.settings[setting.TARIFF_OVERRIDE], 1), hot),
    )
    barred = t.both(scene.starts(output.COMPRESSOR), v.has(plan, week.PLAN_NO_START))
    yield Claim(
        "no compressor start in a no-start window unless the owner allowed it",
        25,
        t.implies(barred, waived),
    )
    limit = t.subtract(v.settings[setting.ROOM_LIMIT_MC], conditions.HOT_BAND_MK + 1)
    told = t.both(t.less(0, v.memory[cell.ADVICE]), t.equal(v.settings[setting.ADVISED], 2))
    by_plan = t.less(0, v.memory[cell.ADVICE_WANTED])
    planned = t.choose(told, by_plan, v.has(plan, week.PLAN_WANTED))
    wanted = t.either(planned, v.mode(mode.COOL_NOW))
    over = t.less(limit, measured(scene, probes.ROOM))
    yield Claim(
        "hot is only a room over its limit in wanted hours",
        25,
        t.implies(hot, t.both(v.trusted(probes.ROOM), wanted, over)),
    )
