"""What hangs by the water's surface moves with it when a change is to the litres alone."""

from collections.abc import Mapping
from typing import Any

from pydantic_core import PydanticCustomError

from .read import MODELS, kind_of

LITRES = "store.water_litres"
BY_THE_SURFACE = ("return_m", "probe_high_m")


def moved(store: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return heights by the surface as they stand with other water, by key of [store].

    Args:
        store: the table as it stands in the file.
        changes: what differs from the file, by "table.key"; a height among them stays as said.

    A value that is no number is left to the check of the whole file.
    """
    if LITRES not in changes or "water_litres" not in store:
        return {}

    def number(key: str, value: Any) -> float:
        return float(kind_of(MODELS["store"], key).parse(value))

    try:
        ratio = number("water_litres", changes[LITRES]) / number(
            "water_litres", store["water_litres"]
        )
        return {
            key: number(key, store[key]) * ratio
            for key in BY_THE_SURFACE
            if key in store and f"store.{key}" not in changes
        }
    except PydanticCustomError:
        return {}
