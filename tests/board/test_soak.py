"""Soak: main.py through days of random trouble; what resets, what stays off, what leaks.

SPRINGHOUSE_SOAK_DAYS sets the length (default a quarter of a day; 30 takes about half an hour). In
the first half nothing resets the board, so that a leak has time to show; in the second half every
kind of hang, exception and power cut comes too.
"""

import os
import random
from pathlib import Path

import numpy as np
import pytest
from rig import LOOPS, Rig
from springhouse.boards import pico_w
from springhouse_sim.virtual_board.process import BoardProcess

DAYS = float(os.environ.get("SPRINGHOUSE_SOAK_DAYS", "0.25"))
MOTORS = (pico_w.RELAY, pico_w.PUMP, pico_w.FAN)
OFF_WITHIN_S = pico_w.WATCHDOG_MS // 1000 + 1
VISITED_S = 2
PLACES = ("onewire", "pin", "drive", "pwm", "adc", "i2c", "idle", "any")
RAISED = ("RuntimeError", "MemoryError", "KeyboardInterrupt", "OSError")
CAUGHT_AT = ("i2c", "any")  # there an OSError is a chip that does not answer, and no more
MILD = ("bus", "loop", "bounce", "dry", "warm", "chip", "line", "slow", "press", "mode")
AIR_CHIP = 0x44
AIR = bytes.fromhex("BEEF92BEEF92")  # CRC example of the chip's datasheet, twice
QUIET_S = 1200  # between two resets: longer than the ten minutes of the boot counter


class Soak:
    def __init__(self, rig: Rig, seed: int) -> None:
        self.rig = rig
        self.rng = random.Random(seed)
        self.free: list[tuple[float, int]] = []  # (uptime h, bytes) within the first boot
        self.gaps: dict[str, int] = {}  # longest ms between scans, held up on purpose or not
        self.expected_resets = 0
        self.injected: dict[str, int] = {}
        self.slow_before = 0

    @property
    def board(self) -> BoardProcess:
        return self.rig.board

    def run(self, seconds: int) -> None:
        self.rig.run(seconds)
        self.rig.history.clear()
        del self.board.lines[:-40]

    def count(self, kind: str) -> None:
        self.injected[kind] = self.injected.get(kind, 0) + 1

    def mild(self) -> None:
        """Something that must not reset the board."""
        rng, inputs = self.rng, self.board.inputs
        kind = rng.choice(MILD)
        self.count(kind)
        if kind == "bus":
            inputs.bus(rng.choice(("absent", "short", "high")))
            self.run(rng.randrange(1, 120))
            inputs.bus("ok")
        elif kind == "loop":
            pin = rng.choice(LOOPS)
            inputs.level(pin, 1)
            self.run(rng.randrange(1, 300))
            inputs.level(pin, 0)
        elif kind == "bounce":
            for k in range(10):
                inputs.edge(rng.choice(LOOPS), 1 - k % 2, 100 + 3 * k)
            for pin in LOOPS:
                inputs.edge(pin, 0, 140)
        elif kind == "dry":
            self.rig.flows = False
            self.run(rng.randrange(5, 200))
            self.rig.flows = True
        elif kind == "warm":
            self.rig.temperatures["store_low"] = rng.uniform(1, 14)
            self.rig.temperatures["store_high"] = rng.uniform(1, 14)
            self.rig.temperatures["room"] = rng.uniform(20, 29)
            self.rig.set_probes()
        elif kind == "chip":
            inputs.chip(AIR_CHIP, rng.choice((None, AIR[:5] + b"\0")))
            inputs.adc(pico_w.BATTERY, rng.randrange(65536))
            self.run(rng.randrange(1, 120))
            inputs.chip(AIR_CHIP, AIR)
        elif kind == "line":
            junk = rng.randbytes(rng.randrange(1, 900)).replace(b"\x03", b"")
            self.board.process.stdin.write(junk + b"\n")
            self.board.process.stdin.flush()
        elif kind == "slow":
            inputs.trouble(rng.choice(PLACES), "slow")
        elif kind == "mode":
            self.board.send(f'{{"cmd":"mode","mode":{rng.randrange(9)},"minutes":20}}\n')
        self.press()

    def press(self) -> None:
        self.board.inputs.level(pico_w.BUTTON, 0)
        self.run(1)
        self.board.inputs.level(pico_w.BUTTON, 1)
        self.run(1)

    def severe(self) -> None:
        """A hang, an exception or a power cut: outputs off in time, exactly one reset."""
        rng = self.rng
        before = len(self.rig.resets)
        if rng.randrange(6) == 0:
            self.count("power")
            self.board.power_cut()
            assert not any(self.rig.out(pin) for pin in MOTORS)
        else:
            place = rng.choice(PLACES)
            raised = RAISED[:3] if place in CAUGHT_AT else RAISED
            what = rng.choice((*raised, "hang", "hang"))
            self.count(what)
            self.board.inputs.trouble(place, what)
            # Each place is visited at least every two seconds (a probe round); from then on the
            # watchdog limit and a second must do.
            self.run(VISITED_S + OFF_WITHIN_S)
            assert len(self.rig.resets) == before + 1, (place, what)
            assert not any(self.rig.out(pin) for pin in MOTORS), (place, what)
            self.expected_resets += 1
            self.run(3)
        self.run(QUIET_S)

    def note_free(self) -> None:
        self.run(70)  # the rate limit forgets
        self.board.send('{"cmd":"get-state"}\n')
        self.run(3)
        found = [r for r in self.rig.records() if "free" in r]
        if found:
            self.free.append((self.board.now_ms / 3.6e6, found[-1]["free"]))
            slow = self.injected.get("slow", 0)
            kind = "calm" if slow == self.slow_before else "held up"
            self.slow_before = slow
            self.gaps[kind] = max(self.gaps.get(kind, 0), found[-1]["gap"])


def slope_bytes_day(free: list[tuple[float, int]]) -> float:
    hours, sizes = np.array(free).T
    return float(np.polyfit(hours, sizes, 1)[0] * 24)


@pytest.mark.slow
def test_soak(tmp_path: Path) -> None:
    rig = Rig(tmp_path, air="sht4x", battery_ratio_pm=10000).power()
    rig.board.inputs.chip(AIR_CHIP, AIR)
    soak = Soak(rig, 2)
    half_ms = DAYS * 86_400_000 / 2
    try:
        soak.run(700)
        while rig.board.now_ms < half_ms:
            for _ in range(4):
                soak.run(soak.rng.randrange(60, 600))
                soak.mild()
            soak.note_free()
        first_half = len(rig.resets)
        while rig.board.now_ms < 2 * half_ms:
            soak.mild()
            soak.severe()
    finally:
        rig.close()
    slope = slope_bytes_day(soak.free)
    print(f"{DAYS} days: {soak.injected}, {len(rig.resets)} resets")
    print(f"longest between scans in ms: {soak.gaps}")
    print(f"heap free: {soak.free[0][1]} to {soak.free[-1][1]}, slope {slope:.0f} bytes a day")
    assert first_half == 0, "mild trouble must not reset the board"
    assert len(rig.resets) == soak.expected_resets
    assert soak.gaps["calm"] < 1200, "a scan a second"
    assert slope > -4096 or soak.free[0][1] - soak.free[-1][1] < 2048
