"""What must hold after every scan, by the numbers of the requirements.

Each claim is written from the requirement, with thresholds and trust in words of its own, and with
ghosts (`ghosts.py`) wherever it speaks of time or of a count.
"""

from collections.abc import Iterator
from itertools import combinations
from typing import Any

from springhouse import advice, fitted, latch, mode, output, probes, reading, setting
from springhouse import fault as FAULT
from springhouse import memory as cell

from springhouse_host.induction import claims_room, claims_store, limits
from springhouse_host.induction.claim import DELIVERY, MOTORS, Claim, View
from springhouse_host.induction.ghosts import Ghosts
from springhouse_host.induction.scene import WORDS, Scene


def claims(scene: Scene, before: Ghosts, after: Ghosts) -> Iterator[Claim]:
    """Every claim about one scan."""
    v = View(scene.terms, scene.after, scene.settings, after)
    yield from claims_store.claims(scene, v)
    yield from claims_room.claims(scene, v, before)
    for topic in (_probes, _water, _starts, _latches, _owner, _advice):
        yield from topic(scene, v)


def _probes(scene: Scene, v: View) -> Iterator[Claim]:
    t, r = v.t, scene.readings
    for i in range(reading.PROBES):
        raw = r[reading.STORE_LOW_MC + i]
        believable = t.both(
            t.equal(r[reading.STORE_LOW_FAULT + i], FAULT.NONE),
            t.no(t.equal(raw, probes.POWER_ON_MC)),
            t.at_most(probes.LOWEST_MC[i], raw),
            t.at_most(raw, probes.HIGHEST_MC[i]),
        )
        young = t.at_most(scene.ages_ms[i], limits.AGE_MS)
        yield Claim(
            f"probe {i} is trusted only if fitted and its frame is at most {limits.AGE_MS} ms old",
            3,
            t.implies(v.trusted(i), t.both(scene.fitted(fitted.STORE_LOW << i), young)),
        )
        yield Claim(
            f"probe {i}: no rejected frame becomes a number",
            3,
            t.implies(scene.has(v.memory[cell.VALID], 1 << i), believable),
        )
        yield Claim(
            f"probe {i}: an older value stands in for {limits.BAD_MS} ms at most",
            3,
            t.implies(v.trusted(i), t.less(v.ghosts[f"bad_{i}"], limits.BAD_MS)),
        )


def _flooded(scene: Scene, v: View) -> Any:
    t = v.t
    low = t.both(
        scene.fitted(fitted.LEVEL),
        t.no(scene.contact(reading.LEVEL_OK)),
        t.no(v.mode(mode.SERVICE)),
    )
    wet = t.both(scene.fitted(fitted.FLOOR), t.no(scene.contact(reading.FLOOR_DRY)))
    return t.either(low, wet)


def _water(scene: Scene, v: View) -> Iterator[Claim]:
    t, flooded = v.t, _flooded(scene, v)
    no_motor = t.no(scene.on(MOTORS))
    yield Claim("store level low or floor wet: no motor", 11, t.implies(flooded, no_motor))
    yield Claim(
        "an acknowledgement does not clear what is still wrong",
        18,
        t.implies(flooded, v.latched(latch.FLOOD)),
    )


def _starts(scene: Scene, v: View) -> Iterator[Claim]:
    t = v.t
    starts = [scene.starts(bit) for bit in (output.COMPRESSOR, output.PUMP, output.FAN)]
    yield Claim(
        "at most one motor starts in a scan",
        15,
        t.both(*(t.no(t.both(a, b)) for a, b in combinations(starts, 2))),
    )
    yield Claim(
        f"a motor starts {limits.SPACING_MS} ms after the last at the earliest",
        15,
        t.implies(t.either(*starts), t.at_most(limits.SPACING_MS, v.ghosts["motor_then"])),
    )


def _latches(scene: Scene, v: View) -> Iterator[Claim]:
    """Before the scan a latch was set: by the scan before, or before the reset."""
    t = v.t
    for bit in range(WORDS[cell.LATCH]):
        kept = t.both(scene.has(scene.before[cell.LATCH], 1 << bit), t.no(scene.pressed))
        yield Claim(
            f"latch {bit} stays until acknowledged",
            18,
            t.implies(kept, v.latched(1 << bit)),
        )
        if 1 << bit == latch.TRAY:
            full = t.both(scene.fitted(fitted.TRAY), t.no(scene.contact(reading.TRAY_OK)))
            had = scene.has(scene.before[cell.LATCH], latch.TRAY)
            stays = t.implies(t.both(had, full), v.latched(latch.TRAY))
            yield Claim("the latch of a tray that is full stays, acknowledged or not", 12, stays)
        outputs = output.COMPRESSOR if latch.STORE >> bit & 1 else 0
        outputs |= DELIVERY if latch.ROOM >> bit & 1 else 0
        yield Claim(
            f"latch {bit} keeps its outputs off",
            18,
            t.implies(scene.has(v.ghosts["latch"], 1 << bit), t.no(scene.on(outputs))),
        )


def _advice(scene: Scene, v: View) -> Iterator[Claim]:
    t, g, s = v.t, v.ghosts, v.settings
    none = t.equal(v.memory[cell.ADVICE], 0)
    yield Claim(
        "a plan's advice is gone when its time is over",
        31,
        t.either(none, t.less(g["advice"], g["advice_ms"])),
    )
    allowed = t.less(0, s[setting.ADVISED])
    yield Claim("no advice unless the owner allows it", 31, t.either(none, allowed))
    target = v.memory[cell.ADVICE_MC]
    inside = t.both(t.at_most(s[setting.DEEP_MC], target), t.at_most(target, s[setting.SHALLOW_MC]))
    charges = t.equal(v.memory[cell.ADVICE], advice.CHARGE)
    yield Claim("no target outside the owner's range", 31, t.implies(charges, inside))


def _owner(scene: Scene, v: View) -> Iterator[Claim]:
    t, g = v.t, v.ghosts
    no_motor = t.no(scene.on(MOTORS))
    yield Claim(
        "settings refused by the board: no motor",
        19,
        t.either(scene.contact(reading.SETTINGS_OK), no_motor),
    )
    yield Claim(
        "switched off or in service no motor runs",
        28,
        t.implies(t.either(v.mode(mode.OFF), v.mode(mode.SERVICE)), no_motor),
    )
    for what, invariant, seen, number in (
        ("a press of the button", 18, cell.ACK_SEEN, reading.ACK_SEQ),
        ("what the owner asks for", 28, cell.MODE_SEEN, reading.MODE_SEQ),
        ("a drop of the outputs", 4, cell.DROP_SEEN, reading.DROP_SEQ),
        ("a piece of advice", 31, cell.ADVICE_SEEN, reading.ADVICE_SEQ),
    ):
        once = t.equal(scene.after[seen], scene.readings[number])
        yield Claim(f"{what} counts once", invariant, once)
    in_force = t.both(g["stop"], t.less(g["mode"], g["mode_ms"]))
    yield Claim(
        "the owner's off and service hold for their time, over a reset too",
        28,
        t.implies(in_force, no_motor),
    )
    in_time = t.either(t.less(g["mode"], g["mode_ms"]), t.equal(g["mode"], 0))
    yield Claim(
        "a mode of the owner ends in its time", 28, t.either(v.mode(mode.AUTOMATIC), in_time)
    )
