"""How sure the verdict is, in words and places on a line, before it becomes HTML."""

from dataclasses import dataclass

from ..proof import show
from ..proof.next_measure import measurements
from ..proof.plausible import Sample
from ..proof.verdict import Verdict
from ..site.doubt import Doubt
from ..units import show as shown

ROUND_TO = 3  # digits of a doubtful number


@dataclass(frozen=True)
class Mark:
    """One plausible installation on the line of temperatures."""

    at_percent: float  # of the line's length
    words: str
    kept: bool


@dataclass(frozen=True)
class Input:
    """One doubtful number; ``rank`` is of its correlation with the room's warmth, -1 to 1."""

    words: str
    ends: str
    source: str
    rank: float


@dataclass(frozen=True)
class Next:
    """One measurement that the tool guides, and what it does to the doubt."""

    words: str
    taken_percent: float
    settled_percent: float


@dataclass(frozen=True)
class Sure:
    """The sample of a proof."""

    told: tuple[str, ...]
    ends: tuple[str, str]  # of the line
    limit_percent: float  # where the promised temperature stands on it
    limit: str
    marks: tuple[Mark, ...]
    inputs: tuple[Input, ...]
    measures: tuple[Next, ...]


def sure_of(verdict: Verdict, us: bool) -> Sure:
    """Return what the page says of the sample."""
    sample = verdict.sample
    limit_c = float(verdict.site.file.promises.room_below_c)
    found_c = [row.warmth_c for row in sample.rows]
    low_c = min(*found_c, limit_c) - 0.2
    high_c = max(*found_c, limit_c) + 0.2

    def along(c: float) -> float:
        return 100.0 * (c - low_c) / (high_c - low_c)

    keeps = sample.keeps
    marks = [
        Mark(along(c), f"{number + 1}: {shown(c, '°C', us=us)}", bool(keeps[number]))
        for number, c in enumerate(found_c)
    ]
    return Sure(
        tuple(show.share(verdict, us)),
        (shown(low_c, "°C", us=us), shown(high_c, "°C", us=us)),
        along(limit_c),
        shown(limit_c, "°C", us=us),
        tuple(marks),
        tuple(_input(doubted, rank, us) for doubted, rank in sample.ranks()),
        tuple(_next(sample, limit_c)),
    )


def _input(doubted: Doubt, rank: float, us: bool) -> Input:
    low, mid, high = (
        shown(value, doubted.unit, us=us, digits=ROUND_TO)
        for value in (doubted.low, doubted.mid, doubted.high)
    )
    return Input(doubted.words, f"{low} - {mid} - {high}", doubted.source, rank)


def _next(sample: Sample, limit_c: float) -> list[Next]:
    return [
        Next(m.words, m.taken_percent, m.settled_percent) for m in measurements(sample, limit_c)
    ]
