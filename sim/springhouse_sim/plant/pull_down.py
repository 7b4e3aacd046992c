"""What a measured pull-down says about the freezer's capacity."""

import itertools
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from . import freezer, param, store, water
from .check import PartError
from .freezer import LABEL_EFFICIENCY, Freezer
from .store import Store

STEPS = 24  # equal temperature steps of a pull-down

Array: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True)
class Chill:
    """Store and machine as far as a pull-down feels them.

    The water is taken as one temperature and the machine as steady at each: start transients and
    layers are left out, which is a few per cent of a pull-down of hours.
    """

    p: Array  # parameter record, store and freezer filled in
    band_m2: float  # cooled wall under water
    standing_w_k: float
    mass_kg: float

    @classmethod
    def of(cls, box: Store, machine: Freezer) -> "Chill":
        """Return what follows from the two parts; builds their tables."""
        p = np.zeros(param.SIZE)
        box.put(p)
        machine.put(p)
        depth_m = box.water_l / 1000.0 / box.area_m2
        wet_m = store.overlap_m(0.0, depth_m, box.evaporator_from_m, box.evaporator_to_m)
        standing_w_k = p[param.CABINET_BAND_UA_W_K] + p[param.CABINET_SIDE_UA_W_K]
        standing_w_k += p[param.CABINET_FLOOR_UA_W_K] + p[param.LID_UA_W_K]
        mass_kg = box.water_l / 1000.0 * water.density_kg_m3(5.0)
        return cls(p, float(p[param.STORE_PERIMETER_M] * wet_m), float(standing_w_k), mass_kg)

    def condensing_c(self, scale: float, evaporating_c: float, place_c: float) -> float:
        """Return the condensing temperature at which the condenser rejects what it must [°C]."""
        p = self.p
        share = 1.0 - p[param.WINDING_LOSS_FRACTION] - p[param.SHELL_GAIN_FRACTION]
        t_c = place_c + 10.0
        for _ in range(40):
            heat_w = scale * freezer.capacity_w(p, evaporating_c, t_c)
            heat_w += share * freezer.input_w(p, evaporating_c, t_c)
            t_c = 0.5 * (t_c + place_c + heat_w / p[param.CONDENSER_UA_W_K])
        return t_c

    def evaporating_c(self, scale: float, water_c: float, place_c: float) -> float:
        """Return where wall and film bring what the compressor takes, everything steady [°C].

        ``scale`` multiplies the capacity table.
        """

        def surplus_w(evaporating_c: float) -> float:
            condensing_c = self.condensing_c(scale, evaporating_c, place_c)
            brought_w = self.band_m2 * store.dry_wall_w_m2(self.p, water_c, evaporating_c)
            return brought_w - scale * freezer.capacity_w(self.p, evaporating_c, condensing_c)

        from scipy.optimize import brentq  # half a second, for whoever has timed a pull-down

        return float(brentq(surplus_w, -39.0, water_c, xtol=1e-3))

    def taken_w(self, scale: float, water_c: float, place_c: float) -> float:
        """Return the heat the evaporator takes from the water, everything steady [W]."""
        evaporating_c = self.evaporating_c(scale, water_c, place_c)
        return self.band_m2 * store.dry_wall_w_m2(self.p, water_c, evaporating_c)

    def input_w(self, scale: float, water_c: float, place_c: float) -> float:
        """Return the electric input then [W], standby left out."""
        evaporating_c = self.evaporating_c(scale, water_c, place_c)
        condensing_c = self.condensing_c(scale, evaporating_c, place_c)
        return freezer.input_w(self.p, evaporating_c, condensing_c)

    def hours(self, scale: float, from_c: float, to_c: float, place_c: float) -> float:
        """Return the hours from ``from_c`` down to ``to_c``, infinite where it never gets there."""
        edges = np.linspace(to_c, from_c, STEPS + 1)
        hours = 0.0
        for low, high in itertools.pairwise(edges):
            middle = 0.5 * float(low + high)
            net_w = self.taken_w(scale, middle, place_c) - self.standing_w_k * (place_c - middle)
            if net_w <= 0.0:
                return float("inf")
            heat_j = water.enthalpy_j_kg(float(high)) - water.enthalpy_j_kg(float(low))
            hours += self.mass_kg * heat_j / net_w / 3600.0
        return hours


def capacity_from_pull_down_w(
    box: Store, machine: Freezer, hours: float, from_c: float, to_c: float, place_c: float
) -> float:
    """Return the capacity at the rating point that explains a measured pull-down [W].

    ``machine`` brings everything else; its own capacity is only where the search begins.

    Raises:
        ValueError: when no capacity explains it with an efficiency the model accepts.
    """
    chill = Chill.of(box, machine)
    least, most = (limit / machine.label_efficiency() for limit in LABEL_EFFICIENCY)
    longest, shortest = (
        min(1e3, chill.hours(scale, from_c, to_c, place_c)) for scale in (least, most)
    )
    if not shortest < hours < longest:
        raise PartError(
            "Freezer",
            "pull_down_h",
            f"{hours:g} is outside {shortest:.1f} to {longest:.1f} h, what "
            f"a machine of {machine.rated_input_w:g} W input can need for this water",
        )
    from scipy.optimize import brentq

    scale = brentq(
        lambda s: min(1e3, chill.hours(s, from_c, to_c, place_c)) - hours, least, most, xtol=1e-4
    )
    return float(scale) * machine.rated_capacity_w
