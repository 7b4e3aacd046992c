"""What must hold after every scan, and the hypothesis that carries it from scan to scan.

Each claim is written from the requirement, with thresholds and trust in words of its own, and with
ghosts (`ghosts.py`) wherever it speaks of time or of a count. The hypothesis ties the controller's
timers and counts to the ghosts; it is proven inductive like everything else.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from springhouse import conditions as Q
from springhouse import fault as FAULT
from springhouse import fitted as F
from springhouse import latch as L
from springhouse import memory as M
from springhouse import mode as W
from springhouse import output as O
from springhouse import probes as P
from springhouse import reading as R
from springhouse import setting as S
from springhouse import statechart as K
from springhouse import timekeeping as T
from springhouse import week as N

from springhouse_host.induction.ghosts import Ghosts
from springhouse_host.induction.scene import DAY_MS, HOUR_MS, NAMES, RANGES, WORDS, Scene
from springhouse_host.induction.terms import Terms, Truth

MOTORS = O.COMPRESSOR | O.PUMP | O.FAN


@dataclass(frozen=True)
class Claim:
    """Something that holds after a scan; `invariant` is its number, 0 = part of the hypothesis."""

    name: str
    invariant: int
    holds: Truth
    lemma: bool = False  # helps where the outputs' own formulas are left out


def hypothesis(t: Terms, memory: list[Any], settings: list[Any], g: Ghosts) -> Iterator[Claim]:
    """What is known of a controller at work, between two scans."""
    less, no, both, either = t.less, t.no, t.both, t.either

    def fact(name: str, holds: Truth) -> Claim:
        return Claim(name, 0, holds)

    def seconds(slot: int) -> Any:
        return t.times(settings[slot], 1000)

    def has(word: Any, bit: int) -> Truth:
        return t.true(t.bit_and(word, bit))

    def lasts(slot: int, whole_ms: Any, since_ms: Any) -> Truth:
        """A wait that began `since_ms` ago still runs for the rest of its whole length."""
        left = t.subtract(whole_ms, since_ms)
        return either(
            t.at_most(left, 0), both(t.at_most(0, memory[slot]), t.at_most(left, memory[slot]))
        )

    for slot, (low, high) in RANGES.items():
        if slot >= M.TIMERS or slot not in WORDS:
            value = memory[slot]
            yield fact(
                f"range of {NAMES[slot]}", both(t.at_most(low, value), t.at_most(value, high))
            )
    out, latch = memory[M.OUT], memory[M.LATCH]
    running, pumping = has(out, O.COMPRESSOR), has(out, O.PUMP)
    min_off, min_on = seconds(S.MIN_OFF_S), seconds(S.MIN_ON_S)
    whole_off = t.add(min_off, seconds(S.RESTART_STAGGER_S))
    yield fact(
        "off-time runs while the compressor is off",
        either(running, lasts(M.OFF_T, min_off, g["off"])),
    )
    yield fact(
        "off-time and stagger run since power or mains came",
        either(running, lasts(M.OFF_T, whole_off, g["power"])),
    )
    yield fact(
        "mains flag is the mains of the last scan",
        t.same(has(memory[M.FLAGS], M.FLAG_MAINS), g["mains_was_good"]),
    )
    yield fact("no mains, no compressor", t.implies(no(g["mains_was_good"]), no(running)))
    yield fact(
        "compressor on only when power stood long enough",
        t.implies(running, t.at_most(whole_off, g["power"])),
    )
    yield fact(
        "compressor on in one state only",
        t.implies(running, t.equal(memory[M.STORE_STATE], K.CHARGE)),
    )
    room_state = memory[M.ROOM_STATE]
    yield fact(
        "pump on in two states only",
        t.implies(pumping, either(t.equal(room_state, K.DISCHARGE), t.equal(room_state, K.PURGE))),
    )
    yield fact(
        "fan on in one state only", t.implies(has(out, O.FAN), t.equal(room_state, K.DISCHARGE))
    )
    yield fact("a dry pump runs", t.implies(g["dry_before"], pumping))
    yield fact("fans without air run", t.implies(g["still_before"], both(pumping, has(out, O.FAN))))
    yield fact(
        "only a fitted float opens", t.implies(g["tray_was_full"], has(settings[S.FITTED], F.TRAY))
    )
    yield fact("battery flag", t.same(has(memory[M.FLAGS], M.FLAG_BATTERY_LOW), g["battery_low"]))
    yield fact(
        "on-time runs while the compressor is on",
        either(no(running), lasts(M.ON_T, min_on, g["on"])),
    )
    yield fact("on-time ends with the run", either(running, t.equal(memory[M.ON_T], T.IDLE)))
    # The ring of starts: sorted, its times left cover the last starts one by one.
    ring = _sorted(t, [memory[M.START_1_T + n] for n in range(4)])
    for n in range(4):
        age = g[f"start_{n}"]
        yield fact(
            f"start {n + 1} before the last is remembered",
            either(t.at_most(HOUR_MS, age), t.at_most(t.subtract(HOUR_MS, age), ring[n])),
        )
        yield fact(
            f"slot {n + 1} of the ring is used only if the limit allows so many",
            either(less(n, settings[S.STARTS_PER_HOUR]), less(memory[M.START_1_T + n], 0)),
        )
        if n:
            yield fact(
                f"start {n} is younger than start {n + 1}", t.at_most(g[f"start_{n - 1}"], age)
            )
    yield fact("motor starts are spaced", lasts(M.SPACING_T, 5000, g["motor"]))
    for i in range(R.PROBES):
        good = t.equal(memory[M.STORE_LOW_GOOD + i], P.TRUST_FRAMES)
        accepted = has(memory[M.VALID], 1 << i)
        bad = memory[M.STORE_LOW_BAD_T + i]
        silent = g[f"bad_{i}"]
        yield fact(
            f"probe {i}: a lost frame is bridged for {P.BAD_MS} ms at most",
            t.implies(
                both(good, no(accepted)),
                either(
                    t.equal(bad, T.DUE),
                    both(t.at_most(0, bad), t.at_most(t.add(bad, silent), P.BAD_MS)),
                ),
            ),
        )
        yield fact(
            f"probe {i}: no bad time while frames are accepted",
            t.implies(accepted, t.equal(bad, T.IDLE)),
        )
        yield fact(
            f"probe {i}: accepted frames count",
            t.implies(accepted, less(0, memory[M.STORE_LOW_GOOD + i])),
        )
        yield fact(f"probe {i}: without trust no bad time", either(good, t.equal(bad, T.IDLE)))
        yield fact(
            f"probe {i}: only fitted ones count",
            either(
                has(settings[S.FITTED], F.STORE_LOW << i), t.equal(memory[M.STORE_LOW_GOOD + i], 0)
            ),
        )
    most_gap = _larger(t, seconds(S.PRIME_S), seconds(S.FLOW_GAP_S))
    flow_t = memory[M.FLOW_T]
    yield fact(
        "time without flow is bounded while the pump runs",
        t.implies(
            both(pumping, has(settings[S.FITTED], F.FLOW)),
            either(
                t.equal(flow_t, T.DUE),
                no(g["dry_before"]),
                both(t.at_most(0, flow_t), t.at_most(t.add(flow_t, g["dry"]), most_gap)),
            ),
        ),
    )
    yield fact(
        "the time for flow is never longer than allowed",
        t.implies(both(pumping, has(settings[S.FITTED], F.FLOW)), t.at_most(flow_t, most_gap)),
    )
    yield fact(
        "dry runs of the day are counted",
        either(
            t.at_most(DAY_MS, g["dry_run"]),
            both(
                t.at_most(_smaller(t, g["dry_runs"], 4), memory[M.DRY_COUNT]),
                t.at_most(t.subtract(DAY_MS, g["dry_run"]), memory[M.DRY_DAY_T]),
            ),
        ),
    )
    yield fact(
        "more dry runs in a day than there are waits are latched",
        either(t.at_most(DAY_MS, g["dry_run"]), less(g["dry_runs"], 4), has(latch, L.DRY)),
    )
    yield fact(
        "tray return time runs",
        either(g["tray_was_full"], lasts(M.TRAY_T, g["tray_wait"], g["tray"])),
    )
    yield fact(
        "the tray flag is the float of the last scan",
        t.implies(
            has(settings[S.FITTED], F.TRAY),
            t.same(has(memory[M.FLAGS], M.FLAG_TRAY), g["tray_was_full"]),
        ),
    )
    yield fact(
        "coil wait runs",
        either(
            has(memory[M.FLAGS], M.FLAG_COIL), lasts(M.COIL_T, seconds(S.COIL_WAIT_S), g["coil"])
        ),
    )
    yield fact(
        "no pump since the coil was cold", t.implies(has(memory[M.FLAGS], M.FLAG_COIL), no(pumping))
    )
    still = memory[M.STILL_T]
    yield fact(
        "time without air is bounded while the pump runs",
        t.implies(
            both(pumping, has(out, O.FAN), has(settings[S.FITTED], F.FAN_TACH)),
            either(
                t.equal(still, T.DUE),
                no(g["still_before"]),
                both(
                    t.at_most(0, still), t.at_most(t.add(still, g["still"]), seconds(S.FAN_STILL_S))
                ),
            ),
        ),
    )
    yield fact(
        "the time for air is never longer than allowed",
        t.at_most(still, seconds(S.FAN_STILL_S)),
    )
    yield fact(
        "a motor that runs needs no spell of rest",
        t.implies(
            both(pumping, g["spells_only"]),
            either(
                t.equal(memory[M.SPELL_T], T.DUE),
                both(
                    t.at_most(0, memory[M.SPELL_T]),
                    t.at_most(t.add(memory[M.SPELL_T], g["spell_on"]), seconds(S.SPELL_ON_S)),
                ),
            ),
        ),
    )
    yield fact(
        "pause between spells runs",
        t.implies(
            both(no(pumping), g["spells_only"]),
            lasts(M.SPELL_T, seconds(S.SPELL_OFF_S), g["spell_off"]),
        ),
    )
    yield fact(
        "a mode ends in its time",
        either(
            t.equal(memory[M.MODE], W.AUTOMATIC),
            t.equal(memory[M.MODE_T], T.DUE),
            both(
                t.at_most(0, memory[M.MODE_T]),
                t.at_most(t.add(memory[M.MODE_T], g["mode"]), g["mode_ms"]),
            ),
        ),
    )
    yield fact(
        "latches of ours are latches of the controller",
        t.equal(t.bit_and(t.bit_and(g["latch"], t.bit_not(latch)), (1 << WORDS[M.LATCH]) - 1), 0),
    )
    yield fact(
        "latched faults keep motors off",
        both(
            t.implies(has(latch, L.STORE), no(running)),
            t.implies(has(latch, L.ROOM), no(has(out, O.PUMP | O.FAN))),
        ),
    )
    yield fact(
        "off and service keep motors off",
        t.implies(
            either(t.equal(memory[M.MODE], W.OFF), t.equal(memory[M.MODE], W.SERVICE)),
            no(has(out, MOTORS)),
        ),
    )


def _expired(t: Terms, timer: Any, gone_ms: Any) -> Any:
    left = t.subtract(timer, gone_ms)
    still = t.choose(t.at_most(left, 0), T.DUE, left)
    return t.choose(t.at_most(0, timer), still, timer)


def _sorted(t: Terms, values: list[Any]) -> list[Any]:
    """Largest first."""
    v = list(values)
    for i, j in ((0, 1), (2, 3), (0, 2), (1, 3), (1, 2)):
        v[i], v[j] = _larger(t, v[i], v[j]), _smaller(t, v[i], v[j])
    return v


def _larger(t: Terms, a: Any, b: Any) -> Any:
    return t.choose(t.less(a, b), b, a)


def _smaller(t: Terms, a: Any, b: Any) -> Any:
    return t.choose(t.less(a, b), a, b)


def claims(scene: Scene, before: Ghosts, after: Ghosts) -> Iterator[Claim]:
    """What holds after any scan, by the numbers of the requirements."""
    t, m, s, r = scene.terms, scene.after, scene.settings, scene.readings
    both, either, no, less, on = t.both, t.either, t.no, t.less, scene.on
    has, fitted = scene.has, scene.fitted

    def trusted(i: int) -> Truth:
        seen = t.equal(m[M.STORE_LOW_GOOD + i], P.TRUST_FRAMES)
        if i > P.HIGH:
            return seen
        return both(seen, no(t.equal(m[M.STORE_LOW_STUCK_T + i], T.DUE)))

    def value(i: int) -> Any:
        fresh = t.add(r[R.STORE_LOW_MC + i], s[S.STORE_LOW_OFFSET_MK + i])
        return t.choose(has(m[M.VALID], 1 << i), fresh, m[M.STORE_LOW_ANCHOR_MC + i])

    def surely(i: int) -> Any:
        return t.subtract(value(i), s[S.STORE_LOW_ERR_MK + i])

    low, high = P.LOW, P.HIGH
    store_seen = either(trusted(low), trusted(high))
    running, pumping = on(O.COMPRESSOR), on(O.PUMP)
    room_motors = on(O.PUMP | O.FAN)
    compressor_starts = scene.starts(O.COMPRESSOR)
    mode = m[M.MODE]
    latch = m[M.LATCH]

    for i in (low, high):
        yield Claim(
            f"compressor only while probe {i}, if trusted, is above the freeze limit",
            1,
            t.implies(both(running, trusted(i)), less(s[S.FREEZE_MC], surely(i))),
        )
    yield Claim("compressor only with a trusted store probe", 2, t.implies(running, store_seen))
    yield Claim(
        "compressor only above the 4 °C floor while nothing watches top and wall",
        2,
        t.implies(both(running, no(trusted(high))), less(s[S.FLOOR_MC], surely(low))),
    )
    for i in range(R.PROBES):
        fault, age = r[R.STORE_LOW_FAULT + i], scene.ages_ms[i]
        raw = r[R.STORE_LOW_MC + i]
        believable = both(
            t.equal(fault, FAULT.NONE),
            no(t.equal(raw, P.POWER_ON_MC)),
            t.at_most(P.LOWEST_MC[i], raw),
            t.at_most(raw, P.HIGHEST_MC[i]),
        )
        yield Claim(
            f"probe {i} is trusted only if fitted and its frame is at most {P.AGE_MS} ms old",
            3,
            t.implies(trusted(i), both(fitted(F.STORE_LOW << i), t.at_most(age, P.AGE_MS))),
        )
        yield Claim(
            f"probe {i}: no rejected frame becomes a number",
            3,
            t.implies(has(m[M.VALID], 1 << i), believable),
        )
        yield Claim(
            f"probe {i}: an older value stands in for {P.BAD_MS} ms at most",
            3,
            t.implies(trusted(i), less(after[f"bad_{i}"], P.BAD_MS)),
        )
    off_ms = t.times(s[S.MIN_OFF_S], 1000)
    stagger_ms = t.times(s[S.RESTART_STAGGER_S], 1000)
    since_off, since_power = after["off_then"], after["power_then"]
    yield Claim(
        "compressor starts only after the whole off-time",
        4,
        t.implies(compressor_starts, t.at_most(off_ms, since_off)),
    )
    yield Claim(
        "compressor starts only after off-time and stagger since power or mains came",
        5,
        t.implies(compressor_starts, t.at_most(t.add(off_ms, stagger_ms), since_power)),
    )
    service_or_off = either(t.equal(mode, W.OFF), t.equal(mode, W.SERVICE))
    no_mains = both(fitted(F.MAINS), t.equal(r[R.MAINS_OK], 0))
    cold = either(*(both(trusted(i), t.at_most(surely(i), s[S.FREEZE_MC])) for i in (low, high)))
    floored = both(no(trusted(high)), t.at_most(surely(low), s[S.FLOOR_MC]))
    kept_guard = has(m[M.FLAGS], M.FLAG_FREEZE)
    guard = either(
        no(store_seen),
        cold,
        floored,
        kept_guard,
        no_mains,
        has(latch, L.STORE),
        service_or_off,
        t.at_most(0, m[M.REST_T]),
        t.equal(r[R.SETTINGS_OK], 0),
    )
    yield Claim(
        "compressor stops only after the whole on-time, or for a guard or the owner",
        6,
        t.implies(
            scene.stops(O.COMPRESSOR),
            either(t.at_most(t.times(s[S.MIN_ON_S], 1000), after["on_then"]), guard),
        ),
    )
    expired = [_expired(t, scene.before[M.START_1_T + n], scene.gone_ms) for n in range(4)]
    free_slot = either(
        *(both(less(n, s[S.STARTS_PER_HOUR]), less(expired[n], 0)) for n in range(4))
    )
    yield Claim(
        "compressor starts only with a free slot in the ring",
        7,
        t.implies(compressor_starts, free_slot),
        True,
    )
    for n in range(4):
        limit_is = t.equal(s[S.STARTS_PER_HOUR], n + 1)
        yield Claim(
            f"with a limit of {n + 1}, the start so many before is an hour ago",
            7,
            t.implies(
                both(compressor_starts, limit_is), t.at_most(HOUR_MS, after[f"start_{n}_then"])
            ),
        )
    most_gap = t.times(_larger(t, s[S.PRIME_S], s[S.FLOW_GAP_S]), 1000)
    yield Claim(
        "pump runs on without flow for less than the time to prime or the gap",
        9,
        t.implies(both(pumping, fitted(F.FLOW)), less(after["dry"], most_gap)),
    )
    yield Claim(
        "with neither flow sensor nor inlet probe the pump runs in bounded spells",
        9,
        t.implies(
            both(pumping, after["spells_only"]),
            less(after["spell_on"], t.add(t.times(s[S.SPELL_ON_S], 1000), 1)),
        ),
    )
    yield Claim(
        "and rests in between",
        9,
        t.implies(
            both(scene.starts(O.PUMP), after["spells_only"]),
            t.at_most(t.times(s[S.SPELL_OFF_S], 1000), after["spell_off_then"]),
        ),
    )
    yield Claim(
        "after the fourth dry run of a day no pump",
        10,
        either(t.at_most(DAY_MS, after["dry_run"]), less(after["dry_runs"], 4), no(pumping)),
    )
    flooded = either(
        both(fitted(F.LEVEL), t.equal(r[R.LEVEL_OK], 0), no(t.equal(mode, W.SERVICE))),
        both(fitted(F.FLOOR), t.equal(r[R.FLOOR_DRY], 0)),
    )
    yield Claim("store level low or floor wet: no motor", 11, t.implies(flooded, no(on(MOTORS))))
    tray_full = both(fitted(F.TRAY), t.equal(r[R.TRAY_OK], 0))
    yield Claim("tray full: neither pump nor fan", 12, t.implies(tray_full, no(room_motors)))
    yield Claim(
        "pump and fan only after the tray's return time",
        12,
        t.implies(both(room_motors, fitted(F.TRAY)), t.at_most(after["tray_wait"], after["tray"])),
    )
    air = t.choose(trusted(P.COIL_AIR), surely(P.COIL_AIR), surely(P.ROOM))
    air_seen = either(trusted(P.COIL_AIR), trusted(P.ROOM))
    plain = t.equal(s[S.BRINE], 0)
    yield Claim(
        "pump with plain water only if the air at the coil is above 3 °C",
        13,
        t.implies(both(pumping, plain, air_seen), t.at_most(Q.WATER_AIR_MC, air)),
    )
    inlet_used = both(scene.was_on(O.PUMP), trusted(P.COIL_IN))
    for i, used in (
        (P.COIL_IN, inlet_used),
        (low, both(no(inlet_used), trusted(low))),
        (high, both(no(inlet_used), no(trusted(low)), trusted(high))),
    ):
        at_least = t.choose(
            plain,
            t.subtract(Q.WATER_ICE_MC, s[S.STORE_LOW_ERR_MK + i]),
            t.add(s[S.BRINE_LIMIT_MC], s[S.STORE_LOW_ERR_MK + i]),
        )
        yield Claim(
            f"pump only if the water, by probe {i}, does not threaten the coil",
            13,
            t.implies(both(pumping, used), t.at_most(at_least, value(i))),  # type: ignore[arg-type]
        )
    yield Claim(
        "pump only after the whole wait since the coil was cold",
        13,
        t.implies(pumping, t.at_most(t.times(s[S.COIL_WAIT_S], 1000), after["coil_then"])),
    )
    yield Claim(
        "pump and fan without air for less than the time allowed",
        14,
        t.implies(
            both(pumping, on(O.FAN), fitted(F.FAN_TACH)),
            less(after["still"], t.times(s[S.FAN_STILL_S], 1000)),
        ),
    )
    starts = [scene.starts(bit) for bit in (O.COMPRESSOR, O.PUMP, O.FAN)]
    yield Claim(
        "at most one motor starts in a scan",
        15,
        both(*(no(both(a, b)) for n, a in enumerate(starts) for b in starts[:n])),
    )
    yield Claim(
        "a motor starts 5 s after the last at the earliest",
        15,
        t.implies(either(*starts), t.at_most(5000, after["motor_then"])),
    )
    yield Claim("no mains, no compressor", 16, t.implies(no_mains, no(running)))
    yield Claim(
        "compressor only when mains was good for a minute",
        16,
        t.implies(both(running, fitted(F.MAINS)), t.at_most(60_000, after["power_then"])),
    )
    mains_seen = both(fitted(F.MAINS), no(t.equal(r[R.MAINS_OK], 0)))
    flat = less(r[R.BATTERY_MV], s[S.BATTERY_CUT_MV])
    yield Claim(
        "battery below its cut-off: neither pump nor fan",
        17,
        t.implies(both(fitted(F.BATTERY), no(mains_seen), flat), no(room_motors)),
    )
    recovered = less(t.add(s[S.BATTERY_CUT_MV], s[S.BATTERY_REARM_MV]), r[R.BATTERY_MV])
    yield Claim(
        "and they stay off until it is well above",
        17,
        t.implies(
            both(fitted(F.BATTERY), no(mains_seen), before["battery_low"], no(recovered)),
            no(room_motors),
        ),
    )
    for bit in range(WORDS[M.LATCH]):
        kept = both(has(scene.before[M.LATCH], 1 << bit), no(after["pressed"]))
        yield Claim(
            f"latch {bit} stays until acknowledged",
            18,
            t.implies(kept, has(latch, 1 << bit)),
        )
        outputs = (O.COMPRESSOR if L.STORE >> bit & 1 else 0) | (
            O.PUMP | O.FAN if L.ROOM >> bit & 1 else 0
        )
        yield Claim(
            f"latch {bit} keeps its outputs off",
            18,
            t.implies(has(after["latch"], 1 << bit), no(on(outputs))),
        )
    yield Claim(
        "an acknowledgement does not clear what is still wrong",
        18,
        t.implies(flooded, has(latch, L.FLOOD)),
    )
    yield Claim(
        "switched off or in service no motor runs", 18, t.implies(service_or_off, no(on(MOTORS)))
    )
    yield Claim(
        "a mode of the owner ends in its time",
        18,
        either(
            t.equal(mode, W.AUTOMATIC),
            less(after["mode"], after["mode_ms"]),
            t.equal(after["mode"], 0),
        ),
    )
    yield Claim(
        "settings refused by the board: no motor",
        19,
        t.implies(t.equal(r[R.SETTINGS_OK], 0), no(on(MOTORS))),
    )
    waived = either(
        t.equal(mode, W.CHARGE_NOW),
        t.equal(mode, W.FIRST_PULL_DOWN),
        both(t.equal(s[S.TARIFF_OVERRIDE], 1), has(m[M.FLAGS], M.FLAG_HOT)),
    )
    yield Claim(
        "no compressor start in a no-start window unless the owner allowed it",
        25,
        t.implies(both(compressor_starts, has(m[M.PLAN], N.PLAN_NO_START)), waived),
    )
    yield Claim(
        "hot is only a room over its limit in wanted hours",
        25,
        t.implies(
            has(m[M.FLAGS], M.FLAG_HOT),
            both(
                trusted(P.ROOM),
                either(has(m[M.PLAN], N.PLAN_WANTED), t.equal(mode, W.COOL_NOW)),
                less(t.subtract(s[S.ROOM_LIMIT_MC], Q.HOT_BAND_MK + 1), value(P.ROOM)),
            ),
        ),
    )
