"""The observer counts a case only where it has something to judge, and excuses what it must."""

from __future__ import annotations

from array import array

import pytest
from springhouse import advice, controller, mode, output, reading, setting
from springhouse import fitted as fitted_bits
from springhouse import memory as cell
from springhouse_sim.watch import observe
from springhouse_sim.watch import shadow as shadow_slot

ALL_ON = output.COMPRESSOR | output.PUMP | output.FAN


def cases(fitted: int, out: int, *, frames: bool = True, scans: int = 20) -> list[int]:
    """Cases by invariant after some scans with these outputs and warm, honest probes."""
    memory, settings, readings = (
        array("i", [0] * n) for n in (cell.SIZE, setting.SIZE, reading.SIZE)
    )
    shadow = array("q", [0] * shadow_slot.SIZE)
    found, violations = (array("q", [0] * observe.COUNTS) for _ in range(2))
    setting.fill_defaults(settings)
    settings[setting.FITTED] = fitted
    for slot in (
        reading.SETTINGS_OK,
        reading.MAINS_OK,
        reading.TRAY_OK,
        reading.LEVEL_OK,
        reading.FLOOR_DRY,
    ):
        readings[slot] = 1
    readings[reading.FAN_RPM] = 1000
    observe.clear(shadow)
    for scan in range(scans):
        readings[reading.NOW_MS] = 1000 * (scan + 1)
        for i in range(5):
            readings[reading.STORE_LOW_MC + i] = 12_000
            if frames:
                readings[reading.STORE_LOW_AT_MS + i] = readings[reading.NOW_MS]
            else:
                readings[reading.STORE_LOW_FAULT + i] = 1
        observe.observe(shadow, memory, settings, readings, out, found, violations)
    return list(found)


PROBES = 0b11111


@pytest.mark.parametrize(
    ("invariant", "fitted"),
    [
        (1, fitted_bits.STORE_LOW | fitted_bits.STORE_HIGH),
        (13, PROBES),
        (14, PROBES | fitted_bits.FAN_TACH),
        (16, PROBES | fitted_bits.MAINS),
    ],
)
def test_no_case_without_the_sensor(invariant: int, fitted: int) -> None:
    assert cases(fitted, ALL_ON)[invariant] > 0
    assert cases(0, ALL_ON)[invariant] == 0


@pytest.mark.parametrize("invariant", [1, 13])
def test_no_case_of_a_probe_that_nobody_believes(invariant: int) -> None:
    assert cases(PROBES, ALL_ON, frames=False)[invariant] == 0


def test_a_fan_that_is_not_asked_to_turn_is_no_case() -> None:
    assert cases(PROBES | fitted_bits.FAN_TACH, output.PUMP)[14] == 0


class Watch:
    """An observer over healthy inputs, told what is driven; every sensor is fitted."""

    def __init__(self, **changed: int) -> None:
        self.memory, self.settings, self.readings = (
            array("i", [0] * n) for n in (cell.SIZE, setting.SIZE, reading.SIZE)
        )
        self.shadow = array("q", [0] * shadow_slot.SIZE)
        self.cases, self.violations = (array("q", [0] * observe.COUNTS) for _ in range(2))
        setting.fill_defaults(self.settings)
        controller.power_up(self.memory)
        self.settings[setting.FITTED] = fitted_bits.RELAY - 1
        for w in range(setting.WINDOWS):
            self.settings[setting.WINDOW_1_KIND + setting.WINDOW_STRIDE * w] = 0
        for name, value in changed.items():
            self.settings[getattr(setting, name)] = value
        for slot in range(reading.MAINS_OK, reading.SETTINGS_OK + 1):
            self.readings[slot] = 1
        self.readings[reading.RELAY_OPEN] = 1
        self.readings[reading.BATTERY_MV] = 13_000
        self.readings[reading.FAN_RPM] = 1000
        self.readings[reading.WEEK_MIN] = -1
        for i, mc in enumerate((12_000, 12_000, 29_000, 12_000, 20_000)):
            self.readings[reading.STORE_LOW_MC + i] = mc
        observe.clear(self.shadow)

    def scan(self, out: int, times: int = 1, **read: int) -> None:
        """So many scans with these outputs; the store's readings stir, so that none is stuck."""
        for name, value in read.items():
            self.readings[getattr(reading, name)] = value
        for _ in range(times):
            self.readings[reading.NOW_MS] += 1000
            stir = 300 if self.readings[reading.NOW_MS] % 1_200_000 < 600_000 else -300
            for i in range(5):
                self.readings[reading.STORE_LOW_AT_MS + i] = self.readings[reading.NOW_MS]
                if self.readings[reading.NOW_MS] % 600_000 == 0 and i < 2:
                    self.readings[reading.STORE_LOW_MC + i] += stir
            observe.observe(
                self.shadow,
                self.memory,
                self.settings,
                self.readings,
                out,
                self.cases,
                self.violations,
            )


