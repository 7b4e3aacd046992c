"""Which of the values that nobody gave matter, and how much: one after the other on the sheet."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .errors import KnownError
from .following import demo, resolve
from .site import load_site
from .site.fields import Word
from .site.read import MODELS, kind_of

SHARE = 0.25  # more than what stands, for every number alike
WORDS = ("place.vented", "room.construction", "room.tightness", "room.window_shade")
BY_ONE = ("coil.rows", "coil.fans", "room.people")  # whole things: one more
NUMBERS = (
    *("freezer.cabinet_litres", "freezer.label_input_w", "freezer.label_kwh_year"),
    *("store.water_litres", "place.length_m", "loop.tube_bore_mm", "loop.tube_length_m"),
    *("loop.lift_m", "loop.insulation_mm", "loop.pump_head_m", "loop.pump_free_l_min"),
    *("coil.face_width_m", "coil.face_height_m", "coil.fan_m3_h"),
    *("room.length_m", "room.outside_wall_m2", "room.window_area_m2", "room.equipment_w"),
)


@dataclass(frozen=True)
class Weight:
    """What another value would do to the tightest limit of the sizing sheet."""

    key: str
    stands: str
    tried: str
    before: float
    after: float

    @property
    def share(self) -> float:
        """By how much the tightest limit would change, of what it is."""
        return abs(self.after - self.before) / max(self.before, 1e-9)


def assumed(answers: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is still the example's: given by no answer and following from none."""
    found = resolve(answers)
    return {
        f"{table}.{key}": value
        for table, values in demo().items()
        for key, value in values.items()
        if f"{table}.{key}" not in found and f"{table}.{key}" not in ("site.name", "site.notes")
    }


def alternatives(key: str, stands: Any) -> list[Any]:
    """Return what a value that nobody gave might be instead."""
    table, _, name = key.partition(".")
    kind = kind_of(MODELS[table], name)
    if key in WORDS and isinstance(kind, Word):
        return [word for word in kind.words if word != stands]
    if key in BY_ONE:
        return [stands + 1]
    if key in NUMBERS and isinstance(stands, int | float) and stands > 0:
        return [round((1.0 + SHARE) * stands, 6), round((1.0 - SHARE) * stands, 6)]
    return []


def count(answers: Mapping[str, Any]) -> int:
    """Return how many values ``weigh`` has to look at."""
    return sum(bool(alternatives(key, stands)) for key, stands in assumed(answers).items())


def weigh(
    answers: Mapping[str, Any], tick: Callable[[], None] = lambda: None
) -> tuple[str, Sequence[Weight]]:
    """Return the tightest limit's name, and what was assumed, what matters most first.

    Every number is taken a quarter higher (a quarter lower where that is refused), words each for
    the word that changes most; the middle reading of the labels is sized again for each.

    Args:
        answers: those of `new`, by "table.key".
        tick: called once for each value looked at.

    Raises:
        SiteError: as ``sizing.size`` for the answers themselves.
    """
    name, before = _tightest(resolve(answers))
    weights = []
    for key, stands in assumed(answers).items():
        tried = alternatives(key, stands)
        if not tried:
            continue
        found = []
        for value in tried:
            try:
                _, after = _tightest(resolve({**answers, key: value}))
            except KnownError:
                continue
            found.append(Weight(key, str(stands), str(value), before, after))
            if not isinstance(value, str):
                break
        if found:
            weights.append(max(found, key=lambda weight: weight.share))
        tick()
    return name, sorted(weights, key=lambda weight: -weight.share)


def _tightest(values: Mapping[str, Any]) -> tuple[str, float]:
    from .sheet.sizing import size

    limit = size(load_site("demo", values), variants=("mid",)).sheets["mid"].limits[0]
    return limit.name, limit.ratio
