"""Pump curve against system curve of the loop, and where they cross."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from springhouse_sim.plant.loop import Loop

WATER_C = 5.0
POINTS = 25


@dataclass(frozen=True)
class Curves:
    """Heads over flow with water at ``WATER_C``, and the operating point."""

    flow_l_min: list[float]
    pump_m: list[float]
    system_m: list[float]
    operating_l_min: float
    operating_m: float
    reynolds: float  # in the tube
    first_lift_m: float  # to be lifted once, before the siphon is closed
    lifts: bool  # whether the pump can


def curves(loop: "Loop") -> Curves:
    """Return both curves from no flow to the pump's free flow."""
    from springhouse_sim.plant import hydraulics

    flows = np.linspace(0.0, loop.pump_free_l_min, POINTS)
    operating = loop.operating_l_min(WATER_C, 1.0)
    return Curves(
        flow_l_min=[float(q) for q in flows],
        pump_m=[
            hydraulics.pump_head_m(float(q), loop.pump_head_m, loop.pump_free_l_min, 1.0)
            for q in flows
        ],
        system_m=[loop.loss_m(float(q), WATER_C) for q in flows],
        operating_l_min=operating,
        operating_m=loop.loss_m(operating, WATER_C),
        reynolds=hydraulics.reynolds(operating, loop.tube_bore_mm / 1000.0, WATER_C),
        first_lift_m=loop.static_lift_m,
        lifts=loop.static_lift_m < loop.pump_head_m,
    )
