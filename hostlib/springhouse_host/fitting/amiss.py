"""What a log holds that the model lacks: told, counted into the intervals, or refused.

Lags of probes and a constant heat that is not logged are fitted along and told where they stand
out. Anything else shows as a miss beyond what probes explain; `problem.reweigh` widens by it. Too
large a miss is refused, for no interval then says what it is worth.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from ..errors import KnownError
from .log import Log
from .model import CHANNELS, LAGS
from .problem import Missed, Problem, covariance_of

GROSS = 5.0  # times what probes explain: refused
TOLD = 1.0  # of what probes explain, in excess of it: told
SLOW = 3.0  # times as slow as the site's probes: told
DRAWN = 3.0  # standard deviations of what the site or a probe's budget says: told
SURE = 3.0  # standard deviations of unlogged heat: told
CAUSES = {
    "store_low_c": "ice, a leak of the lid, water that is mixed, or a probe that has moved",
    "store_high_c": "ice, a leak of the lid, water that is mixed, or a probe that has moved",
    "room_c": "a window, sun, people or equipment that the log does not show, or a wrong clock",
    "coil_in_c": "air in the loop, or a probe that is off the tube",
    "coil_air_c": "dust on fins or fans, or a probe in the room's air",
    "freezer_w": "another machine on the meter, or a defrost",
}


def refuse(log: Log, missed: list[Missed]) -> None:
    """Refuse a log that something else than this plant has left.

    Raises:
        KnownError: a line for each channel.
    """
    lines = [
        f"{log.path}: {channel}: still missed by {m.rms:.2g} {_unit(channel)} where probes explain "
        f"{m.floor:.2g}: the log or the site lacks something: {CAUSES[channel]}"
        for channel, m in zip(CHANNELS, missed, strict=True)
        if m.rms > GROSS * m.floor
    ]
    if lines:
        raise KnownError(lines)


def notes(problem: Problem, v: NDArray[np.float64], missed: list[Missed]) -> Iterator[str]:
    """Yield what stands out, in words."""
    for channel, m in zip(CHANNELS, missed, strict=True):
        if m.excess > TOLD * m.floor:
            yield (
                f"amiss: {channel} is missed by {m.rms:.2g} {_unit(channel)} where probes explain "
                f"{m.floor:.2g}: intervals are wider for it: {CAUSES[channel]}"
            )
    values = problem.guess(v).values
    for key in LAGS:
        if key in values and values[key] > SLOW * problem.model.picked[key]:
            yield (
                f"amiss: {key} is {values[key]:.0f} s as fitted, {problem.model.picked[key]:.0f} s "
                "as the plant has it: in a well, or not touching"
            )
    for i, name, unit in _believed(problem):
        if abs(v[i]) > DRAWN * problem.stated[i]:
            shown = f"{v[i]:+.2g} K" if unit == "K" else f"{100.0 * np.expm1(v[i]):+.0f} %"
            times = abs(v[i]) / problem.stated[i]
            yield (
                f"amiss: {name} comes out {shown} from what the site says, {times:.1f} times what "
                "is believed of it: look there first"
            )
    at = problem.unlogged.start
    sd_w, heat_w = float(np.sqrt(covariance_of(problem.jacobian(v))[at, at])), float(v[at])
    if abs(heat_w) > SURE * sd_w:
        yield (
            f"amiss: {heat_w:+.0f} W ±{2.0 * sd_w:.0f} of heat in the room all the time that "
            "neither log nor site shows: a device left on, or a neighbour's wall"
        )


def _believed(problem: Problem) -> Iterator[tuple[int, str, str]]:
    """Yield place, name and unit of what is no estimate and yet stated by the site."""
    for i in range(len(problem.wanted), problem.logs):
        if problem.keys[i] not in LAGS:
            yield i, problem.keys[i], "%"
    names = problem.model.site.probe_errors_k
    for i, probe in zip(range(problem.offsets.start, problem.offsets.stop), names, strict=True):
        yield i, f"the error of probe {probe}", "K"


def _unit(channel: str) -> str:
    return "W" if channel.endswith("_w") else "K"
