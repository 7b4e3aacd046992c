"""The observer counts a case only where it has something to judge."""

from __future__ import annotations

from array import array

import pytest
from springhouse import fitted as F
from springhouse import memory as M
from springhouse import output as O
from springhouse import reading as R
from springhouse import setting as S
from springhouse_sim.watch import observe as V
from springhouse_sim.watch import shadow as X

ALL_ON = O.COMPRESSOR | O.PUMP | O.FAN


def cases(fitted: int, out: int, *, frames: bool = True, scans: int = 20) -> list[int]:
    """Cases by invariant after some scans with these outputs and warm, honest probes."""
    memory, settings, readings = (array("i", [0] * n) for n in (M.SIZE, S.SIZE, R.SIZE))
    shadow = array("q", [0] * X.SIZE)
    found, violations = (array("q", [0] * V.COUNTS) for _ in range(2))
    S.fill_defaults(settings)
    settings[S.FITTED] = fitted
    for slot in (R.SETTINGS_OK, R.MAINS_OK, R.TRAY_OK, R.LEVEL_OK, R.FLOOR_DRY):
        readings[slot] = 1
    readings[R.FAN_RPM] = 1000
    V.clear(shadow)
    for scan in range(scans):
        readings[R.NOW_MS] = 1000 * (scan + 1)
        for i in range(5):
            readings[R.STORE_LOW_MC + i] = 12_000
            if frames:
                readings[R.STORE_LOW_AT_MS + i] = readings[R.NOW_MS]
            else:
                readings[R.STORE_LOW_FAULT + i] = 1
        V.observe(shadow, memory, settings, readings, out, found, violations)
    return list(found)


PROBES = 0b11111


@pytest.mark.parametrize(
    ("invariant", "fitted"),
    [
        (1, F.STORE_LOW | F.STORE_HIGH),
        (13, PROBES),
        (14, PROBES | F.FAN_TACH),
        (16, PROBES | F.MAINS),
    ],
)
def test_no_case_without_the_sensor(invariant: int, fitted: int) -> None:
    assert cases(fitted, ALL_ON)[invariant] > 0
    assert cases(0, ALL_ON)[invariant] == 0


@pytest.mark.parametrize("invariant", [1, 13])
def test_no_case_of_a_probe_that_nobody_believes(invariant: int) -> None:
    assert cases(PROBES, ALL_ON, frames=False)[invariant] == 0


def test_a_fan_that_is_not_asked_to_turn_is_no_case() -> None:
    assert cases(PROBES | F.FAN_TACH, O.PUMP)[14] == 0
