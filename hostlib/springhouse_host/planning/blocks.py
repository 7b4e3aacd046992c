"""Charges as whole quarter hours."""

from dataclasses import dataclass

import numpy as np
from springhouse.ahead import LOWEST_MC, STEP_MC

from .around import Array
from .clock import Flags, spells
from .store import ReducedStore

SPARE_K = 0.4  # a charge's target lies so much below where its end is expected
START_K = 0.3  # a charge begins for sure so much beyond the controller's band


@dataclass(frozen=True)
class Charge:
    """From a quarter hour to behind another, down to a target."""

    first: int
    behind: int
    target_mc: int


def blocks(runs: Array, may_run: Flags) -> list[tuple[int, int]]:
    """Return first and behind-the-last quarter hour of each charge.

    Parts of quarter hours are carried along until they make a whole one; a pause of a single
    quarter hour is charged through, where the owner lets the compressor run.
    """
    on = np.zeros(len(runs), np.bool_)
    carried = 0.0
    for k, share in enumerate(runs):
        carried += float(share)
        if share > 1e-3 and carried >= 0.5:
            on[k] = True
            carried -= 1.0
    lone = np.flatnonzero(~on[1:-1] & on[:-2] & on[2:] & may_run[1:-1]) + 1
    on[lone] = True
    return spells(on)


def target_mc(store: ReducedStore, begins_c: float, ends_c: float) -> int:
    """Return the store target of a charge: within the owner's range, on the board's step."""
    wanted_c = min(ends_c - SPARE_K, begins_c - store.band_k - START_K)
    deep_mc, shallow_mc = round(store.deep_c * 1000), round(store.shallow_c * 1000)
    lowest = -((LOWEST_MC - deep_mc) // STEP_MC) * STEP_MC + LOWEST_MC
    on_step = round((wanted_c * 1000 - LOWEST_MC) / STEP_MC) * STEP_MC + LOWEST_MC
    return max(lowest, min(on_step, shallow_mc - (shallow_mc - LOWEST_MC) % STEP_MC))


def planned_charges(
    runs: Array, store_c: Array, may_run: Flags, store: ReducedStore
) -> tuple[Charge, ...]:
    """Return the charges of a programme, whose targets leave room for what the model lacks."""
    return tuple(
        Charge(
            first, behind,
            target_mc(store, float(store_c[first]), float(store_c[first : behind + 1].min())),
        )
        for first, behind in blocks(runs, may_run)
    )  # fmt: skip
