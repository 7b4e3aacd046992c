"""The ideal vapour-compression cycle and the compressor tables built from it."""

from dataclasses import astuple, dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from .kept_cycles import KeptCycles


@dataclass(frozen=True)
class Cycle:
    """One state of the ideal cycle: isentropic compression, no pressure drops."""

    evaporating_pa: float
    condensing_pa: float
    refrigerating_j_kg: float  # suction enthalpy less liquid enthalpy
    work_j_kg: float  # isentropic
    suction_kg_m3: float
    discharge_c: float

    @property
    def cop(self) -> float:
        """Coefficient of performance of the ideal cycle [-]."""
        return self.refrigerating_j_kg / self.work_j_kg

    @property
    def volumetric_j_m3(self) -> float:
        """Refrigerating effect per cubic metre of suction gas [J/m3]."""
        return self.refrigerating_j_kg * self.suction_kg_m3


KEPT = KeptCycles(Path(__file__))


@lru_cache(maxsize=4096)  # milliseconds each; variants and settings of a site ask for the same ones
def ideal_cycle(
    fluid: str,
    evaporating_c: float,
    condensing_c: float,
    suction_c: float,
    liquid_c: float,
) -> Cycle:
    """Return the ideal cycle of ``fluid`` between two saturation temperatures.

    Suction or liquid within 0.01 K of saturation counts as saturated.  Isentropic compression is
    asked for by (P, s): from saturated isobutane it ends inside the two-phase region.

    Raises:
        ValueError: from CoolProp, on temperatures outside the fluid's range.
    """
    asked = repr((fluid, evaporating_c, condensing_c, suction_c, liquid_c))
    row = KEPT(asked)
    if row is not None:
        return Cycle(*row)
    found = _solved(fluid, evaporating_c, condensing_c, suction_c, liquid_c)
    KEPT.add(asked, astuple(found))
    return found


def _solved(
    fluid: str, evaporating_c: float, condensing_c: float, suction_c: float, liquid_c: float
) -> Cycle:
    from CoolProp import CoolProp  # late, for it takes seconds

    low = float(CoolProp.PropsSI("P", "T", evaporating_c + 273.15, "Q", 1, fluid))
    high = float(CoolProp.PropsSI("P", "T", condensing_c + 273.15, "Q", 0, fluid))
    if suction_c > evaporating_c + 0.01:
        first, a, second, b = "T", suction_c + 273.15, "P", low
    else:
        first, a, second, b = "T", evaporating_c + 273.15, "Q", 1.0
    h1 = float(CoolProp.PropsSI("H", first, a, second, b, fluid))
    s1 = float(CoolProp.PropsSI("S", first, a, second, b, fluid))
    rho = float(CoolProp.PropsSI("D", first, a, second, b, fluid))
    top = max(high, low)
    h2 = float(CoolProp.PropsSI("H", "P", top, "S", s1, fluid))
    t2 = float(CoolProp.PropsSI("T", "P", top, "S", s1, fluid)) - 273.15
    if liquid_c < condensing_c - 0.01:
        h3 = float(CoolProp.PropsSI("H", "T", liquid_c + 273.15, "P", top, fluid))
    else:
        h3 = float(CoolProp.PropsSI("H", "T", condensing_c + 273.15, "Q", 0, fluid))
    return Cycle(low, high, h1 - h3, h2 - h1, rho, t2)


def volumetric_efficiency(pressure_ratio: Any, clearance: float) -> Any:
    """Return the re-expansion volumetric efficiency [-]: 1 - c (r**(1/n) - 1), n = 1.1.

    Never below 0.02, where the compressor only moves its own dead volume. Takes arrays too.
    """
    ratio = np.maximum(1.0, pressure_ratio)
    return np.maximum(0.02, 1.0 - clearance * (ratio ** (1.0 / 1.1) - 1.0))


def ten_coefficients(c: tuple[float, ...], suction_c: Any, discharge_c: Any) -> Any:
    """Return the compressor polynomial of AHRI 540 at two dew temperatures [°C], or at arrays."""
    s = suction_c
    d = discharge_c
    return (
        c[0]
        + c[1] * s
        + c[2] * d
        + c[3] * s * s
        + c[4] * s * d
        + c[5] * d * d
        + c[6] * s**3
        + c[7] * d * s * s
        + c[8] * s * d * d
        + c[9] * d**3
    )
