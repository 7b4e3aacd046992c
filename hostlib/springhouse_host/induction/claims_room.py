"""What must hold of pump, fans and coil after every scan."""

from collections.abc import Iterator

from springhouse import condition, fitted, output, probes, reading, setting
from springhouse import memory as cell

from springhouse_host.induction import limits
from springhouse_host.induction.claim import DELIVERY, Claim, View, measured, surely
from springhouse_host.induction.ghosts import Ghosts
from springhouse_host.induction.hypothesis import most_dry_ms
from springhouse_host.induction.scene import Scene

# What may end a delivery before its least time: guards, the plan, the owner, a blind controller.
_ENDS = (
    condition.ROOM_LOCK
    | condition.TRAY
    | condition.DRY
    | condition.COIL
    | condition.BAR_ROOM
    | condition.SPELL
    | condition.PURGE_ASKED
)
_ENDS_IF_MISSING = (condition.ROOM_SEEN, condition.POWER, condition.WANTED)


def claims(scene: Scene, v: View, before: Ghosts) -> Iterator[Claim]:
    """Every claim about delivery."""
    for topic in (_flow, _tray, _coil, _air, _rhythm):
        yield from topic(scene, v)
    yield from _battery(scene, v, before)


def _flow(scene: Scene, v: View) -> Iterator[Claim]:
    t, g, pumping = v.t, v.ghosts, scene.on(output.PUMP)
    yield Claim(
        "pump runs on without flow for less than the time to prime or the gap",
        9,
        t.implies(t.both(pumping, scene.fitted(fitted.FLOW)), t.less(g["dry"], most_dry_ms(v))),
    )
    yield Claim(
        "with neither flow sensor nor inlet probe the pump runs in bounded spells",
        9,
        t.implies(
            t.both(pumping, g["spells_only"]), t.at_most(g["spell_on"], v.ms(setting.SPELL_ON_S))
        ),
    )
    yield Claim(
        "and rests in between",
        9,
        t.implies(
            t.both(scene.starts(output.PUMP), g["spells_only"]),
            t.at_most(v.ms(setting.SPELL_OFF_S), g["spell_off_then"]),
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
    full = t.both(scene.fitted(fitted.TRAY), t.no(scene.contact(reading.TRAY_OK)))
    yield Claim("tray full: neither pump nor fan", 12, t.implies(full, t.no(motors)))
    yield Claim(
        "pump and fan only after the tray's return time",
        12,
        t.implies(t.both(motors, scene.fitted(fitted.TRAY)), t.at_most(g["tray_wait"], g["tray"])),
    )


def _coil(scene: Scene, v: View) -> Iterator[Claim]:
    t, s, pumping = v.t, v.settings, scene.on(output.PUMP)
    by_coil_air = v.trusted(probes.COIL_AIR)
    air = t.choose(by_coil_air, surely(scene, probes.COIL_AIR), surely(scene, probes.ROOM))
    air_seen = t.either(by_coil_air, v.trusted(probes.ROOM))
    plain = t.equal(s[setting.BRINE], 0)
    yield Claim(
        "pump with plain water only if the air at the coil is above 3 °C",
        13,
        t.implies(t.both(pumping, plain, air_seen), t.at_most(limits.WATER_AIR_MC, air)),
    )
    inlet = t.both(scene.was_on(output.PUMP), v.trusted(probes.COIL_IN))
    low, high = v.trusted(probes.LOW), v.trusted(probes.HIGH)
    for i, used in (
        (probes.COIL_IN, inlet),
        (probes.LOW, t.both(t.no(inlet), low)),
        (probes.HIGH, t.both(t.no(inlet), t.no(low), high)),
    ):
        error = s[setting.STORE_LOW_ERR_MK + i]
        least = t.choose(
            plain, t.subtract(limits.WATER_ICE_MC, error), t.add(s[setting.BRINE_LIMIT_MC], error)
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
        t.implies(pumping, t.at_most(v.ms(setting.COIL_WAIT_S), v.ghosts["coil_then"])),
    )


def _air(scene: Scene, v: View) -> Iterator[Claim]:
    t = v.t
    watched = t.both(scene.on(output.PUMP), scene.on(output.FAN), scene.fitted(fitted.FAN_TACH))
    yield Claim(
        "pump and fan without air for less than the time allowed",
        14,
        t.implies(watched, t.less(v.ghosts["still"], v.ms(setting.FAN_STILL_S))),
    )


def _rhythm(scene: Scene, v: View) -> Iterator[Claim]:
    t, g = v.t, v.ghosts
    yield Claim(
        "pump or fan starts only after the least off-time since either stopped, or a drop",
        27,
        t.implies(
            t.either(scene.starts(output.PUMP), scene.starts(output.FAN)),
            t.at_most(v.ms(setting.DELIVERY_OFF_S), g["rest_then"]),
        ),
    )
    word = v.memory[cell.ROOM_WORD]
    ended = t.either(
        v.has(word, _ENDS),
        *(t.no(v.has(word, bit)) for bit in _ENDS_IF_MISSING),
        t.no(t.either(v.trusted(probes.LOW), v.trusted(probes.HIGH))),
        t.no(scene.contact(reading.SETTINGS_OK)),
        scene.dropped,
    )
    ran = t.both(scene.had_on(output.PUMP), scene.had_on(output.FAN))
    stops = t.either(scene.stops(output.PUMP), scene.stops(output.FAN))
    yield Claim(
        "delivery ends only after its least time, or for a guard, the plan or the owner",
        27,
        t.implies(
            t.both(ran, stops),
            t.either(t.at_most(v.ms(setting.DELIVERY_ON_S), g["deliver_then"]), ended),
        ),
    )


def _battery(scene: Scene, v: View, before: Ghosts) -> Iterator[Claim]:
    t, s, volts = v.t, v.settings, scene.readings[reading.BATTERY_MV]
    idle = t.no(scene.on(DELIVERY))
    mains = t.both(scene.fitted(fitted.MAINS), scene.contact(reading.MAINS_OK))
    by_battery = t.both(scene.fitted(fitted.BATTERY), t.no(mains))
    flat = t.less(volts, s[setting.BATTERY_CUT_MV])
    yield Claim(
        "battery below its cut-off: neither pump nor fan",
        17,
        t.implies(t.both(by_battery, flat), idle),
    )
    recovered = t.less(t.add(s[setting.BATTERY_CUT_MV], s[setting.BATTERY_REARM_MV]), volts)
    yield Claim(
        "and they stay off until it is well above",
        17,
        t.implies(t.both(by_battery, before["battery_low"], t.no(recovered)), idle),
    )
