"""Effectiveness-NTU relations (Kays and London; as tabulated in heat-transfer textbooks).

NTU = UA / C_min and c = C_min / C_max; every function is continuous down to c = 0.
"""

import math


def counterflow(ntu: float, c: float) -> float:
    """Return the effectiveness of a counterflow exchanger [-].

    >>> round(counterflow(1.0, 1.0), 3)
    0.5
    """
    if c > 0.999999:
        return ntu / (1.0 + ntu)
    e = math.exp(-ntu * (1.0 - c))
    return (1.0 - e) / (1.0 - c * e)


def parallel(ntu: float, c: float) -> float:
    """Return the effectiveness of a parallel-flow exchanger [-]."""
    return (1.0 - math.exp(-ntu * (1.0 + c))) / (1.0 + c)


def cross_unmixed(ntu: float, c: float) -> float:
    """Return the effectiveness of single-pass cross-flow, both streams unmixed [-].

    The common closed approximation with the exponents 0.22 and 0.78; within 1.6 % of the exact
    series.
    """
    if c < 1e-6 or ntu <= 0.0:
        return 1.0 - math.exp(-max(0.0, ntu))
    root = ntu**0.22
    return float(1.0 - math.exp(root / c * (math.exp(-c * ntu / root) - 1.0)))


def cross_max_mixed(ntu: float, c: float) -> float:
    """Return the effectiveness of cross-flow with C_max mixed, C_min unmixed [-]."""
    if c < 1e-6:
        return 1.0 - math.exp(-ntu)
    return (1.0 - math.exp(-c * (1.0 - math.exp(-ntu)))) / c


def cross_min_mixed(ntu: float, c: float) -> float:
    """Return the effectiveness of cross-flow with C_min mixed, C_max unmixed [-]."""
    if c < 1e-6:
        return 1.0 - math.exp(-ntu)
    return 1.0 - math.exp(-(1.0 - math.exp(-c * ntu)) / c)
