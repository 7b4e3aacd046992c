"""A stored record means what it meant when stored: bounds may change only with the schema."""

from __future__ import annotations

import tomllib
from pathlib import Path

from drive import setting

FROZEN = tomllib.loads(
    (Path(__file__).parent / f"settings_schema_{setting.SCHEMA_NOW}.toml").read_text(
        encoding="utf-8"
    )
)

SIZES = {3: 130}  # schema: slots, of which 16 windows of 4


def test_slots_and_bounds_of_the_schema_in_force() -> None:
    *plain, kind, days, start, end = FROZEN.items()
    for slot, (name, bounds) in enumerate(plain):
        assert getattr(setting, name) == slot, name
        assert list(setting.row(slot)[1:]) == bounds, name
    assert len(plain) == setting.WINDOW_1_KIND
    assert (
        setting.WINDOW_1_KIND + setting.WINDOWS * setting.WINDOW_STRIDE
        == setting.SIZE
        == SIZES[setting.SCHEMA_NOW]
    )
    for window in range(setting.WINDOWS):
        for k, (name, bounds) in enumerate((kind, days, start, end)):
            slot = setting.WINDOW_1_KIND + window * setting.WINDOW_STRIDE + k
            assert list(setting.row(slot)[1:]) == bounds, name
