"""What the promise of comfort is not made for, as a row of facts each: heat waves, an open shade.

Safety promises, invariants and false alarms of these runs count as in any other. The room's warmth
is told and counts for nothing: nobody promised it, and many a good store does not hold it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from ..site.known import VARIANTS, Variant
from .running import Result
from .scenarios import Scenario, reading_of

READ_AS = {"low": "weakest", "mid": "middle", "high": "strongest"}
AS_IT_IS = "as the weather has it"


@dataclass(frozen=True)
class BeyondRow:
    """One state of the world over the hottest days, by reading of the labels."""

    name: str
    runs: dict[Variant, Result]

    def share_percent(self, variant: Variant) -> float:
        """Return the share of the wanted hours below the promised room temperature."""
        return 100.0 * float(self.runs[variant].summary["wanted_share_within"])

    @property
    def limit(self) -> str:
        """What holds it back, on the weakest reading that was run."""
        return self.runs[self._weakest].shortfall.words

    @property
    def limited(self) -> str:
        """Which reading that is."""
        return READ_AS[self._weakest]

    @property
    def _weakest(self) -> Variant:
        return next(v for v in VARIANTS if v in self.runs)


def rows(results: Sequence[Result]) -> list[BeyondRow]:
    """Return the rows, first the same days as the weather has them; none where none was run."""
    asked = [r for r in results if r.scenario.group == "beyond"]
    if not asked:
        return []
    days = asked[0].scenario.start, asked[0].scenario.days
    plain = {
        r.scenario.variant: r
        for r in results
        if r.scenario.group == "nominal" and (r.scenario.start, r.scenario.days) == days
    }
    found = [BeyondRow(AS_IT_IS, plain)] if plain else []
    for name in dict.fromkeys(_plain_name(r.scenario) for r in asked):
        runs = {r.scenario.variant: r for r in asked if _plain_name(r.scenario) == name}
        found.append(BeyondRow(name, runs))
    return found


def _plain_name(scenario: Scenario) -> str:
    """Return its name without the reading, and without the days that all of them share."""
    return scenario.name.removesuffix(reading_of(scenario.variant)).partition(", ")[2]


def lines(results: Sequence[Result]) -> Iterator[str]:
    """Yield each row in words."""
    found = rows(results)
    if not found:
        return
    yield (
        "beyond the promise, told and not counted: wanted hours below the promised temperature on "
        "the hottest days, "
        + " / ".join(READ_AS[v] for v in VARIANTS if v in found[0].runs)
        + " reading. Ice, water, pump and compressor are counted there too"
    )
    for row in found:
        shares = " / ".join(f"{row.share_percent(v):.0f} %" for v in VARIANTS if v in row.runs)
        yield f"  - {row.name}: {shares}; {row.limit} ({row.limited})"


def as_json(results: Sequence[Result]) -> list[dict[str, Any]]:
    """Return a record of each run: the share, how warm it was, what held it back."""
    return [
        {
            "name": row.name,
            "reading": variant,
            "share_percent": row.share_percent(variant),
            "limited_by": run.shortfall.words,
        }
        for row in rows(results)
        for variant, run in row.runs.items()
    ]
