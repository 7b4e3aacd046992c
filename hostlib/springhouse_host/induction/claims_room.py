"""What must hold of pump, fans and coil after every scan."""

from collections.abc import Iterator

from springhouse import condition as C
from springhouse import fitted as F
from springhouse import memory as M
from springhouse import output as O
from springhouse import probes as P
from springhouse import reading as R
from springhouse import setting as S

from springhouse_host.induction import limits
from springhouse_host.induction.claim import DELIVERY, Claim, View, measured, surely
from springhouse_host.induction.ghosts import Ghosts
from springhouse_host.induction.hypothesis import most_dry_ms
from springhouse_host.induction.scene import Scene

# What may end a delivery before its least time: guards, the plan, the owner, a blind controller.
_ENDS = C.ROOM_LOCK | C.TRAY | C.DRY | C.COIL | C.BAR_ROOM | C.SPELL | C.PURGE_ASKED
_ENDS_IF_MISSING = (C.ROOM_SEEN, C.POWER, C.WANTED)


def claims(scene: Scene, v: View, before: Ghosts) -> Iterator[Claim]:
    """Every claim about delivery."""
    for topic in (_flow, _tray, _coil, _air, _rhythm):
        yield from topic(scene, v)
    yield from _battery(scene, v, before)


def _flow(scene: Scene, v: View) -> Iterator[Claim]:
    t, g, pumping = v.t, v.ghosts, scene.on(O.PUMP)
    yield Claim(
        "pump runs on without flow for less than the time to prime or the gap",
        9,
        t.implies(t.both(pumping, scene.fitted(F.FLOW)), t.less(g["dry"], most_dry_ms(v))),
    )
    yield Claim(
        "with neither flow sensor nor inlet probe the pump runs in bounded spells",
        9,
        t.implies(t.both(pumping, g["spells_only"]), t.at_most(g["spell_on"], v.ms(S.SPELL_ON_S))),
    )
    yield Claim(
        "and rests in between",
        9,
        t.implies(
            t.both(scene.starts(O.PUMP), g["spells_only"]),
            t.at_most(v.ms(S.SPELL_OFF_S), g["spell_off_then"]),
        ),
    )
    few = t.at_most(g["dry_runs"], limits.DRY_RUNS)
    yield Claim(
        "after the fourth dry run of a day no pump",
        10,
        t.either(t.at_most(limits.DAY_MS, g["dry_run"]), few, t.no(pumping)),
    )


def _tray(scene: Scene, v: View) -> Iterator[Claim]:
    t, g, motors = v.t, v.ghosts, scene.on(DELIVERY)
    full = t.both(scene.fitted(F.TRAY), t.no(scene.contact(R.TRAY_OK)))
    yield Claim("tray full: neither pump nor fan", 12, t.implies(full, t.no(motors)))
    yield Claim(
        "pump and fan only after the tray's return time",
        12,
        t.implies(t.both(motors, scene.fitted(F.TRAY)), t.at_most(g["tray_wait"], g["tray"])),
    )


def _coil(scene: Scene, v: View) -> Iterator[Claim]:
    t, s, pumping = v.t, v.settings, scene.on(O.PUMP)
    by_coil_air = v.trusted(P.COIL_AIR)
    air = t.choose(by_coil_air, surely(scene, P.COIL_AIR), surely(scene, P.ROOM))
    air_seen = t.either(by_coil_air, v.trusted(P.ROOM))
    plain = t.equal(s[S.BRINE], 0)
    yield Claim(
        "pump with plain water only if the air at the coil is above 3 °C",
        13,
        t.implies(t.both(pumping, plain, air_seen), t.at_most(limits.WATER_AIR_MC, air)),
    )
    inlet = t.both(scene.was_on(O.PUMP), v.trusted(P.COIL_IN))
    low, high = v.trusted(P.LOW), v.trusted(P.HIGH)
    for i, used in (
        (P.COIL_IN, inlet),
        (P.LOW, t.both(t.no(inlet), low)),
        (P.HIGH, t.both(t.no(inlet), t.no(low), high)),
    ):
        error = s[S.STORE_LOW_ERR_MK + i]
        least = t.choose(
            plain, t.subtract(limits.WATER_ICE_MC, error), t.add(s[S.BRINE_LIMIT_MC], error)
        )
        yield Claim(
            f"pump only if the water, by probe {i}, does not threaten the coil",
            13,
            t.implies(t.both(pumping, used), t.at_most(least, measured(scene, i))),
        )
    water_seen = t.either(inlet, low, high)
    yield Claim(
        "pump only if a trusted probe tells that the coil is safe",
        13,
        t.implies(pumping, t.either(water_seen, t.both(plain, air_seen))),
    )
    yield Claim(
        "pump only after the whole wait since the coil was cold",
        13,
        t.implies(pumping, t.at_most(v.ms(S.COIL_WAIT_S), v.ghosts["coil_then"])),
    )


def _air(scene: Scene, v: View) -> Iterator[Claim]:
    t = v.t
    watched = t.both(scene.on(O.PUMP), scene.on(O.FAN), scene.fitted(F.FAN_TACH))
    yield Claim(
        "pump and fan without air for less than the time allowed",
        14,
        t.implies(watched, t.less(v.ghosts["still"], v.ms(S.FAN_STILL_S))),
    )


def _rhythm(scene: Scene, v: View) -> Iterator[Claim]:
    t, g = v.t, v.ghosts
    yield Claim(
        "pump or fan starts only after the least off-time since either stopped, or a drop",
        27,
        t.implies(
            t.either(scene.starts(O.PUMP), scene.starts(O.FAN)),
            t.at_most(v.ms(S.DELIVERY_OFF_S), g["rest_then"]),
        ),
    )
    word = v.memory[M.ROOM_WORD]
    ended = t.either(
        v.has(word, _ENDS),
        *(t.no(v.has(word, bit)) for bit in _ENDS_IF_MISSING),
        t.no(t.either(v.trusted(P.LOW), v.trusted(P.HIGH))),
        t.no(scene.contact(R.SETTINGS_OK)),
        scene.dropped,
    )
    ran = t.both(scene.had_on(O.PUMP), scene.had_on(O.FAN))
    stops = t.either(scene.stops(O.PUMP), scene.stops(O.FAN))
    yield Claim(
        "delivery ends only after its least time, or for a guard, the plan or the owner",
        27,
        t.implies(
            t.both(ran, stops),
            t.either(t.at_most(v.ms(S.DELIVERY_ON_S), g["deliver_then"]), ended),
        ),
    )


def _battery(scene: Scene, v: View, before: Ghosts) -> Iterator[Claim]:
    t, s, volts = v.t, v.settings, scene.readings[R.BATTERY_MV]
    idle = t.no(scene.on(DELIVERY))
    mains = t.both(scene.fitted(F.MAINS), scene.contact(R.MAINS_OK))
    by_battery = t.both(scene.fitted(F.BATTERY), t.no(mains))
    flat = t.less(volts, s[S.BATTERY_CUT_MV])
    yield Claim(
        "battery below its cut-off: neither pump nor fan",
        17,
        t.implies(t.both(by_battery, flat), idle),
    )
    recovered = t.less(t.add(s[S.BATTERY_CUT_MV], s[S.BATTERY_REARM_MV]), volts)
    yield Claim(
        "and they stay off until it is well above",
        17,
        t.implies(t.both(by_battery, before["battery_low"], t.no(recovered)), idle),
    )