@pytest.mark.parametrize(
    ("times_most", "flow_ml_min", "broken"),
    [(1.0, None, 1), (1.0, 0, 0), (1.0, 1, 0), (1.5, None, 0)],
)
def test_a_pump_that_stops_too_soon_is_excused_by_a_flow_that_is_none(
    times_most: float, flow_ml_min: int | None, broken: int
) -> None:
    """More than the pump can deliver is no evidence of flow: the guard against dry runs ends it."""
    watch = Watch()
    most = watch.settings[setting.FLOW_MOST_ML_MIN]
    flow = round(times_most * most) if flow_ml_min is None else flow_ml_min
    assert watch.settings[setting.DELIVERY_ON_S] > 10
    watch.scan(0, 20)
    watch.scan(output.PUMP, 10, FLOW_ML_MIN=flow)
    watch.scan(0)
    assert watch.violations[27] == broken


@pytest.mark.parametrize(("runs_s", "broken"), [(59, 0), (60, 0), (63, 1)])
def test_a_pump_may_stop_with_the_mode_that_asked_for_it(runs_s: int, broken: int) -> None:
    """A purge of one minute; a stop after its end must have another reason."""
    watch = Watch(DELIVERY_ON_S=300)
    watch.scan(0, 20)
    flow = watch.settings[setting.FLOW_MOST_ML_MIN]
    watch.scan(output.PUMP, runs_s, FLOW_ML_MIN=flow, MODE=mode.PURGE, MODE_MIN=1, MODE_SEQ=1)
    watch.scan(0)
    assert watch.violations[27] == broken


@pytest.mark.parametrize(("store_mc", "broken"), [(9_000, False), (11_000, True)])
def test_demand_is_not_judged_where_the_floor_may_hold(store_mc: int, broken: bool) -> None:
    """A high probe that the low one does not vouch for stops at the floor, and clears above it."""
    cold = {"SHALLOW_MC": 4000, "BAND_MK": 1500, "WARM_FILL_MC": 25_000}
    watch = Watch(**cold, FREEZE_MC=1300, FLOOR_MC=6000, FREEZE_CLEAR_MK=4000)
    watch.scan(0, 5000, STORE_LOW_MC=store_mc, STORE_HIGH_MC=store_mc)
    assert (watch.violations[26] > 0) == broken


ADVISED = {"ADVISED": advice.CHARGING, "DEEP_MC": 4000, "SHALLOW_MC": 8000}


@pytest.mark.parametrize(
    ("settings", "in_force", "target_mc", "scans", "broken"),
    [
        (ADVISED, advice.WAIT, 5000, 59, 0),
        (ADVISED, advice.WAIT, 5000, 61, 1),  # its minute is over
        (ADVISED, advice.CHARGE, 5000, 1, 1),  # never given
        (ADVISED, advice.WAIT, 6000, 1, 1),
        (ADVISED | {"ADVISED": advice.NOTHING}, advice.WAIT, 5000, 1, 1),
        (ADVISED | {"DEEP_MC": 5500}, advice.WAIT, 5000, 1, 0),  # it asks for no target
    ],
)
def test_inv_31_advice_in_force_was_given_is_not_over_and_is_allowed(
    settings: dict[str, int], in_force: int, target_mc: int, scans: int, broken: int
) -> None:
    watch = Watch(**settings)
    watch.scan(0)
    watch.memory[cell.ADVICE], watch.memory[cell.ADVICE_MC] = in_force, target_mc
    watch.scan(0, scans, ADVICE=advice.WAIT, ADVICE_MC=5000, ADVICE_MIN=1, ADVICE_SEQ=1)
    assert watch.cases[31] == scans
    assert min(1, watch.violations[31]) == broken


# Episodes that an observer once took for violations: a seed, and scans enough to get there.
EXCUSED = ((104, 2100), (145, 3200), (245, 2900), (305, 2700), (365, 2100), (153, 8500))


@pytest.mark.parametrize(("seed", "scans"), EXCUSED)
def test_no_episode_breaks_what_the_requirement_allows(seed: int, scans: int) -> None:
    import hunt

    assert not any(hunt.drive(seed, scans, 0)[0])
