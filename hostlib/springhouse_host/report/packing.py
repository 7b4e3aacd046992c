"""Sample columns as text for a page: rounded, differences of 16 bits, deflated, base64.

Neighbouring samples differ little, so the differences' high bytes are nearly all alike; low and
high bytes lie in planes of their own, which deflate rewards with a third of the size.
"""

import base64
import zlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LARGEST = 32_000  # a rounded value; what is above is rounded more coarsely
GAP = -32_768  # stands for NaN


@dataclass(frozen=True)
class Packed:
    """Columns of ``rows`` values: names in their order, the step each is rounded to, the text."""

    rows: int
    steps: dict[str, float]
    text: str


def pack(columns: Mapping[str, NDArray[np.float64]], steps: Mapping[str, float]) -> Packed:
    """Return columns of equal length as text; NaN stays a gap.

    Args:
        columns: each of shape (rows,).
        steps: what each is rounded to, doubled until the largest value fits 16 bits.

    Raises:
        ValueError: when the lengths differ or there is no column.
    """
    lengths = {len(values) for values in columns.values()}
    if len(lengths) != 1:
        raise ValueError(f"columns of one length are needed, not of {sorted(lengths)}")
    planes = b""
    used = {}
    for name, values in columns.items():
        step = steps[name]
        known = values[~np.isnan(values)]
        largest = float(np.abs(known).max()) if known.size else 0.0
        while largest / step > LARGEST:
            step *= 2.0
        used[name] = step
        whole = np.where(np.isnan(values), GAP, np.round(np.nan_to_num(values) / step))
        # Differences wrap at 16 bits, and so does the sum that undoes them.
        moves = np.diff(whole.astype(np.int64), prepend=0).astype("<i2", casting="unsafe")
        planes += moves.view(np.uint8).reshape(-1, 2).T.tobytes()
    return Packed(lengths.pop(), used, deflate(planes))


def deflate(content: bytes) -> str:
    """Return bytes as the text that the page inflates: zlib, then base64."""
    return base64.b64encode(zlib.compress(content, 9)).decode("ascii")


def unpack(packed: Packed) -> dict[str, NDArray[np.float64]]:
    """Return the columns of a text, as the page does it."""
    planes = np.frombuffer(zlib.decompress(base64.b64decode(packed.text)), np.uint8)
    found = {}
    table = planes.reshape(len(packed.steps), 2, packed.rows)
    for (name, step), (low, high) in zip(packed.steps.items(), table, strict=True):
        moves = low.astype(np.int64) + 256 * high.astype(np.int64)
        whole = ((np.cumsum(moves) + 32_768) % 65_536 - 32_768).astype(np.float64)
        found[name] = np.where(whole == GAP, np.nan, whole * step)
    return found
