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


def cross_unmixed(ntu: float, c: float) -> float:
    """Return the effectiveness of single-pass cross-flow, both streams unmixed [-].

    The common closed approximation with the exponents 0.22 and 0.78; within 1.6 % of the exact
    series.
    """
    if c < 1e-6 or ntu <= 0.0:
        return 1.0 - math.exp(-max(0.0, ntu))
    root = ntu**0.22
    return float(1.0 - math.exp(root / c * (math.exp(-c * ntu / root) - 1.0)))
