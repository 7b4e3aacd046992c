"""Battery, charger and the small loads they carry.

Kinds: ``none``, ``lifepo4``, ``lead_acid``, ``power_bank``.  ``usable_wh`` is energy at the
terminals at the 20 h rate, not milliampere-hours of a cell.  A power bank shows a constant
voltage until it is empty, may switch off under a small load and may drop on changeover.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import param, state
from .check import PartError, within

KINDS = ("none", "lifepo4", "lead_acid", "power_bank")
NONE, LIFEPO4, LEAD_ACID, POWER_BANK = range(4)
PEUKERT = (1.0, 1.05, 1.2, 1.05)  # exponent by kind; common practice, no source


@dataclass(frozen=True, kw_only=True)
class Battery:
    """What carries pump, fans and board through an outage.

    ``charger_w`` is the most the charger puts into the battery; ``controller_w`` is the load of
    the board itself, fed from the same supply and lost to the place where it stands.

    Raises:
        ValueError: on an unknown kind or a parameter outside its range.
    """

    kind: str
    usable_wh: float = 0.0
    nominal_v: float = 12.8
    charger_w: float = 0.0
    controller_w: float = 1.0
    supply_efficiency: float = 0.85  # mains to the low-voltage bus
    charge_efficiency: float = 0.92
    discharge_efficiency: float = 0.95
    internal_ohm: float = 0.05
    min_load_w: float = 0.0  # power bank: switches off below this
    min_load_wait_s: float = 30.0
    drops_on_changeover: bool = False
    initial_fraction: float = 1.0

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise PartError("Battery", "kind", f"{self.kind!r} is not one of {', '.join(KINDS)}")
        low_wh = 0.0 if self.kind == "none" else 1.0
        within("Battery", "usable_wh", self.usable_wh, low_wh, 1e5, "Wh")
        within("Battery", "nominal_v", self.nominal_v, 4.0, 60.0, "V")
        within("Battery", "charger_w", self.charger_w, 0.0, 2000.0, "W")
        within("Battery", "controller_w", self.controller_w, 0.0, 50.0, "W")
        for name in ("supply_efficiency", "charge_efficiency", "discharge_efficiency"):
            within("Battery", name, getattr(self, name), 0.3, 1.0)
        within("Battery", "internal_ohm", self.internal_ohm, 0.0, 2.0, "ohm")
        within("Battery", "min_load_w", self.min_load_w, 0.0, 50.0, "W")
        within("Battery", "min_load_wait_s", self.min_load_wait_s, 1.0, 3600.0, "s")
        within("Battery", "initial_fraction", self.initial_fraction, 0.0, 1.0)

    def put(self, p: NDArray[np.float64]) -> None:
        """Write the slots of this part into the parameter record ``p``."""
        kind = KINDS.index(self.kind)
        p[param.BATTERY_KIND] = kind
        p[param.BATTERY_USABLE_WH] = 0.0 if kind == NONE else self.usable_wh
        p[param.BATTERY_NOMINAL_V] = self.nominal_v
        p[param.BATTERY_OHM] = 0.0 if kind == POWER_BANK else self.internal_ohm  # a bank regulates
        p[param.BATTERY_RATED_W] = max(self.usable_wh / 20.0, 1e-3)
        p[param.BATTERY_PEUKERT] = PEUKERT[kind]
        p[param.CHARGER_W] = self.charger_w
        p[param.CHARGE_EFFICIENCY] = self.charge_efficiency
        p[param.DISCHARGE_EFFICIENCY] = self.discharge_efficiency
        p[param.SUPPLY_EFFICIENCY] = self.supply_efficiency
        p[param.BATTERY_MIN_LOAD_W] = self.min_load_w if kind == POWER_BANK else 0.0
        p[param.BATTERY_LOW_LOAD_LIMIT_S] = self.min_load_wait_s
        p[param.BATTERY_DROPS_ON_CHANGEOVER] = float(self.drops_on_changeover)
        p[param.BOARD_W] = self.controller_w

    def start(self, x: NDArray[np.float64]) -> None:
        """Write the initial state of this part into ``x``."""
        usable_wh = 0.0 if self.kind == "none" else self.usable_wh
        x[state.BATTERY_WH] = usable_wh * self.initial_fraction
        x[state.MAINS_WAS_ON] = 1.0


def drain_w(load_w: float, rated_w: float, exponent: float) -> float:
    """Return how fast a load empties the usable energy [W]: Peukert above the rated load."""
    if load_w <= rated_w:
        return load_w
    return float(load_w * (load_w / rated_w) ** (exponent - 1.0))


def open_circuit_ratio(kind: float, fraction: float) -> float:
    """Return open-circuit over nominal voltage at a state of charge 0..1.

    Straight pieces through typical resting voltages of a 12.8 V lithium iron phosphate pack and
    a 12 V lead-acid block; common practice, no source.  A power bank is regulated: always 1.
    """
    if kind == LIFEPO4:
        if fraction < 0.1:
            return 0.80 + 1.9 * fraction
        if fraction < 0.95:
            return 0.99 + (fraction - 0.1) * 0.05 / 0.85
        return 1.04
    if kind == LEAD_ACID:
        return 0.96 + 0.10 * fraction
    return 1.0 if fraction > 0.0 else 0.0
