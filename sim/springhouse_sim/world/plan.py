"""A plan that advises the board, quarter hour by quarter hour, as `ahead.py` does from its own."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import cycle

from springhouse import advice
from springhouse.ahead import QUARTER_MIN

from .. import sense
from .stage import MINUTE_MS, Events, Stage


@dataclass(frozen=True)
class Quarter:
    """What is best in one quarter hour; ``what`` is a number of `advice.py`, NONE says nothing."""

    what: int
    wanted: int = 0
    target_mc: int = 0


@dataclass(frozen=True)
class FollowPlan:
    """Advise quarter hour by quarter hour from the start; ``again`` and again if so asked."""

    quarters: tuple[Quarter, ...]
    again: bool = False

    def act(self, stage: Stage) -> Events:
        """Give each quarter's advice once, at its beginning."""
        order: Iterator[Quarter] = cycle(self.quarters) if self.again else iter(self.quarters)
        for n, quarter in enumerate(order):
            yield stage.until(n * QUARTER_MIN * MINUTE_MS)
            if quarter.what == advice.NONE and stage.sense[sense.ADVICE] == advice.NONE:
                continue
            stage.sense[sense.ADVICE] = quarter.what
            stage.sense[sense.ADVICE_WANTED] = quarter.wanted
            stage.sense[sense.ADVICE_MC] = quarter.target_mc
            stage.sense[sense.ADVICE_MIN] = QUARTER_MIN
            stage.sense[sense.ADVICE_SEQ] += 1
