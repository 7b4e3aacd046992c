"""A stored record means what it meant when stored: bounds may change only with the schema."""

from __future__ import annotations

import tomllib
from pathlib import Path

from drive import S

FROZEN = tomllib.loads(
    (Path(__file__).parent / f"settings_schema_{S.SCHEMA_NOW}.toml").read_text(encoding="utf-8")
)

SIZES = {3: 130}  # schema: slots, of which 16 windows of 4


def test_slots_and_bounds_of_the_schema_in_force() -> None:
    *plain, kind, days, start, end = FROZEN.items()
    for slot, (name, bounds) in enumerate(plain):
        assert getattr(S, name) == slot, name
        assert list(S.bound(slot)) == bounds, name
    assert len(plain) == S.WINDOW_1_KIND
    assert S.WINDOW_1_KIND + S.WINDOWS * S.WINDOW_STRIDE == S.SIZE == SIZES[S.SCHEMA_NOW]
    for window in range(S.WINDOWS):
        for k, (name, bounds) in enumerate((kind, days, start, end)):
            slot = S.WINDOW_1_KIND + window * S.WINDOW_STRIDE + k
            assert list(S.bound(slot)) == bounds, name
